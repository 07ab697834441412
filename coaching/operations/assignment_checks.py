"""What keeps a plan from being given to a client: a red flag always, its injury history without a reason."""

from collections.abc import Iterable

from coaching.compute.evidence import refer_out
from coaching.errors import ConflictError, FieldFault
from coaching.models import Alert, AlertKind, Client
from coaching.reads.plan_concerns import Concern


def check_no_red_flag(client: Client) -> None:
    """Raises ConflictError with the refer-out sentence while a red flag of the client stands."""
    flags = Alert.objects.standing().filter(client=client, kind=AlertKind.RED_FLAG)
    if flags.exists():
        raise ConflictError(
            "A red flag of this client stands, and only a clinician's recorded clearance lifts it. "
            + refer_out(client.emergency_text)
        )


def check_overridden(concerns: Iterable[Concern], override_reason: str) -> None:
    """Raises ConflictError that names every concern, unless the coach gives a reason."""
    faults = tuple(FieldFault(("plan",), concern.code, concern.detail) for concern in concerns)
    if faults and not override_reason:
        raise ConflictError(
            "The client's injury history speaks against this plan. Give an override_reason to assign it "
            "all the same.",
            faults,
        )
