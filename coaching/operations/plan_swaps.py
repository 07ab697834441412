"""What a client may swap a prescribed exercise to: each fault points at the alternative."""

from collections.abc import Iterator, Mapping

from coaching.errors import FieldFault
from coaching.models import BlockKind, Exercise
from coaching.reads.plans import BlockContent, PrescriptionContent


def swap_faults(
    block: BlockContent, exercises: Mapping[str, Exercise], path: tuple[str | int, ...]
) -> Iterator[FieldFault]:
    """Everything that keeps the alternatives of this block from being stored."""
    for k, prescription in enumerate(block.prescriptions):
        elsewhere = _in_other_halves(block, k)
        for m in range(len(prescription.alternatives)):
            fault = _fault_of(prescription, m, exercises, elsewhere)
            if fault is not None:
                yield FieldFault((*path, "prescriptions", k, "alternatives", m), *fault)


def _in_other_halves(block: BlockContent, position: int) -> frozenset[str]:
    """What the other halves of a pair are, or may become; nothing for straight sets."""
    if block.kind != BlockKind.BACK_TO_BACK:
        return frozenset()
    others = [each for k, each in enumerate(block.prescriptions) if k != position]
    return frozenset(code for each in others for code in (each.exercise, *each.alternatives))


def _fault_of(
    prescription: PrescriptionContent,
    position: int,
    exercises: Mapping[str, Exercise],
    elsewhere: frozenset[str],
) -> tuple[str, str] | None:
    code = prescription.alternatives[position]
    exercise, prescribed = exercises.get(code), exercises.get(prescription.exercise)
    if exercise is None:
        return "unknown_exercise", "There is no such exercise."
    if code == prescription.exercise:
        return "same_exercise", "This is the prescribed exercise itself."
    if code in prescription.alternatives[:position]:
        return "repeated", "This alternative is given twice."
    if prescribed is not None and exercise.measure != prescribed.measure:
        return "other_measure", f"The prescribed exercise is measured in {prescribed.measure}."
    if code in elsewhere:
        return "cycle", "A swap could make two exercises of this block the same."
    return None
