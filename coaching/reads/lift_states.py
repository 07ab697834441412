"""What the newest night made of each lift: its state, or why it cannot be told yet and when it could."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Func, JSONField, OuterRef, Subquery

from coaching.compute.lift_wait import NO_ESTIMATE, NOT_SCORED, why_not
from coaching.compute.progress import LOW_ATTENDANCE, NO_RECENT_EXPOSURES, NOT_ASSESSABLE
from coaching.models import Client, Score
from coaching.reads.computed import Computed, computed_of_lift, scored_lifts_of

LiftKey = tuple[str, str, str]
"""Exercise code, side and track."""


@dataclass(frozen=True, slots=True)
class LiftState:
    """progressing, stalled, regressing or not_assessable; the latter with a reason, and a date if one helps.

    `assessable_on` is the first night that could tell, if the lift goes on at its own pace. `computed` is
    None where no night has looked at the lift.
    """

    state: str
    reason: str
    reason_text: str
    assessable_on: date | None
    computed: Computed | None = None


@dataclass(frozen=True, slots=True)
class NewestScore:
    """What one client's newest score says: how many tests it ran, and the state of each lift."""

    night_on: date
    tests_run: int
    lifts: Mapping[LiftKey, LiftState]


def newest_scores(client_ids: Collection[int], on: date) -> dict[int, NewestScore]:
    """The newest score of each client up to the night of `on`, in one query."""
    of_client = Score.objects.filter(client=OuterRef("id"), night_on__lte=on)
    newest = of_client.order_by("-night_on", "-revision").values("id")[:1]
    ids = Client.objects.filter(id__in=client_ids).values(newest=Subquery(newest))
    rows = Score.objects.filter(id__in=ids)
    return {
        row.client_id: NewestScore(row.night_on, row.details.get("tests_run", 0), _lifts(row)) for row in rows
    }


@dataclass(frozen=True, slots=True)
class ScoreOfSheet:
    """Of one client's newest score what a sheet shows: tests run, and the lifts that cannot be told yet."""

    client_id: int
    night_on: date
    tests_run: int
    waiting: tuple[tuple[LiftKey, LiftState], ...]


def scores_of_sheet(score_ids: Collection[int]) -> tuple[ScoreOfSheet, ...]:
    """These scores, in the order of their clients' keys."""
    rows = Score.objects.filter(id__any_of=score_ids).order_by("client_id")
    found = rows.annotate(waiting=LiftsNotAssessable("details"))
    columns = ("client_id", "night_on", "details__tests_run", "waiting")
    return tuple(
        ScoreOfSheet(client_id, night_on, tests_run or 0, _waiting(lifts or [], night_on))
        for client_id, night_on, tests_run, lifts in found.values_list(*columns)
    )


class LiftsNotAssessable(Func):
    """Those lifts of a score's details alone: most of what a night has found is of no use to a sheet."""

    output_field = JSONField()
    template = f"jsonb_path_query_array(%(expressions)s, '$.lifts[*] ? (@.state == \"{NOT_ASSESSABLE}\")')"

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        template = (
            "(SELECT json_group_array(json(value)) FROM json_each(%(expressions)s, '$.lifts')"  # noqa: S608
            f" WHERE json_extract(value, '$.state') = '{NOT_ASSESSABLE}')"
        )
        return self.as_sql(compiler, connection, template=template, **context)


def _waiting(lifts: Sequence[Mapping[str, Any]], night_on: date) -> tuple[tuple[LiftKey, LiftState], ...]:
    return tuple(
        (
            (row["exercise"], row["side"], row["track"]),
            _state(row, computed_of_lift(row["method"], night_on)),
        )
        for row in lifts
    )


def state_of(key: LiftKey, score: NewestScore | None, estimated_on: Collection[date]) -> LiftState:
    """The state of one lift; `estimated_on` are the days whose sets allowed an estimate of its strength."""
    if score is not None and key in score.lifts:
        return score.lifts[key]
    if not estimated_on:
        return _not_assessable(NO_ESTIMATE)
    is_past = score is not None and any(day < score.night_on for day in estimated_on)
    return _not_assessable(NO_RECENT_EXPOSURES if is_past else NOT_SCORED)


def _lifts(score: Score) -> dict[LiftKey, LiftState]:
    rows = scored_lifts_of(score)
    return {(row["exercise"], row["side"], row["track"]): _state(row, row["computed"]) for row in rows}


def _state(row: Mapping[str, Any], computed: Computed) -> LiftState:
    if row["state"] != NOT_ASSESSABLE:
        return LiftState(row["state"], "", "", None, computed)
    assessable_on = row.get("assessable_on")
    return LiftState(
        row["state"],
        row["reason"],
        # Attendance alone is the matter there: no number of exposures is missing.
        why_not(row["reason"], 0 if row["reason"] == LOW_ATTENDANCE else row["exposures_to_go"]),
        date.fromisoformat(assessable_on) if assessable_on else None,
        computed,
    )


def _not_assessable(reason: str) -> LiftState:
    return LiftState(NOT_ASSESSABLE, reason, why_not(reason), None)
