"""What keeps two records from being merged: what both say, and say differently, is a person's to settle."""

from collections.abc import Iterator
from datetime import date

from django.db.models import Q

from coaching.errors import ConflictError
from coaching.models import (
    Alert,
    AlertKind,
    Assignment,
    BodyMass,
    Client,
    Consent,
    ConsentPurpose,
    JointStress,
)

MAX_NOTE_CHARACTERS = 2000


def check_may_merge(client: Client, duplicate: Client, *, today: date) -> None:
    """Raises ConflictError with the first thing that somebody has to settle before."""
    for obstacle in _obstacles(client, duplicate, today):
        raise ConflictError(obstacle)


def _obstacles(client: Client, duplicate: Client, today: date) -> Iterator[str]:
    if client.archived_at is not None:
        yield "The record that is to stay is archived; bring it back first."
    if client.account_id is not None and duplicate.account_id is not None:
        yield "Both have an account; a person signs in with one, so two accounts are not made one here."
    for purpose in ConsentPurpose:
        if _consents_disagree(client, duplicate, purpose):
            yield f"One of them has withdrawn the consent to {purpose.label.lower()}; settle that first."
    if all(_has_plan(each, today) for each in (client, duplicate)):
        yield "Both have a plan that runs or is to run; end one of them first."
    for target in sorted(_red_flags(client) & _red_flags(duplicate)):
        yield f"Both have a red flag for {target} that stands; a clinician's clearance has to end one first."
    for day in _differing_masses(client, duplicate):
        yield f"They have different body masses for {day}; correct one of them first."
    for exercise, joint in _differing_stresses(client, duplicate):
        yield f"They have different joint stress of {exercise} for the {joint}; make it the same first."
    if len(client.private_note) + len(duplicate.private_note) + 2 > MAX_NOTE_CHARACTERS:
        yield f"Their private notes are longer than {MAX_NOTE_CHARACTERS} characters together; shorten one."


def _consents_disagree(client: Client, duplicate: Client, purpose: str) -> bool:
    latest = [
        Consent.objects.filter(client=each, purpose=purpose).order_by("-id").first()
        for each in (client, duplicate)
    ]
    return len({consent.withdrawn_at is None for consent in latest if consent is not None}) == 2


def _has_plan(client: Client, today: date) -> bool:
    lasting = Q(ends_on__isnull=True) | Q(ends_on__gte=today)
    return Assignment.objects.filter(lasting, client=client).exists()


def _red_flags(client: Client) -> set[str]:
    flags = Alert.objects.filter(client=client, kind=AlertKind.RED_FLAG).standing()
    return set(flags.values_list("target", flat=True))


def _differing_masses(client: Client, duplicate: Client) -> list[date]:
    known = dict(BodyMass.objects.filter(client=client).values_list("measured_on", "body_mass_kg"))
    theirs = BodyMass.objects.filter(client=duplicate, measured_on__in=known).order_by("measured_on")
    return [row.measured_on for row in theirs if row.body_mass_kg != known[row.measured_on]]


def _differing_stresses(client: Client, duplicate: Client) -> list[tuple[str, str]]:
    rows = JointStress.objects.filter(client=client)
    known = {(row.exercise_id, row.joint): row.stress for row in rows}
    theirs = JointStress.objects.filter(client=duplicate).select_related("exercise").order_by("id")
    return [
        (row.exercise.name, row.joint.replace("_", " "))
        for row in theirs
        if known.get((row.exercise_id, row.joint), row.stress) != row.stress
    ]
