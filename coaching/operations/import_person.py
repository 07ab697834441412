"""Bringing in a person's archive: all of it or nothing, ids kept; a second time finds everything standing."""

import uuid
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import IntegrityError, models, transaction

from coaching.models import (
    Account,
    Actor,
    Block,
    ChangeKind,
    Client,
    ConsentPurpose,
    ErasedDigest,
    Exercise,
    Membership,
    PainReport,
    PlanDay,
    PlanVersion,
    Practice,
    Session,
)
from coaching.models.base import PracticeRow
from coaching.operations import rollups
from coaching.operations.audit import record_change
from coaching.operations.changes import Changed, note_changes
from coaching.operations.rescoring import ask_for_rescoring
from coaching.reads.person_rows import (
    BROUGHT_IN,
    POINTS_AT_PEOPLE,
    Kind,
    Plain,
    is_whose,
    plain_row,
    with_references,
)

AT_ONCE = 500
OF_EXERCISES = frozenset({"muscle_roles", "exercise_stresses"})
# What finds a row again that has no id of its own.
NATURAL_KEYS: dict[str, tuple[str, ...]] = {
    "exercises": ("code",),
    "muscle_roles": ("exercise", "muscle"),
    "exercise_stresses": ("exercise", "joint"),
    "joint_stresses": ("exercise", "joint"),
    "body_masses": ("measured_on",),
    "plan_versions": ("plan", "number"),
    "plan_days": ("version", "position"),
    "blocks": ("day", "position"),
    "prescription_alternatives": ("prescription", "position"),
    "scores": ("night_on", "revision"),
}


@dataclass(frozen=True, slots=True)
class PersonProblem:
    """Why a row cannot be brought in; `row` counts from 1 in its file, 0 is the whole of it."""

    kind: str
    row: int
    code: str
    detail: str


@dataclass(frozen=True, slots=True)
class ImportedPerson:
    """How many rows are new and how many stood already; with a problem nothing is written."""

    new: dict[str, int]
    standing: dict[str, int]
    problems: tuple[PersonProblem, ...]
    is_written: bool


class _CannotBeError(Exception):
    """One row cannot be brought in."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(code)
        self.code, self.detail = code, detail


@dataclass(slots=True)
class _Import:
    practice: Practice
    coach: Membership
    new: Counter[str] = field(default_factory=Counter)
    standing: Counter[str] = field(default_factory=Counter)
    problems: list[PersonProblem] = field(default_factory=list)
    client: Client | None = None
    own_exercises: set[str] = field(default_factory=set)
    found: dict[tuple[Any, ...], models.Model] = field(default_factory=dict)


def import_person(
    *,
    actor: Actor,
    coach: Membership,
    rows: Mapping[str, Sequence[Plain]],
    now: datetime,
    is_dry_run: bool = False,
) -> ImportedPerson:
    """Store what an archive holds, under the ids it has, as a client of `coach`. Safe to repeat.

    Accounts, devices, links and the trail stay where they were made. Nothing is written while any row is a
    problem.
    """
    done = _Import(Practice.objects.get(id=actor.practice_id), coach)
    is_written = False
    try:
        with transaction.atomic():
            _bring_in(done, rows, actor, now)
            is_written = not done.problems and not is_dry_run
            if not is_written:
                transaction.set_rollback(True)
    except IntegrityError:
        is_written = False
        done.problems.append(PersonProblem("", 0, "not_possible", "The database does not take these rows."))
    return ImportedPerson(dict(done.new), dict(done.standing), tuple(done.problems), is_written)


def _bring_in(done: _Import, rows: Mapping[str, Sequence[Plain]], actor: Actor, now: datetime) -> None:
    _check_consent(done, rows)
    for kind in BROUGHT_IN:
        fresh = [row for row in _fresh_rows(done, kind, rows[kind.name]) if not done.problems]
        for start in range(0, len(fresh), AT_ONCE):
            kind.model._default_manager.bulk_create(fresh[start : start + AT_ONCE])
        if done.problems:
            return
        done.new[kind.name] += len(fresh)
        if kind.name == "client" and fresh:
            done.client = Client.objects.get(pk=fresh[0].pk)
    client = done.client
    if client is not None and any(done.new.values()):
        _bring_along(client, actor, now)


def _check_consent(done: _Import, rows: Mapping[str, Sequence[Plain]]) -> None:
    if len(rows["client"]) != 1:
        done.problems.append(PersonProblem("client", 0, "not_one", "An archive is of one person."))
    stands = any(
        row.get("purpose") == ConsentPurpose.HEALTH_DATA and row.get("withdrawn_at") is None
        for row in rows["consents"]
    )
    if not stands:
        detail = "No health data is stored without the client's recorded consent; this archive has none."
        done.problems.append(PersonProblem("consents", 0, "consent_missing", detail))


def _fresh_rows(done: _Import, kind: Kind, rows: Sequence[Plain]) -> Iterator[Any]:
    for number, plain in enumerate(rows, start=1):
        try:
            row = _new_or_none(done, kind, plain)
        except _CannotBeError as error:
            done.problems.append(PersonProblem(kind.name, number, error.code, error.detail))
            return
        except (ValidationError, ObjectDoesNotExist, KeyError, TypeError, ValueError):
            detail = "This row is not as an archive has it, or points at what is not there."
            done.problems.append(PersonProblem(kind.name, number, "not_possible", detail))
            return
        if row is not None:
            yield row


def _new_or_none(done: _Import, kind: Kind, plain: Plain) -> Any:
    """The row to insert, or None for one that stands already."""
    if kind.name in OF_EXERCISES and plain["exercise"] not in done.own_exercises:
        return None
    row = _row(done, kind, plain)
    standing = _twin(done, kind, row)
    if standing is None:
        if isinstance(row, PracticeRow):
            _check_is_not_erased(done, row)
        if kind.name == "exercises":
            done.own_exercises.add(row.code)
        return row
    if kind.name == "client":
        done.client = standing
    if kind.name != "exercises" and _compared(plain_row(kind, standing)) != _compared(plain):
        raise _CannotBeError("conflict", "Other content stands here under the same id.")
    done.standing[kind.name] += 1
    return None


def _compared(plain: Plain) -> Plain:
    """Who wrote it is known by an account, which another practice may not have."""
    return {name: value for name, value in plain.items() if name not in POINTS_AT_PEOPLE}


def _row(done: _Import, kind: Kind, plain: Plain) -> Any:
    named: dict[str, Any] = {}
    for each in kind.model._meta.concrete_fields:
        if each.name == "practice":
            named["practice"] = done.practice
        elif is_whose(kind, each):
            named[each.name] = None if kind.name == "exercise_stresses" else done.client
    for each in kind.fields:
        if not is_whose(kind, each):
            value = plain[each.name]
            named[each.name] = _referred(done, each, value) if each.is_relation else _value(each, value)
    if kind.name == "client":
        named["coach"] = done.coach
    return kind.model(**named)


def _value(each: "models.Field[Any, Any]", value: Any) -> Any:
    if value is None and not each.null:
        raise ValueError
    if value in each.empty_values:
        return value
    return each.clean(value, None)


def _referred(done: _Import, each: "models.Field[Any, Any]", value: Any) -> Any:
    model: Any = each.related_model
    if value is None:
        return None
    key = (model, *value) if isinstance(value, list) else (model, value)
    if key not in done.found:
        found = _find(done, model, value)
        if found is None:
            return None
        done.found[key] = found
    return done.found[key]


def _find(done: _Import, model: Any, value: Any) -> Any:
    """Raises ObjectDoesNotExist; an account that is not known here is nobody."""
    if model is Account:
        has_place = models.Q(memberships__practice=done.practice) | models.Q(clients__practice=done.practice)
        return Account.objects.filter(has_place, id=uuid.UUID(value)).first()
    if model is Exercise:
        return Exercise.objects.known_to(done.practice.id).get(code=value)
    if model in (PlanVersion, PlanDay, Block):
        names = ("plan__uid", "number", "position", "position")
        way = {PlanVersion: "", PlanDay: "version__", Block: "day__version__"}[model]
        asked = {f"{way}{names[0]}": uuid.UUID(value[0]), f"{way}{names[1]}": value[1]}
        asked[f"{way}plan__practice"] = done.practice
        if model is PlanDay:
            asked["position"] = value[2]
        if model is Block:
            asked |= {"day__position": value[2], "position": value[3]}
        return model.objects.get(**asked)
    return model._default_manager.get(practice=done.practice, uid=uuid.UUID(value))


def _twin(done: _Import, kind: Kind, row: Any) -> Any:
    """What stands where the row would. Raises _CannotBeError if it is somebody else's."""
    rows = with_references(kind, kind.model._default_manager.all())
    if kind.name == "exercises":
        return rows.filter(models.Q(practice=None) | models.Q(practice=done.practice), code=row.code).first()
    if kind.name in NATURAL_KEYS:
        asked = {name: getattr(row, name) for name in NATURAL_KEYS[kind.name]}
        whose = {
            each.name: getattr(row, each.name) for each in row._meta.concrete_fields if is_whose(kind, each)
        }
        return rows.filter(**asked, **whose).first()
    standing = rows.filter(practice=done.practice, uid=row.uid).first()
    whose_id = getattr(standing, "client_id", None)
    if standing is not None and whose_id is not None and whose_id != row.client_id:
        raise _CannotBeError("conflict", "This id belongs to another client of the practice.")
    return standing


def _check_is_not_erased(done: _Import, row: PracticeRow) -> None:
    if ErasedDigest.objects.of_records(done.practice.id, [row.uid]).exists():
        raise _CannotBeError("gone", "This was erased from the practice, and stays so.")


def _bring_along(client: Client, actor: Actor, now: datetime) -> None:
    """What follows from the rows: daily sums, a look of the nights, the feed, the trail."""
    days = {*Session.objects.filter(client=client).kept().values_list("performed_on", flat=True)}
    days |= {*PainReport.objects.filter(client=client).values_list("felt_on", flat=True)}
    if days:
        rollups.rebuild_days(client=client, days=days)
        ask_for_rescoring(client=client, from_on=min(days))
    note_changes(practice_id=client.practice_id, changed=_told(client), now=now)
    record_change(
        actor=actor,
        practice_id=client.practice_id,
        subject_key=client.audit_key,
        action="import",
        record_kind="person_archive",
        record_id="",
        now=now,
    )


def _told(client: Client) -> Iterator[Changed]:
    for kind in BROUGHT_IN:
        name = str(kind.model._meta.verbose_name).replace(" ", "_")
        if name in ChangeKind.values:
            rows: Any = kind.rows(client)
            is_kept = {row.uid: getattr(row, "deleted_at", None) is None for row in rows}
            yield from (Changed(client.id, name, uid, not kept) for uid, kept in is_kept.items())
