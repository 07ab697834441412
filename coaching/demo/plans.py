"""Invented plans in three styles: few sets to failure, more sets in reserve, slow and held work."""

from dataclasses import asdict, dataclass, replace
from typing import Any


@dataclass(frozen=True, slots=True)
class WarmUpSet:
    """One step of a ramp, in the words of the API."""

    share_of_work_load: float
    reps: int
    rest_s: int


# What the service takes where a coach writes no ramp; the invented clients do it then.
DEFAULT_RAMP = (WarmUpSet(0.5, 5, 30), WarmUpSet(0.7, 3, 30), WarmUpSet(0.95, 1, 30))
PRESS_RAMP = (WarmUpSet(0.4, 6, 45), WarmUpSet(0.7, 3, 60))


@dataclass(frozen=True, slots=True)
class Lift:
    """One prescription of a demo plan, and the e1RM its client starts from."""

    exercise: str
    sets: int
    reps_low: int = 0
    reps_high: int = 0
    rir: float | None = None
    start_e1rm_kg: float = 0.0
    step_kg: float = 2.5
    tempo: str = ""
    duration_s: int = 0
    has_warm_up_ramp: bool = False
    follows_previous: bool = False
    warm_up_steps: tuple[WarmUpSet, ...] = ()
    alternatives: tuple[str, ...] = ()
    levers: tuple[str, ...] | None = None

    def body(self) -> dict[str, Any]:
        """As the API takes a prescription."""
        work: dict[str, Any] = (
            {"duration_s": self.duration_s}
            if self.duration_s
            else {"reps_low": self.reps_low, "reps_high": self.reps_high}
        )
        effort: dict[str, Any] = (
            {"effort_target": "failure"}
            if self.rir is None
            else {"effort_target": "reps_in_reserve", "rir_target": self.rir}
        )
        return {
            "exercise": self.exercise,
            "side": "both",
            "sets": self.sets,
            "load_rule": "from_history",
            "tempo": self.tempo,
            "has_warm_up_ramp": self.has_warm_up_ramp,
            "warm_up_steps": [asdict(step) for step in self.warm_up_steps],
            "alternatives": list(self.alternatives),
            **work,
            **effort,
        }


@dataclass(frozen=True, slots=True)
class Day:
    name: str
    weekday: int
    lifts: tuple[Lift, ...]

    def blocks(self) -> list[dict[str, Any]]:
        """Blocks as the API takes them: a lift that follows the one before it shares its block."""
        blocks: list[dict[str, Any]] = []
        for lift in self.lifts:
            if lift.follows_previous:
                blocks[-1]["kind"] = "back_to_back"
                blocks[-1]["prescriptions"].append(lift.body())
            else:
                block = {"kind": "straight_sets", "rest_s": 120, "prescriptions": [lift.body()]}
                blocks.append(block if lift.levers is None else block | {"levers": list(lift.levers)})
        return blocks


@dataclass(frozen=True, slots=True)
class DemoPlan:
    key: str
    name: str
    days: tuple[Day, ...]
    deload_weeks: tuple[int, ...] = ()

    def body(self, weeks: int) -> dict[str, Any]:
        return {
            "name": self.name,
            "weeks": weeks,
            "deload_weeks": [week for week in self.deload_weeks if week <= weeks],
            "days": [{"name": day.name, "weekday": day.weekday, "blocks": day.blocks()} for day in self.days],
        }


def _few_sets_day(name: str, weekday: int) -> Day:
    return Day(
        name,
        weekday,
        (
            Lift("machine_chest_fly", 1, 6, 10, None, 70, 2.5),
            Lift(
                "dumbbell_bench_press",
                *(1, 4, 10, None, 30, 1),
                follows_previous=True,
                alternatives=("dumbbell_floor_press",),
            ),
            Lift("chest_supported_row", 2, 6, 10, None, 62, 2, has_warm_up_ramp=True),
            Lift(
                "leg_extension",
                *(1, 8, 12, None, 80, 2.5),
                tempo="3-1-1-0",
                levers=("reps", "second_half_load", "load"),
            ),
            Lift("leg_press", 1, 6, 10, None, 190, 5, follows_previous=True),
        ),
    )


def _reserve_day(name: str, weekday: int) -> Day:
    return Day(
        name,
        weekday,
        (
            Lift(
                "back_squat",
                *(3, 5, 8, 2, 100, 2.5),
                has_warm_up_ramp=True,
                alternatives=("belt_squat", "leg_press"),
            ),
            Lift("barbell_bench_press", 3, 5, 8, 2, 75, 2.5, has_warm_up_ramp=True),
            Lift("cable_row", 3, 6, 9, 2, 70, 2.5),
            Lift("dumbbell_curl", 2, 6, 9, 1, 25, 2),
        ),
    )


def _fewer_reps_day(name: str, weekday: int) -> Day:
    """The reserve day's lifts and sets, heavier and for fewer repetitions: the same hard sets."""
    lifts = _reserve_day(name, weekday).lifts
    return Day(
        name,
        weekday,
        tuple(replace(lift, reps_low=lift.reps_low - 2, reps_high=lift.reps_high - 3) for lift in lifts),
    )


def _pressing_day(name: str, weekday: int) -> Day:
    return Day(
        name,
        weekday,
        (
            Lift(
                "barbell_bench_press",
                *(3, 5, 12, 1, 80, 2.5),
                has_warm_up_ramp=True,
                warm_up_steps=PRESS_RAMP,
                alternatives=("dumbbell_floor_press", "landmine_press"),
            ),
            Lift("overhead_press", 3, 5, 12, 1, 48, 2.5),
            Lift("cable_row", 3, 6, 10, 2, 75, 2.5),
            Lift("romanian_deadlift", 2, 6, 9, 2, 110, 2.5),
        ),
    )


def _slow_day(name: str, weekday: int) -> Day:
    return Day(
        name,
        weekday,
        (
            Lift(
                "leg_extension",
                *(2, 15, 20, None, 55, 2.5),
                tempo="3-1-3-0",
                levers=("reps", "tempo", "load"),
            ),
            Lift("leg_curl", 2, 8, 10, 1, 50, 2.5),
            Lift(
                "wall_sit",
                3,
                duration_s=45,
                rir=2,
                alternatives=("isometric_leg_extension_hold",),
                levers=(),
            ),
            Lift("lat_pulldown", 2, 7, 10, 1, 65, 2.5),
            Lift("side_plank", 2, duration_s=30, rir=2, levers=()),
        ),
    )


FEW_SETS = DemoPlan(
    "few_sets",
    "Few hard sets, to failure",
    tuple(_few_sets_day(*day) for day in (("A", 0), ("B", 2), ("C", 4))),
)
RESERVE = DemoPlan(
    "reserve",
    "More sets, reps in reserve",
    tuple(_reserve_day(*day) for day in (("A", 0), ("B", 2), ("C", 4))),
)
FEWER_REPS = DemoPlan(
    "fewer_reps",
    "As many sets, fewer reps",
    tuple(_fewer_reps_day(*day) for day in (("A", 0), ("B", 2), ("C", 4))),
)
DELOADS = DemoPlan("deloads", "More sets, every sixth week light", RESERVE.days, deload_weeks=(3, 9, 15))
PRESSING = DemoPlan(
    "pressing",
    "Pressing block, 5 to 12",
    tuple(_pressing_day(*day) for day in (("A", 0), ("B", 2), ("C", 4))),
)
SLOW = DemoPlan("slow", "Slow and held", tuple(_slow_day(*day) for day in (("A", 1), ("B", 3), ("C", 5))))
PLANS = (FEW_SETS, RESERVE, FEWER_REPS, DELOADS, PRESSING, SLOW)
