"""Twelve invented clients, each with a story that the morning sheet must tell, or leave out, rightly."""

from collections.abc import Callable
from dataclasses import dataclass, field

from coaching.demo.plans import DELOADS, FEW_SETS, PRESSING, RESERVE, SLOW, DemoPlan

PainOn = Callable[[int], int]
"""Pain 0-10 after a session that lies so many days before today."""


@dataclass(frozen=True, slots=True)
class Injury:
    joint: str
    side: str
    said: str
    cautions: str
    weekly_joint_reps_cap: int | None = None
    pain_limit: int | None = None


@dataclass(frozen=True, slots=True)
class Story:
    """What one client lived through; days are counted back from today, weeks from the start."""

    key: str
    name: str
    coach: int
    plan: DemoPlan
    training_status: str
    told: str
    is_on_sheet: bool
    expected_kinds: tuple[str, ...] = ()
    injury: Injury | None = None
    pain_site: tuple[str, str] | None = None
    pain: PainOn = field(default=lambda days_ago: 1)
    progress_per_week: Callable[[int], float] = field(default=lambda week: 0.008)
    reps_factor: Callable[[int], float] = field(default=lambda days_ago: 1.0)
    extra_sets: Callable[[int], int] = field(default=lambda days_ago: 0)
    is_skipped: Callable[[int, int], bool] = field(default=lambda days_ago, number: False)
    says_not_done: bool = False
    weeks: int = 16
    uses_pounds: bool = False
    posts_in_batches: bool = False
    posts_twice: bool = False
    last_word_days_ago: int | None = None
    late_days_ago: int | None = None
    ends_with_red_flag: bool = False
    ends_with_typing_error: bool = False


def _flare_pain(days_ago: int) -> int:
    """2 of 10 for weeks, then about two thirds of a point a week up to 5."""
    return 2 if days_ago > 38 else min(5, 2 + round((38 - days_ago) / 11))


def _flare_reps(days_ago: int) -> float:
    return 1.0 if days_ago > 42 else 1.0 + 0.09 * (42 - days_ago) / 7


STORIES = (
    Story(
        "flare",
        "Maren Holt",
        0,
        PRESSING,
        "intermediate",
        "right shoulder: pain climbs as its repetitions climb",
        is_on_sheet=True,
        expected_kinds=("pain_with_volume",),
        injury=Injury(
            "shoulder", "right", "Ached after a fall on ice two winters ago.", "Keep the elbow in."
        ),
        pain_site=("shoulder", "right"),
        pain=_flare_pain,
        reps_factor=_flare_reps,
        progress_per_week=lambda week: 0.006,
    ),
    Story(
        "deload",
        "Piet Lander",
        1,
        DELOADS,
        "intermediate",
        "every sixth week is light; the return from it is not a rise",
        is_on_sheet=False,
        pain_site=("knee", "left"),
        pain=lambda days_ago: 1 + (days_ago % 5 == 0),
        reps_factor=lambda days_ago: 1.0,
        posts_in_batches=True,
    ),
    Story(
        "steady_three",
        "Rosa Quint",
        0,
        SLOW,
        "intermediate",
        "left knee at 3 of 10 all along; neither better nor worse",
        is_on_sheet=False,
        injury=Injury(
            "knee", "left", "Worn cartilage, told so by a clinician.", "No deep loaded flexion.", 120
        ),
        pain_site=("knee", "left"),
        pain=lambda days_ago: 3,
    ),
    Story(
        "bad_night",
        "Jonas Tveit",
        1,
        RESERVE,
        "intermediate",
        "one bad night ten days ago, gone the day after",
        is_on_sheet=False,
        pain_site=("shoulder", "left"),
        pain=lambda days_ago: 5 if 8 <= days_ago <= 9 else 1,
        posts_twice=True,
    ),
    Story(
        "stalled",
        "Agnes Bohm",
        0,
        RESERVE,
        "novice",
        "squat and bench have stopped moving for ten weeks, although a novice should gain",
        is_on_sheet=True,
        expected_kinds=("stalled_lift",),
        progress_per_week=lambda week: 0.012 if week < 5 else 0.0,
    ),
    Story(
        "drifting",
        "Leif Sander",
        1,
        FEW_SETS,
        "intermediate",
        "does one session in three for three weeks, and says so",
        is_on_sheet=True,
        expected_kinds=("off_plan",),
        is_skipped=lambda days_ago, number: days_ago <= 21 and number % 3 != 0,
        says_not_done=True,
    ),
    Story(
        "over_dose",
        "Tilda Frey",
        0,
        SLOW,
        "intermediate",
        "does far more than prescribed on a guarded right knee",
        is_on_sheet=True,
        expected_kinds=("over_dose",),
        injury=Injury("knee", "right", "Sore below the kneecap since spring.", "Few repetitions, slow.", 110),
        pain_site=("knee", "right"),
        pain=lambda days_ago: 2,
        extra_sets=lambda days_ago: 3 if days_ago <= 17 else 0,
    ),
    Story(
        "red_flag",
        "Ossian Brandt",
        1,
        FEW_SETS,
        "intermediate",
        "reports a swollen, warm calf: a matter for a clinician today, not for a coach",
        is_on_sheet=True,
        expected_kinds=("red_flag",),
        pain_site=("ankle", "left"),
        pain=lambda days_ago: 2,
        ends_with_red_flag=True,
    ),
    Story(
        "silent",
        "Ylva Norden",
        0,
        RESERVE,
        "intermediate",
        "nothing posted for nine days although sessions were due",
        is_on_sheet=True,
        expected_kinds=("silent",),
        is_skipped=lambda days_ago, number: days_ago <= 10,
        pain_site=("knee", "left"),
        last_word_days_ago=10,
    ),
    Story(
        "typing_error",
        "Bruno Acker",
        1,
        RESERVE,
        "intermediate",
        "typed 200 for 20 kg on a curl; held back until someone confirms",
        is_on_sheet=True,
        progress_per_week=lambda week: 0.005,
        ends_with_typing_error=True,
    ),
    Story(
        "newcomer",
        "Cosima Wyler",
        0,
        SLOW,
        "novice",
        "two weeks in: too little history to judge any trend",
        is_on_sheet=False,
        pain_site=("knee", "left"),
        pain=lambda days_ago: 3 if days_ago > 7 else 4,
        weeks=2,
    ),
    Story(
        "progress",
        "Emil Sand",
        1,
        FEW_SETS,
        "intermediate",
        "steady good progress, logged in pounds; nothing to say",
        is_on_sheet=False,
        pain_site=("knee", "left"),
        pain=lambda days_ago: 1,
        progress_per_week=lambda week: 0.009,
        uses_pounds=True,
        late_days_ago=6,
    ),
)
