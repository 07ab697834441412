"""Guarded sites that did well more joint reps than were prescribed."""

from dataclasses import dataclass

import numpy as np

from coaching.compute.arrays import NDArray
from coaching.compute.scheduled_sessions import session_ratios

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

METHOD = "completed_against_prescribed_joint_reps"
VERSION = "1"


@dataclass(frozen=True, slots=True)
class OverDoseSettings:
    """Constants of the over-dose rule; all are design choices.

    Attributes:
        days: length of the window.
        ratio: completed / prescribed joint reps from which it counts, and
        min_reps: the smallest excess in joint reps that counts.
    """

    days: int = 14
    ratio: float = 1.3
    min_reps: float = 20.0


DEFAULT_SETTINGS = OverDoseSettings()


@dataclass(frozen=True, slots=True, eq=False)
class OverDoses:
    """Completed against prescribed joint reps of each series over the over-dose window.

    Attributes:
        is_over_dose: well above what was prescribed, on a guarded site.
        completed_joint_reps, prescribed_joint_reps: sums over the window.
        ratio: completed / prescribed; nan where nothing was prescribed.
        days: length of the window.
        method, version: name and version of the rule.
    """

    is_over_dose: Bools
    completed_joint_reps: Floats
    prescribed_joint_reps: Floats
    ratio: Floats
    days: int
    method: str
    version: str


def assess_over_dose(
    completed_joint_reps: Floats,
    prescribed_joint_reps: Floats,
    is_guarded: Bools,
    settings: OverDoseSettings = DEFAULT_SETTINGS,
) -> OverDoses:
    """Say where a guarded site did well more joint reps than were prescribed.

    Args:
        completed_joint_reps, prescribed_joint_reps: (n_series, n_days), newest day last, 0 = none.
        is_guarded: (n_series,) site with an active injury, a cap or a limit.
        settings: constants of the rule.

    Returns:
        OverDoses.

    Raises:
        ValueError: shapes differ, or joint reps below 0 or missing.

    Notes:
        Nothing prescribed but reps done counts as over-dose from min_reps; its ratio is nan.

    Source:
        Design choice.

    >>> assess_over_dose(np.full((1, 14), 15.0), np.full((1, 14), 10.0), np.array([True])).ratio
    array([1.5])
    """
    if completed_joint_reps.shape != prescribed_joint_reps.shape:
        raise ValueError(
            f"prescribed_joint_reps must have the shape of completed_joint_reps "
            f"{completed_joint_reps.shape}, got {prescribed_joint_reps.shape}"
        )
    if is_guarded.shape != completed_joint_reps.shape[:1]:
        raise ValueError(f"is_guarded must have {len(completed_joint_reps)} entries, got {is_guarded.shape}")
    for name, reps in (
        ("completed_joint_reps", completed_joint_reps),
        ("prescribed_joint_reps", prescribed_joint_reps),
    ):
        if not (reps >= 0).all():
            raise ValueError(f"{name} must be 0 or more on every day, got {float(reps[~(reps >= 0)][0])}")
    completed = completed_joint_reps[:, -settings.days :].sum(axis=1)
    prescribed = prescribed_joint_reps[:, -settings.days :].sum(axis=1)
    is_well_above = completed >= settings.ratio * prescribed - 1e-9
    is_over = is_guarded & is_well_above & (completed - prescribed >= settings.min_reps)
    return OverDoses(
        is_over_dose=is_over,
        completed_joint_reps=completed,
        prescribed_joint_reps=prescribed,
        ratio=session_ratios(completed, prescribed),
        days=settings.days,
        method=METHOD,
        version=VERSION,
    )
