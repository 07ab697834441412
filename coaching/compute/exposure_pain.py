"""Whether one exposure by itself kept the rules of the pain gate."""

from coaching.compute.pain import DEFAULT_PAIN_LIMIT, MORNING_TOLERANCE
from coaching.compute.pain_gate import FAILED, PASSED, ExposurePain, pain_gate


def has_passed_gate(
    exposure: ExposurePain,
    *,
    usual_morning: float | None,
    limit: float = DEFAULT_PAIN_LIMIT,
    tolerance: float = MORNING_TOLERANCE,
) -> bool | None:
    """Say whether the pain of one exposure kept the rules of the pain gate.

    Args:
        exposure: pain of one site; of an exercise that loads several sites the worst answer counts.
        usual_morning, limit, tolerance: as for pain_gate.

    Returns:
        True: kept; False: one was broken; None: not known.

    Raises:
        ValueError: as pain_gate.

    Source:
        As pain_gate, without the rule that two exposures must pass.

    >>> has_passed_gate(ExposurePain(3, 2, 1), usual_morning=1)
    True
    >>> has_passed_gate(ExposurePain(3, 2, None), usual_morning=1) is None
    True
    """
    found = pain_gate([exposure, exposure], usual_morning=usual_morning, limit=limit, tolerance=tolerance)
    return {PASSED: True, FAILED: False}.get(found.verdict)
