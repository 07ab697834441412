"""What must always hold between stored rows, as queries that find the rows which break it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.db.models import Count, Exists, F, FloatField, ForeignKey, OuterRef, Q, QuerySet

from coaching.models import (
    LoggedSet,
    MailRow,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    OutboxState,
    Practice,
    Score,
    Session,
    WebhookDelivery,
)

SENT_WITHIN = timedelta(hours=24)
EXAMPLES = 3
NOT_FINITE = (float("nan"), float("inf"), float("-inf"))


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule that does not hold: how many rows break it, and the first of them by their numbers."""

    rule: str
    rows: int
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """`breaking` finds the rows of a practice that break what `says` promises."""

    says: str
    breaking: Callable[[Practice, datetime], QuerySet[Any]]


def broken_rules(practice: Practice, *, now: datetime) -> Iterator[Broken | None]:
    """One item for each rule, None where it holds; to be asked across practices."""
    for rule in rules():
        rows = rule.breaking(practice, now)
        count = rows.count()
        first = rows.order_by("pk").values_list("pk", flat=True)[:EXAMPLES] if count else ()
        yield Broken(rule.says, count, tuple(map(str, first))) if count else None


def rules() -> list[Rule]:
    return [*NIGHTS, *SESSIONS, *OUTBOX, *_rows_of_one_practice(), *_numbers()]


def _turns(practice: Practice) -> QuerySet[NightClient]:
    return NightClient.objects.filter(practice=practice)


def _unlike_their_clients(practice: Practice, now: datetime) -> QuerySet[Night]:
    """An erasure takes the client's turns out of the counts as well."""

    def count(state: NightClientState) -> Count:
        return Count("night_clients", filter=Q(night_clients__revision=0, night_clients__state=state))

    rows = Night.objects.filter(practice=practice, status=NightStatus.DONE).annotate(
        scored=count(NightClientState.SCORED), failed=count(NightClientState.FAILED)
    )
    return rows.exclude(clients_scored=F("scored"), clients_failed=F("failed"))


def _scored_without_score(practice: Practice, now: datetime) -> QuerySet[NightClient]:
    score = Score.objects.filter(
        client=OuterRef("client"), night_on=OuterRef("night__night_on"), revision=OuterRef("revision")
    )
    return _turns(practice).filter(~Exists(score), state=NightClientState.SCORED)


def _score_without_turn(practice: Practice, now: datetime) -> QuerySet[Score]:
    turn = NightClient.objects.filter(
        client=OuterRef("client"), night__night_on=OuterRef("night_on"), revision=OuterRef("revision")
    )
    return Score.objects.filter(~Exists(turn), practice=practice)


NIGHTS = [
    Rule(
        "A night that is done has no client left to do.",
        lambda practice, now: _turns(practice).filter(
            night__status=NightStatus.DONE, state=NightClientState.TODO
        ),
    ),
    Rule("A night that is done has counted just the clients that it lists.", _unlike_their_clients),
    Rule("Each client whom a night has scored has that score.", _scored_without_score),
    Rule("Each score is of a client whom a night has listed.", _score_without_turn),
]


def _other_totals(practice: Practice, now: datetime) -> QuerySet[Session]:
    rows = Session.objects.kept().filter(practice=practice)
    work = LoggedSet.objects.filter(session=OuterRef("pk"), kind="work")
    return rows.filter(Q(work_sets__gt=0) & ~Exists(work) | Q(work_sets=0) & Exists(work))


SESSIONS = [Rule("A session has work sets if, and only if, it counts some.", _other_totals)]


def _late(rows: type[models.Model]) -> Callable[[Practice, datetime], QuerySet[Any]]:
    return lambda practice, now: rows._default_manager.filter(
        practice=practice, state=OutboxState.WAITING, created_at__lt=now - SENT_WITHIN
    )


OUTBOX = [
    Rule("No mail waits for longer than a day.", _late(MailRow)),
    Rule("Nothing waits for longer than a day to be told to a webhook.", _late(WebhookDelivery)),
]


def _rows_of_one_practice() -> Iterator[Rule]:
    """For each pair of records that point at each other: both are of one practice."""
    for model in _of_a_practice():
        for field in model._meta.concrete_fields:
            other = field.related_model if isinstance(field, ForeignKey) else None
            if not isinstance(other, type) or other is Practice or not _has_practice(other):
                continue
            yield Rule(
                f"Each {model._meta.verbose_name}'s {field.name.replace('_', ' ')} is of its own practice.",
                lambda practice, now, model=model, name=field.name: (  # type: ignore[misc]
                    model._default_manager.filter(
                        practice=practice, **{f"{name}__practice__isnull": False}
                    ).exclude(**{f"{name}__practice": F("practice")})
                ),
            )


def _numbers() -> Iterator[Rule]:
    for model in _of_a_practice():
        names = [field.name for field in model._meta.concrete_fields if isinstance(field, FloatField)]
        if not names:
            continue
        unreal = reduce(or_, (Q(**{name: value}) for name in names for value in NOT_FINITE))
        yield Rule(
            f"Each number of each {model._meta.verbose_name} is finite.",
            lambda practice, now, model=model, unreal=unreal: model._default_manager.filter(  # type: ignore[misc]
                unreal, practice=practice
            ),
        )


def _of_a_practice() -> list[type[models.Model]]:
    return [model for model in apps.get_app_config("coaching").get_models() if _has_practice(model)]


def _has_practice(model: type[models.Model]) -> bool:
    return any(field.name == "practice" for field in model._meta.concrete_fields)


def missing_constraints() -> list[str]:
    """Constraints that the code relies on and the database does not have, as after half a restore."""
    missing = []
    with connection.cursor() as cursor:
        for model in apps.get_app_config("coaching").get_models():
            held = connection.introspection.get_constraints(cursor, model._meta.db_table)
            missing += [row.name for row in model._meta.constraints if row.name not in held]
    return sorted(missing)
