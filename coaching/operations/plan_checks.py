"""What makes a plan one that can be trained: each fault points at its field."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import TypeAlias

from coaching.compute.exposure import is_tempo
from coaching.errors import FieldFault
from coaching.models import BlockKind, EffortTarget, Exercise, Lever, LoadRule, Measure
from coaching.operations.plan_swaps import swap_faults
from coaching.reads.plans import BlockContent, PlanContent, PrescriptionContent

FEWEST_BACK_TO_BACK = 2

Path: TypeAlias = tuple[str | int, ...]


def plan_faults(content: PlanContent, exercises: Mapping[str, Exercise]) -> tuple[FieldFault, ...]:
    """Everything that keeps this plan from being stored; `exercises` are those the practice knows."""
    return (*_week_faults(content), *_day_faults(content, exercises))


def _week_faults(content: PlanContent) -> Iterator[FieldFault]:
    for index, week in enumerate(content.deload_weeks):
        if not 1 <= week <= content.weeks:
            yield FieldFault(
                ("deload_weeks", index), "outside_weeks", f"The plan has weeks 1 to {content.weeks}."
            )
        elif week in content.deload_weeks[:index]:
            yield FieldFault(("deload_weeks", index), "repeated", f"Week {week} is given twice.")


def _day_faults(content: PlanContent, exercises: Mapping[str, Exercise]) -> Iterator[FieldFault]:
    for i, day in enumerate(content.days):
        for j, block in enumerate(day.blocks):
            path: Path = ("days", i, "blocks", j)
            yield from _block_faults(block, path)
            yield from _lever_faults(block, path)
            yield from swap_faults(block, exercises, path)
            for k, prescription in enumerate(block.prescriptions):
                place: Path = (*path, "prescriptions", k)
                yield from _amount_faults(prescription, exercises.get(prescription.exercise), place)
                yield from _effort_faults(prescription, place)
                yield from _load_faults(prescription, place)
                yield from _ramp_faults(prescription, place)


def _block_faults(block: BlockContent, path: Path) -> Iterator[FieldFault]:
    fewest = FEWEST_BACK_TO_BACK if block.kind == BlockKind.BACK_TO_BACK else 1
    if len(block.prescriptions) < fewest:
        yield FieldFault(
            (*path, "prescriptions"), "too_few", f"A block of this kind has {fewest} prescriptions or more."
        )


def _lever_faults(block: BlockContent, path: Path) -> Iterator[FieldFault]:
    has_tempo = any(prescription.tempo for prescription in block.prescriptions)
    for index, lever in enumerate(block.levers):
        place: Path = (*path, "levers", index)
        if lever in block.levers[:index]:
            yield FieldFault(place, "repeated", f"The lever {lever} is given twice.")
        elif lever == Lever.SECOND_HALF_LOAD and block.kind != BlockKind.BACK_TO_BACK:
            yield FieldFault(place, "not_asked_for", "Only with back_to_back.")
        elif lever == Lever.TEMPO and not has_tempo:
            yield FieldFault(place, "needs_tempo", "No prescription of this block has a tempo.")


def _amount_faults(
    prescription: PrescriptionContent, exercise: Exercise | None, path: Path
) -> Iterator[FieldFault]:
    if exercise is None:
        yield FieldFault((*path, "exercise"), "unknown_exercise", "There is no such exercise.")
    elif exercise.measure == Measure.DURATION:
        yield from _duration_faults(prescription, path)
    else:
        yield from _reps_faults(prescription, path)


def _duration_faults(prescription: PrescriptionContent, path: Path) -> Iterator[FieldFault]:
    if prescription.duration_s is None:
        yield FieldFault((*path, "duration_s"), "required", "This exercise is measured by its duration.")
    if prescription.reps_low is not None:
        yield FieldFault((*path, "reps_low"), "not_for_duration", "A held exercise has no repetitions.")
    if prescription.reps_high is not None:
        yield FieldFault((*path, "reps_high"), "not_for_duration", "A held exercise has no repetitions.")
    if prescription.has_warm_up_ramp:
        yield FieldFault((*path, "has_warm_up_ramp"), "not_for_duration", "The ramp is made of repetitions.")


def _reps_faults(prescription: PrescriptionContent, path: Path) -> Iterator[FieldFault]:
    low, high = prescription.reps_low, prescription.reps_high
    if prescription.duration_s is not None:
        yield FieldFault((*path, "duration_s"), "not_for_reps", "This exercise is measured in repetitions.")
    if low is None:
        yield FieldFault((*path, "reps_low"), "required", "This exercise is measured in repetitions.")
    if high is None:
        yield FieldFault((*path, "reps_high"), "required", "This exercise is measured in repetitions.")
    if low is not None and high is not None and high < low:
        yield FieldFault((*path, "reps_high"), "range_upside_down", "The range ends below its start.")


def _effort_faults(prescription: PrescriptionContent, path: Path) -> Iterator[FieldFault]:
    needs_rir = prescription.effort_target == EffortTarget.REPS_IN_RESERVE
    yield from _only_with(needs_rir, prescription.rir_target, "rir_target", "reps_in_reserve", path)
    if prescription.tempo and not is_tempo(prescription.tempo):
        yield FieldFault(
            (*path, "tempo"), "tempo", "Write four numbers of seconds, like 3-1-1-0 or 3110; X is explosive."
        )


def _load_faults(prescription: PrescriptionContent, path: Path) -> Iterator[FieldFault]:
    rule = prescription.load_rule
    yield from _only_with(rule == LoadRule.FIXED, prescription.load_kg, "load_kg", "fixed", path)
    yield from _only_with(
        rule == LoadRule.SHARE_OF_1RM, prescription.share_of_1rm, "share_of_1rm", "share_of_1rm", path
    )


def _only_with(
    is_needed: bool, value: float | None, field: str, choice: str, path: Path
) -> Iterator[FieldFault]:
    if is_needed and value is None:
        yield FieldFault((*path, field), "required", f"Needed with {choice}.")
    if not is_needed and value is not None:
        yield FieldFault((*path, field), "not_asked_for", f"Only with {choice}.")


def _ramp_faults(prescription: PrescriptionContent, path: Path) -> Iterator[FieldFault]:
    steps = prescription.warm_up_steps
    if steps and not prescription.has_warm_up_ramp:
        yield FieldFault((*path, "warm_up_steps"), "not_asked_for", "Only with has_warm_up_ramp.")
    for index, (before, step) in enumerate(pairwise(steps), start=1):
        if step.share_of_work_load <= before.share_of_work_load:
            place = (*path, "warm_up_steps", index, "share_of_work_load")
            yield FieldFault(place, "not_ascending", "Each step is heavier than the one before.")
