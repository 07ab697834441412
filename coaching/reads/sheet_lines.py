"""The sheet's lines: ordered by urgency and evidence, and what need not be read first folded."""

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from coaching.compute import chance, evidence
from coaching.compute.chance import FALSE_DISCOVERY_RATE, screen
from coaching.models import PAIN_KINDS, SCREENED_KINDS, URGENT_KINDS, Alert, AlertStatus
from coaching.models.alert import p_value_of, worse_since_of, worth_asking_of
from coaching.reads.computed import Computed, computed_of_evidence
from coaching.reads.watched import WatchedClient

LINES_READ_FIRST = 10
MAY_BE_CHANCE = "may_be_chance"
BEYOND_THE_FIRST = "beyond_the_first_ten"
SCREENED_BY = Computed(chance.METHOD, chance.VERSION)


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One alert as the coach reads it; `folded_because` is empty where it is read at once."""

    alert_uid: uuid.UUID
    client_uid: uuid.UUID
    kind: str
    target: str
    severity: int
    status: str
    opened_on: date
    is_new: bool
    worse_since_on: date | None
    p_value: float | None
    folded_because: str
    sentence: str
    worth_asking: tuple[str, ...]
    caution: str
    refer_out: str
    computed: Computed

    @property
    def is_folded(self) -> bool:
        return bool(self.folded_because)

    @property
    def may_be_chance(self) -> bool:
        return self.folded_because == MAY_BE_CHANCE


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """One client and what stands about them, worst first, folded lines last."""

    client_uid: uuid.UUID
    client_name: str
    coach_name: str
    lines: tuple[SheetLine, ...]

    @property
    def lines_shown(self) -> tuple[SheetLine, ...]:
        return tuple(line for line in self.lines if not line.is_folded)

    @property
    def asks_shown(self) -> tuple[tuple[str, ...], ...]:
        """For each line shown the questions that no line above it has asked yet."""
        asked: set[str] = set()
        found = []
        for line in self.lines_shown:
            found.append(tuple(ask for ask in line.worth_asking if ask not in asked))
            asked |= set(line.worth_asking)
        return tuple(found)

    @property
    def needs_attention(self) -> bool:
        """Something stands that is not folded as perhaps chance."""
        return not all(line.may_be_chance for line in self.lines)


@dataclass(frozen=True, slots=True)
class Screening:
    """How the trends of one sheet were held against chance: tests run (m), found, folded, rate (q)."""

    tests_run: int
    found: int
    folded: int
    false_discovery_rate: float
    sentence: str
    computed: Computed = SCREENED_BY


@dataclass(frozen=True, slots=True)
class StandingAlert:
    """An alert that wants attention, as a sheet orders and shows it."""

    id: int
    uid: uuid.UUID
    client_id: int
    kind: str
    target: str
    severity: int
    status: str
    opened_on: date
    sentence: str
    evidence: Mapping[str, Any]
    method: str

    @property
    def worse_since_on(self) -> date | None:
        return worse_since_of(self.evidence)

    @property
    def p_value(self) -> float | None:
        return p_value_of(self.evidence)


@dataclass(frozen=True, slots=True)
class _Ranked:
    alert: StandingAlert
    may_be_chance: bool
    rank: tuple[object, ...]


def standing_alerts(client_ids: Collection[int], on: date) -> list[StandingAlert]:
    """Those of these clients that a coach should read on `on`."""
    columns = (
        "id", "uid", "client_id", "kind", "target", "severity", "status", "opened_on", "sentence", "evidence",
        "method",
    )  # fmt: skip
    rows: Iterable[tuple[Any, ...]]
    rows = Alert.objects.filter(client_id__any_of=client_ids).wanting_attention(on).values_list(*columns)
    return [StandingAlert(*row) for row in rows]


def sheet_entries(
    alerts: Sequence[StandingAlert], clients: Mapping[int, WatchedClient], on: date, tests_run: int
) -> tuple[tuple[SheetEntry, ...], Screening]:
    """The entries of one coach's morning, worst client first, and how the trends were screened.

    `tests_run` counts the sites and lifts of the coach's clients that the night could look at.
    """
    is_chance, screening = _screen(alerts, tests_run)
    ranked = sorted(
        (
            _Ranked(alert, may_be, _rank(alert, on, may_be))
            for alert, may_be in zip(alerts, is_chance, strict=True)
        ),
        key=lambda each: each.rank,
    )
    by_client: dict[int, list[tuple[StandingAlert, str]]] = {}
    for place, each in enumerate(ranked):
        by_client.setdefault(each.alert.client_id, []).append((each.alert, _folded(each, place)))
    return tuple(_entry(clients[client], found, on) for client, found in by_client.items()), screening


def _rank(alert: StandingAlert, on: date, may_be_chance: bool) -> tuple[object, ...]:
    """What is perhaps chance last; else urgency, severity, evidence, what is news, how long it stands."""
    return (
        may_be_chance,
        alert.kind not in URGENT_KINDS,
        -alert.severity,
        1.0 if alert.p_value is None else alert.p_value,
        not (_is_new(alert, on) or alert.worse_since_on == on),
        alert.opened_on,
        alert.id,
    )


def _folded(each: _Ranked, place: int) -> str:
    if each.may_be_chance:
        return MAY_BE_CHANCE
    is_read = place < LINES_READ_FIRST or each.alert.kind in URGENT_KINDS
    return "" if is_read else BEYOND_THE_FIRST


def _screen(alerts: Sequence[StandingAlert], tests_run: int) -> tuple[list[bool], Screening]:
    """Which alerts may be chance, at a false-discovery rate over all that this coach sees this morning."""
    p_values = [_screened_p(alert) for alert in alerts]
    screened = screen(p_values, tests_run)
    found = int((~np.isnan(p_values)).sum())
    folded = int((~screened.passes).sum())
    sentence = _screening_sentence(screened.tests_run, found, folded)
    return [not passes for passes in screened.passes], Screening(
        screened.tests_run, found, folded, screened.false_discovery_rate, sentence
    )


def _screened_p(alert: StandingAlert) -> float:
    is_screened = alert.kind in SCREENED_KINDS and alert.p_value is not None
    return float(alert.p_value or 0.0) if is_screened else np.nan


def _screening_sentence(tests_run: int, found: int, folded: int) -> str:
    if not tests_run:
        return "No site or lift of these clients could be tested for a trend in the newest night."
    if found:
        those = "1 is on this sheet" if found == 1 else f"{found} are on this sheet"
        those += f", {folded or 'none'} of them folded as perhaps chance"
    else:
        those = "none is on this sheet"
    return (
        f"{tests_run} sites and lifts could be tested for a trend; {those} (false-discovery rate q = "
        f"{FALSE_DISCOVERY_RATE:.2f}, m = {tests_run}); no other kind of alert is ever folded for that."
    )


def _entry(client: WatchedClient, found: Sequence[tuple[StandingAlert, str]], on: date) -> SheetEntry:
    refer_out = evidence.refer_out(client.emergency_text)
    return SheetEntry(
        client_uid=client.uid,
        client_name=client.name,
        coach_name=client.coach_name,
        lines=tuple(_line(client, refer_out, alert, on, folded) for alert, folded in found),
    )


def _is_new(alert: StandingAlert, on: date) -> bool:
    """Opened this morning and not read, nor come back as worse, since."""
    return alert.opened_on == on and alert.status == AlertStatus.OPEN and alert.worse_since_on is None


def _line(
    client: WatchedClient, refer_out: str, alert: StandingAlert, on: date, folded_because: str
) -> SheetLine:
    concerns_pain = alert.kind in PAIN_KINDS
    return SheetLine(
        alert_uid=alert.uid,
        client_uid=client.uid,
        kind=alert.kind,
        target=alert.target,
        severity=alert.severity,
        status=alert.status,
        opened_on=alert.opened_on,
        is_new=_is_new(alert, on),
        worse_since_on=alert.worse_since_on,
        p_value=alert.p_value,
        folded_because=folded_because,
        sentence=alert.sentence,
        worth_asking=tuple(worth_asking_of(alert.evidence)),
        caution=evidence.CAUTION if concerns_pain else "",
        refer_out=refer_out if concerns_pain else "",
        computed=computed_of_evidence(alert.method, alert.evidence),
    )
