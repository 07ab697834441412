"""Which sides a joint has, which of them a set loads, and which sides a set stands for."""

from coaching.compute.exposure import BOTH, LEFT, MIDLINE, RIGHT

MIDLINE_JOINTS = ("neck", "thoracic_spine", "lumbar_spine")
REPS_OF_A_HOLD = 1  # a hold counts as one repetition of its joints: coach judgement


def sides_of_joint(joint: str) -> tuple[str, ...]:
    """Give the sides under which a joint is kept.

    Args:
        joint: word of the catalogue.

    Returns:
        midline alone for a joint of the spine, else left and right.

    Source:
        Definition.

    >>> sides_of_joint("knee"), sides_of_joint("lumbar_spine")
    (('left', 'right'), ('midline',))
    """
    return (MIDLINE,) if joint in MIDLINE_JOINTS else (LEFT, RIGHT)


def sides_loaded(joint: str, set_side: str) -> tuple[str, ...]:
    """Give the sides of a joint that one set loads.

    Args:
        joint: word of the catalogue.
        set_side: left, right or both.

    Returns:
        Sides: a set of both counts once for each side, and any set once for a joint of the spine.

    Source:
        Design choice.

    >>> sides_loaded("knee", "both"), sides_loaded("knee", "left"), sides_loaded("neck", "left")
    (('left', 'right'), ('left',), ('midline',))
    """
    sides = sides_of_joint(joint)
    return sides if set_side == BOTH or sides == (MIDLINE,) else (set_side,)


def sides_in_turn(side: str, *, is_one_sided: bool) -> tuple[str, ...]:
    """Give the sides that sets are done on one after the other.

    Args:
        side: left, right or both.
        is_one_sided: the exercise is done with one limb at a time.

    Returns:
        left and right for one-sided work of both sides, a set of each; else the side itself.

    Source:
        Design choice.

    >>> sides_in_turn("both", is_one_sided=True), sides_in_turn("both", is_one_sided=False)
    (('left', 'right'), ('both',))
    """
    return (LEFT, RIGHT) if is_one_sided and side == BOTH else (side,)
