"""How sites and lifts are called in sentences."""

FRESH = "fresh"


def site_label(target: str) -> str:
    """`knee:left` is the left knee, `lumbar_spine:midline` the lumbar spine."""
    joint, _, side = target.partition(":")
    joint = joint.replace("_", " ")
    return joint if side == "midline" else f"{side} {joint}"


def lift_label(name: str, side: str, track: str) -> str:
    """The lift's name, its side where it has one, and whether it is the second half of a pair."""
    aside = [] if side == "both" else [side]
    if track != FRESH:
        aside.append(f"straight after {track.removeprefix('after:').replace('_', ' ')}")
    return ", ".join([name, *aside])
