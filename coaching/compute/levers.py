"""The levers apart from load and repetitions: less rest, and a slower lowering."""

import math

from coaching.compute.exposure import is_tempo, parse_tempo

SHORTEST_REST_S = 60  # below it short rest costs growth; a prescription that asks for less keeps its own
REST_STEP_S = 5
REST_CUT = 0.10

SLOWEST_LOWERING_S = 5


def shorten_rest(rest_s: int) -> int | None:
    """Give the next shorter rest.

    Args:
        rest_s: rest of the last time, seconds.

    Returns:
        A rest shorter by up to 10 %, on whole 5 s and never below 60 s; None where there is none.

    Raises:
        ValueError: rest_s negative.

    Source:
        60 s: small benefit of longer rest above it, Singer et al. 2024, Front Sports Act Living 6:1429789
        (second-hand). A tenth, and 5 s: coach judgement.

    >>> shorten_rest(120), shorten_rest(60)
    (110, None)
    """
    if rest_s < 0:
        raise ValueError(f"rest_s must be 0 or more, got {rest_s}")
    shorter = math.ceil(rest_s * (1 - REST_CUT) / REST_STEP_S - 1e-9) * REST_STEP_S
    bounded = max(shorter, SHORTEST_REST_S)
    return bounded if bounded < rest_s else None


def slow_tempo(tempo: str) -> str | None:
    """Give the tempo with a lowering one second slower.

    Args:
        tempo: text for parse_tempo; empty = free.

    Returns:
        Tempo in four parts with dashes; None for a free tempo, or where the lowering takes 5 s or more.

    Raises:
        ValueError: as parse_tempo.

    Source:
        One second, and the bound of 5 s: coach judgement.

    >>> slow_tempo("3-1-X-0"), slow_tempo("5110")
    ('4-1-X-0', None)
    """
    if not tempo.strip():
        return None
    lowering_s = parse_tempo(tempo).lowering_s
    return None if lowering_s >= SLOWEST_LOWERING_S else with_lowering(tempo, lowering_s + 1)


def with_lowering(tempo: str, lowering_s: int) -> str:
    """Give a tempo with another lowering.

    Args:
        tempo: text for parse_tempo.
        lowering_s: seconds, 0 to 60.

    Returns:
        Tempo in four parts with dashes; the other three stay as written.

    Raises:
        ValueError: as parse_tempo.

    Source:
        Order of the parts: as parse_tempo.

    >>> with_lowering("31X0", 4)
    '4-1-X-0'
    """
    stripped = tempo.strip()
    parts = stripped.split("-") if "-" in stripped else list(stripped)
    changed = "-".join((str(lowering_s), *parts[1:]))
    parse_tempo(changed)
    return changed


def held_tempo(prescribed: str, done: str) -> str:
    """Give the tempo at which a lever stands.

    Args:
        prescribed: tempo of the prescription; empty = free.
        done: tempo of the last exposure that tells it; empty or unreadable = not known.

    Returns:
        The prescribed one, with the slower lowering that was done, up to 5 s.

    Source:
        Design choice.

    >>> held_tempo("3-1-1-0", "4-1-1-0"), held_tempo("3-1-1-0", "2-0-1-0")
    ('4-1-1-0', '3-1-1-0')
    """
    if not (is_tempo(prescribed) and is_tempo(done)):
        return prescribed
    lowering_s = min(parse_tempo(done).lowering_s, SLOWEST_LOWERING_S)
    if lowering_s <= parse_tempo(prescribed).lowering_s:
        return prescribed
    return with_lowering(prescribed, lowering_s)


def held_rest_s(prescribed_s: int | None, done_s: int | None) -> int | None:
    """Give the rest at which a lever stands.

    Args:
        prescribed_s: rest of the prescription, seconds; None = free.
        done_s: rest of the last exposure that tells it; None = not known.

    Returns:
        The rest done where it is shorter, but not below 60 s or what is prescribed; None = free.

    Source:
        Design choice.

    >>> held_rest_s(120, 110), held_rest_s(120, 300), held_rest_s(120, 20), held_rest_s(30, 20)
    (110, 120, 60, 30)
    """
    if prescribed_s is None or done_s is None:
        return prescribed_s
    return min(prescribed_s, max(done_s, SHORTEST_REST_S))
