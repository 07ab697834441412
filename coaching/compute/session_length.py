"""How long a planned session takes, from repetitions, tempo and rests."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from coaching.compute.exposure import parse_tempo, time_under_tension
from coaching.compute.plan_week import PlannedBlock, PlannedDay, PlannedSets, check_planned


@dataclass(frozen=True, slots=True)
class SessionLengthSettings:
    """Seconds that a plan does not say; a coach's settings.

    Attributes:
        rep_low_s, rep_high_s: seconds of one repetition where no tempo is given.
        side_change_s: from one side to the other in one-sided work.
        change_over_s: from one exercise to the next; the rest runs meanwhile, so the longer of both counts.
    """

    rep_low_s: float = 2.0
    rep_high_s: float = 4.0
    side_change_s: float = 10.0
    change_over_s: float = 60.0


DEFAULT_SETTINGS = SessionLengthSettings()


@dataclass(frozen=True, slots=True)
class SessionLength:
    """Minutes of a session: at the low end of every range, and at the high end."""

    low_min: float
    high_min: float


@dataclass(frozen=True, slots=True)
class _Bout:
    """One set, or one step of a warm-up, of every side in turn, and the rest after it."""

    code: str
    low_s: float
    high_s: float
    rest_s: float
    is_joined: bool = False


def session_length(day: PlannedDay, settings: SessionLengthSettings = DEFAULT_SETTINGS) -> SessionLength:
    """Estimate how long a session takes.

    Args:
        day: blocks in the order in which they are done.
        settings: seconds that the plan does not say.

    Returns:
        SessionLength; 0 for a day without blocks.

    Raises:
        ValueError: a prescription that cannot be counted (check_planned), an unreadable tempo, or a rest
            or setting below 0 or upside down.

    Notes:
        Work is time under tension, with the warm-up ramps at the tempo of their work sets. Between two sets
        lies the rest, between two exercises the longer of rest and change-over, within a round of a
        back-to-back block only the rest that is asked for, or none. Ramps of such a block come before its
        first round. No rest follows the last set. A general warm-up, talk and waiting are not in it.

    Source:
        2 to 4 s for a repetition: 1 to 2 s either way, Ratamess et al. 2009 (ACSM), MSSE 41(3):687-708. Other
        seconds: coach judgement.

    >>> from coaching.compute.exercise_profile import ExerciseProfile
    >>> squat = ExerciseProfile("squat", frozenset({"quadriceps"}), frozenset(), {"knee": 1})
    >>> row = PlannedSets(exercise=squat, sets=3, reps_low=6, reps_high=6, tempo="3-1-1-0")
    >>> session_length(PlannedDay((PlannedBlock((row,), rest_s=75),)))
    SessionLength(low_min=4.0, high_min=4.0)
    """
    _check(settings)
    for row in day.rows:
        check_planned(row)
    for block in day.blocks:
        if block.rest_s < 0:
            raise ValueError(f"rest_s must be 0 or more, got {block.rest_s}")
    bouts = [bout for block in day.blocks for bout in _bouts(block, settings)]
    pause_s = sum(_pause_s(*pair, settings) for pair in pairwise(bouts))
    low_s, high_s = sum(bout.low_s for bout in bouts), sum(bout.high_s for bout in bouts)
    return SessionLength(low_min=(low_s + pause_s) / 60, high_min=(high_s + pause_s) / 60)


def _pause_s(before: _Bout, after: _Bout, settings: SessionLengthSettings) -> float:
    if before.is_joined or before.code == after.code:
        return before.rest_s
    return max(before.rest_s, settings.change_over_s)


def _bouts(block: PlannedBlock, settings: SessionLengthSettings) -> Iterator[_Bout]:
    if not block.is_back_to_back:
        for row in block.rows:
            yield from _warm_up(row, settings)
            for _ in range(row.sets):
                yield _work_set(row, block.rest_s if row.rest_s is None else row.rest_s, settings)
        return
    for row in block.rows:
        yield from _warm_up(row, settings)
    for done in range(max((row.sets for row in block.rows), default=0)):
        in_round = [row for row in block.rows if row.sets > done]
        for row in in_round[:-1]:
            yield _work_set(row, row.rest_s or 0, settings, is_joined=True)
        yield _work_set(in_round[-1], block.rest_s, settings)


def _warm_up(row: PlannedSets, settings: SessionLengthSettings) -> Iterator[_Bout]:
    for step in row.warm_up:
        yield _bout(row, (step.reps, step.reps), step.rest_s, settings)


def _work_set(
    row: PlannedSets, rest_s: float, settings: SessionLengthSettings, *, is_joined: bool = False
) -> _Bout:
    if row.duration_s is not None:
        seconds = _all_sides_s(row, row.duration_s, settings)
        return _Bout(row.exercise.code, seconds, seconds, rest_s, is_joined)
    return _bout(row, (row.reps_low or 0, row.reps_high or 0), rest_s, settings, is_joined=is_joined)


def _bout(
    row: PlannedSets,
    reps: tuple[int, int],
    rest_s: float,
    settings: SessionLengthSettings,
    *,
    is_joined: bool = False,
) -> _Bout:
    if row.tempo:
        tempo = parse_tempo(row.tempo)
        low_s, high_s = (time_under_tension(count, tempo) for count in reps)
    else:
        low_s, high_s = reps[0] * settings.rep_low_s, reps[1] * settings.rep_high_s
    low_s, high_s = (_all_sides_s(row, seconds, settings) for seconds in (low_s, high_s))
    return _Bout(row.exercise.code, low_s, high_s, rest_s, is_joined)


def _all_sides_s(row: PlannedSets, seconds: float, settings: SessionLengthSettings) -> float:
    n_sides = len(row.sides_in_turn)
    return n_sides * seconds + (n_sides - 1) * settings.side_change_s


def _check(settings: SessionLengthSettings) -> None:
    for name in ("rep_low_s", "rep_high_s", "side_change_s", "change_over_s"):
        seconds = getattr(settings, name)
        if not 0 <= seconds < float("inf"):
            raise ValueError(f"{name} must be finite and 0 or more, got {seconds}")
    if settings.rep_low_s > settings.rep_high_s:
        raise ValueError(
            f"rep_low_s must not lie above rep_high_s, got {settings.rep_low_s} and {settings.rep_high_s}"
        )
