"""Which joint sites there are."""

from coaching.errors import FieldFault, InvalidError
from coaching.models import MIDLINE_JOINTS, Joint, SiteSide


def check_site(*, joint: str, side: str, other_site: str | None = None) -> None:
    """Raises InvalidError for a side that the joint does not have; `other_site` None is not judged."""
    faults = []
    if joint != Joint.OTHER and (joint in MIDLINE_JOINTS) != (side == SiteSide.MIDLINE):
        detail = "The spine is midline; every other joint is left or right."
        faults.append(FieldFault(("side",), "impossible_site", detail))
    if other_site is not None and (joint == Joint.OTHER) != (other_site != ""):
        detail = "Say where with the joint other, and only then."
        faults.append(FieldFault(("other_site",), "joint_and_other_site", detail))
    if faults:
        raise InvalidError("There is no such joint site.", tuple(faults))
