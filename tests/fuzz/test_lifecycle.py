"""Any order of requests, from four devices under a wandering clock, against a model made of dictionaries.

Two devices of one client, their coach's, and one of a client in another practice who uses the same ids.
"""

import json
import sys
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
import time_machine as clocks
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from coaching.errors import ConflictError
from coaching.models import ChangeKind, Client, JointDay, LiftDay, LoggedSet, PainReport, Session
from coaching.models.scope import EVERYWHERE, within
from coaching.operations import sessions
from coaching.operations.changes import Changed, note_changes
from coaching.operations.rollups import rebuild_days
from coaching.reads import changes
from tests.bodies import version_of
from tests.fuzz.ledger import Body, Ledger, meant

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
SESSIONS = [str(uuid.UUID(int=0x5E55 + n, version=4)) for n in range(2)]
REPORTS = [str(uuid.UUID(int=0x9A19 + n, version=4)) for n in range(5)]
SETS = [str(uuid.UUID(int=0x5E7 + n, version=4)) for n in range(12)]
DEVICES = ["phone", "tablet", "coach", "stranger"]
WRITABLE = ["performed_at", "ended_at", "session_rpe", "note", "sets", "pain_reports"]

days = st.sampled_from([-4, -2, -1, -1, 0, 0, 0, 3])
devices = st.sampled_from(DEVICES)
session_ids = st.sampled_from(SESSIONS)
# Half a minute, and about ten.
SOME, MANY = 15, 300

versions = st.sampled_from(["right", "right", "right", "stale", "none"])


@st.composite
def set_bodies(draw: st.DrawFn) -> Body:
    return {
        "id": draw(st.sampled_from(SETS)),
        "exercise": draw(
            st.sampled_from(["back_squat"] * 8 + ["barbell_bench_press"] * 4 + ["no_such_lift"])
        ),
        "load": draw(st.sampled_from([100, 60.5, 102.5, 400] * 5 + [-1])),
        "reps": draw(st.integers(0, 8)),
        "rir": draw(st.sampled_from([None, 0, 2.5])),
    }


def instant(day: int, hour: int) -> str:
    return (START + timedelta(days=day, hours=hour)).isoformat()


@st.composite
def pain_bodies(draw: st.DrawFn) -> Body:
    return {
        "joint": "knee",
        "side": draw(st.sampled_from(["left", "right"])),
        "moment": draw(st.sampled_from(["during", "next_morning", "at_rest"])),
        "pain": draw(st.sampled_from([0, 2, 5, 7])),
        "reported_at": instant(draw(days), 3),
    }


@st.composite
def session_bodies(draw: st.DrawFn) -> Body:
    reports = draw(st.lists(st.tuples(st.sampled_from(REPORTS), pain_bodies()), max_size=2))
    return {
        "performed_at": instant(draw(days), 0),
        "ended_at": None,
        "session_rpe": draw(st.sampled_from([None, 7.5])),
        "note": draw(st.sampled_from(["", "Windy", "Long day 🏋"])),
        "sets": draw(st.lists(set_bodies(), max_size=2, unique_by=lambda row: row["id"])),
        "pain_reports": [report | {"id": uid} for uid, report in reports],
    }


patches = st.fixed_dictionaries(
    {},
    optional={
        "note": st.sampled_from(["", "Calm"]),
        "session_rpe": st.sampled_from([3, 8.5]),
        "sets": st.lists(set_bodies(), max_size=2, unique_by=lambda row: row["id"]),
    },
)


def spelt_otherwise(body: Body) -> Body:
    """The same content with its keys turned round, whole numbers as decimals and instants in another zone."""

    def spelt(key: str, value: Any) -> Any:
        if isinstance(value, dict):
            return {inner: spelt(inner, value[inner]) for inner in reversed(value)}
        if isinstance(value, list):
            return [spelt("", row) for row in value]
        if key == "load":
            return float(value)
        if key.endswith("_at") and value is not None:
            return datetime.fromisoformat(value).astimezone(timezone_of(-5)).isoformat()
        return value

    turned: Body = spelt("", body)
    return turned


def timezone_of(hours: int) -> Any:
    return timezone(timedelta(hours=hours))


@dataclass(frozen=True)
class Sent:
    """A request that any device may send again."""

    method: str
    uid: str
    body: Body | None = None
    version: int | None = None
    is_report: bool = False


class Device:
    """One device: its token, whose records it writes, what it may never see, and its copy by the feed."""

    def __init__(self, api: Any, client: Client, ledger: Ledger, *, is_coach: bool, unseen: list[str]):
        self.api, self.client, self.ledger, self.is_coach = api, client, ledger, is_coach
        self.unseen = [text.encode() for text in unseen]
        self.held: dict[tuple[str, str], Any] = {}
        self.mark: str | None = None

    def send(self, method: str, address: str, body: Any = None, version: int | None = None) -> Any:
        content = b"" if body is None else json.dumps(body).encode()
        headers = {} if version is None else {"If-Match": f'"{version}"'}
        kind = "application/merge-patch+json" if method == "PATCH" else "application/json"
        answer = self.api.generic(method, f"/api/v1/{address}", content, content_type=kind, headers=headers)
        assert not any(text in answer.content for text in self.unseen), "another practice shows"
        return answer

    def whose(self) -> Body:
        return {"client": str(self.client.uid)} if self.is_coach else {}

    def is_out(self) -> bool:
        return self.ledger.is_archived and not self.is_coach

    def catch_up(self) -> None:
        has_more = True
        while has_more:
            since = "" if self.mark is None else f"&since={self.mark}"
            page = self.send("GET", f"changes?page_size=20{since}").json()
            for item in page["items"]:
                assert item["client"] == str(self.client.uid)
                if item["is_deleted"]:
                    self.held.pop((item["kind"], item["id"]), None)
                else:
                    self.held[item["kind"], item["id"]] = item["record"]
                if item["kind"] == "session" and not item["is_deleted"]:
                    for report in item["record"]["pain_reports"]:  # which may have stood alone before
                        self.held.pop(("pain_report", report["id"]), None)
            self.mark, has_more = page["mark"], page["has_more"]

    def what_gets_say(self) -> dict[tuple[str, str], Any]:
        base = f"clients/{self.client.uid}"
        sessions = self.listed(f"{base}/sessions")
        within = {report["id"] for row in sessions for report in row["pain_reports"]}
        alone = [row for row in self.listed(f"{base}/pain-reports") if row["id"] not in within]
        found = {
            ChangeKind.CLIENT: [self.send("GET", base).json()],
            ChangeKind.SESSION: sessions,
            ChangeKind.PAIN_REPORT: alone,
            ChangeKind.ALERT: self.listed("alerts"),
        }
        return {(kind.value, row["id"]): row for kind, rows in found.items() for row in rows}

    def listed(self, address: str) -> list[Any]:
        page = self.send("GET", f"{address}?page_size=200").json()
        assert page["next"] is None
        rows: list[Any] = page["items"]
        return rows


class Lifecycle(RuleBasedStateMachine):
    """Each rule sends one request, asks the ledger what the answer must be, and compares."""

    cast: Any
    signed_in: Any

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.moved = clocks.travel(START, tick=False)
        self.clock = self.moved.start()
        self.sent: list[Sent] = []
        here, elsewhere = Ledger(), Ledger()
        mira, edda = self.cast.client, self.cast.strangers_client
        self.clients = {id(here): mira, id(elsewhere): edda}
        self.client_version = 1
        for client in (mira, edda):
            told = Changed(client.id, ChangeKind.CLIENT, client.uid)
            note_changes(practice_id=client.practice_id, changed=[told], now=START)
        theirs, ours = self.texts_of(edda), self.texts_of(mira)
        self.devices = {
            "phone": self.device(mira, here, theirs),
            "tablet": self.device(mira, here, theirs),
            "coach": self.device(self.cast.coach, here, theirs, mira),
            "stranger": self.device(edda, elsewhere, ours),
        }

    def device(self, who: Any, ledger: Ledger, unseen: list[str], writes_for: Any = None) -> Device:
        api = self.signed_in(who)
        return Device(api, writes_for or who, ledger, is_coach=writes_for is not None, unseen=unseen)

    def texts_of(self, client: Client) -> list[str]:
        coach = client.coach
        texts = [
            client.uid,
            client.audit_key,
            coach.uid,
            client.practice.uid,
            client.name,
            coach.account.name,
        ]
        return [str(text) for text in texts]

    def teardown(self) -> None:
        try:
            if sys.exc_info()[0] is None:  # what failed already needs no second look
                self.look_at_everything()
        finally:
            self.moved.stop()
            transaction.set_rollback(True)
            self.undo.__exit__(None, None, None)

    # What is sent

    @rule(hours=st.sampled_from([-30, -3, 1, 20, 26, 40]))
    def let_the_clock_jump(self, hours: int) -> None:
        to = min(
            max(self.now() + timedelta(hours=hours), START - timedelta(days=3)), START + timedelta(days=8)
        )
        self.clock.move_to(to)

    @rule(name=devices, uid=session_ids, body=session_bodies())
    def put(self, name: str, uid: str, body: Body) -> None:
        self.send(name, Sent("PUT", uid, body))

    @rule(name=devices, uid=session_ids, body=session_bodies(), version=versions)
    def put_over(self, name: str, uid: str, body: Body, version: str) -> None:
        self.send(name, Sent("PUT", uid, body, self.version_of(name, uid, version)))

    @rule(name=devices, uid=session_ids, patch=patches, version=versions)
    def patch(self, name: str, uid: str, patch: Body, version: str) -> None:
        self.send(name, Sent("PATCH", uid, patch, self.version_of(name, uid, version)))

    @rule(name=devices, uid=session_ids, version=versions)
    def delete(self, name: str, uid: str, version: str) -> None:
        self.send(name, Sent("DELETE", uid, None, self.version_of(name, uid, version)))

    @rule(name=devices, uid=st.sampled_from(REPORTS), body=pain_bodies(), to=st.none() | session_ids)
    def put_report(self, name: str, uid: str, body: Body, to: str | None) -> None:
        self.send(name, Sent("PUT", uid, body | {"session": to}, is_report=True))

    @rule(
        name=devices,
        uid=st.sampled_from(REPORTS),
        body=pain_bodies(),
        to=st.none() | session_ids,
        version=versions,
    )
    def put_over_report(self, name: str, uid: str, body: Body, to: str | None, version: str) -> None:
        named = self.version_of(name, uid, version)
        self.send(name, Sent("PUT", uid, body | {"session": to}, named, is_report=True))

    @rule(name=devices, uid=st.sampled_from(REPORTS), version=versions)
    def delete_report(self, name: str, uid: str, version: str) -> None:
        self.send(name, Sent("DELETE", uid, None, self.version_of(name, uid, version), is_report=True))

    @rule(name=devices, uid=st.sampled_from(REPORTS))
    def read_report(self, name: str, uid: str) -> None:
        device = self.devices[name]
        answer = device.send("GET", f"pain-reports/{uid}")
        assert answer.status_code == (401 if device.is_out() else device.ledger.get_report(uid))
        if answer.status_code == 200:
            kept = device.ledger.reports[uid]
            shown = meant(answer.json())
            assert {key: shown[key] for key in kept.content} == kept.content
            assert (shown["session"], shown["version"]) == (kept.held_by, kept.version)

    @precondition(lambda self: self.sent)
    @rule(name=devices, data=st.data(), is_spelt_otherwise=st.booleans())
    def send_again(self, name: str, data: st.DataObject, is_spelt_otherwise: bool) -> None:
        earlier = data.draw(st.sampled_from(self.sent))
        if is_spelt_otherwise and earlier.body is not None:
            earlier = Sent(
                earlier.method,
                earlier.uid,
                spelt_otherwise(earlier.body),
                earlier.version,
                earlier.is_report,
            )
        self.send(name, earlier)

    @rule(name=devices, data=st.data(), fresh=st.lists(st.tuples(session_ids, session_bodies()), max_size=3))
    def post_a_batch(self, name: str, data: st.DataObject, fresh: list[tuple[str, Body]]) -> None:
        again = [(row.uid, row.body) for row in self.sent if row.method == "PUT" and not row.is_report]
        repeated = data.draw(st.lists(st.sampled_from(again), max_size=3)) if again else []
        items = data.draw(st.permutations([*fresh, *fresh[:1], *repeated]))
        device, ledger = self.devices[name], self.devices[name].ledger
        bodies = [body | {"id": uid} for uid, body in items]
        answer = device.send("POST", "sessions/batch", {"items": bodies} | device.whose())
        if device.is_out():
            assert answer.status_code == 401
            return
        expected = [ledger.put(uid, body, None, self.now()) for uid, body in items]
        assert [row["status"] for row in answer.json()["items"]] == expected
        assert [row["index"] for row in answer.json()["items"]] == list(range(len(items)))
        for row, (uid, _) in zip(answer.json()["items"], items, strict=True):
            assert ("problem" in row) == (row["status"] >= 400)
            # The tag of an item is that of its session as the whole batch left it or found it.
            if row["status"] in (200, 201):
                assert row["etag"].startswith(f'"{ledger.sessions[uid].version}-')

    @rule(name=devices, uid=session_ids)
    def read(self, name: str, uid: str) -> None:
        device = self.devices[name]
        answer = device.send("GET", f"sessions/{uid}")
        assert answer.status_code == (401 if device.is_out() else device.ledger.get(uid))
        if answer.status_code == 200:
            self.compare(device, uid, answer.json(), version_of(answer))

    @rule(name=devices)
    def catch_up(self, name: str) -> None:
        device = self.devices[name]
        if device.is_out():
            assert device.send("GET", "changes").status_code == 401
            return
        device.catch_up()
        assert device.held == device.what_gets_say()

    @rule(version=versions, data=st.data())
    def acknowledge_an_alert(self, version: str, data: st.DataObject) -> None:
        coach = self.devices["coach"]
        alerts = coach.listed("alerts")
        if not alerts:
            return
        alert = data.draw(st.sampled_from(alerts))
        named = {"right": alert["version"], "stale": alert["version"] + 1, "none": None}[version]
        address = f"alerts/{alert['id']}"
        answer = coach.send("POST", f"{address}/acknowledgement", None, named)
        assert answer.status_code == {"right": 200, "stale": 412, "none": 428}[version]
        for other in ("phone", "stranger"):
            expected = 401 if self.devices[other].is_out() else 200 if other == "phone" else 404
            assert self.devices[other].send("GET", address).status_code == expected
        if version == "right":
            stands = coach.send("GET", address).json()
            assert (stands["status"], stands["version"]) == ("acknowledged", alert["version"] + 1)

    @precondition(lambda self: self.sent)
    @rule(data=st.data(), names=st.lists(devices, max_size=4))
    def leave_and_come_back(self, data: st.DataObject, names: list[str]) -> None:
        """While the client is archived their devices are out, and the coach stores nothing more."""
        self.set_archived(True)
        for name in names:
            self.send(name, data.draw(st.sampled_from(self.sent)))
            self.read(name, data.draw(session_ids))
            self.catch_up(name)
        self.set_archived(False)

    def set_archived(self, is_archived: bool) -> None:
        coach = self.devices["coach"]
        address = f"clients/{coach.client.uid}"
        stale = coach.send("PATCH", address, {"archived": is_archived}, self.client_version + 1)
        assert stale.status_code == 412
        assert coach.send("PATCH", address, {"archived": is_archived}, self.client_version).status_code == 200
        self.client_version += 1
        coach.ledger.is_archived = is_archived

    # What must hold

    def now(self) -> datetime:
        return datetime.now(UTC)

    def version_of(self, name: str, uid: str, version: str) -> int | None:
        ledger = self.devices[name].ledger
        kept = ledger.sessions.get(uid) or ledger.reports.get(uid)
        right = kept.version if kept else 1
        return {"right": right, "stale": right - 1, "none": None}[version]

    def send(self, name: str, request: Sent) -> None:
        device = self.devices[name]
        place = "pain-reports" if request.is_report else "sessions"
        whose = device.whose() if request.method == "PUT" else {}
        body = None if request.body is None else request.body | whose
        address = f"{place}/{request.uid}"
        if request.method == "DELETE" and device.is_coach:
            address += f"?client={device.client.uid}"
        answer = device.send(request.method, address, body, request.version)
        self.sent.append(request)
        if device.is_out():
            assert answer.status_code == 401
            return
        assert answer.status_code == self.expected(device.ledger, request), answer.content
        if answer.status_code >= 400:
            assert answer["Content-Type"] == "application/problem+json"
        elif request.method != "DELETE" and not request.is_report:
            self.compare(device, request.uid, answer.json()["session"], version_of(answer))

    def expected(self, ledger: Ledger, request: Sent) -> int:
        if request.is_report:
            if request.method == "DELETE":
                return ledger.delete_report(request.uid, request.version)
            return ledger.put_report(request.uid, request.body or {}, request.version, self.now())
        if request.method == "DELETE":
            return ledger.delete(request.uid, request.version)
        change = ledger.put if request.method == "PUT" else ledger.patch
        return change(request.uid, request.body or {}, request.version, self.now())

    def compare(self, device: Device, uid: str, shown: Body, etag: str) -> None:
        """The session as shown is what the ledger holds, with nothing cut, rounded or left from before."""
        expected = device.ledger.shown(uid)
        assert etag == f'"{device.ledger.sessions[uid].version}"'
        assert (shown["id"], shown["client"]) == (uid, str(device.client.uid))
        assert shown["version"] == device.ledger.sessions[uid].version
        as_meant = meant({key: shown[key] for key in WRITABLE})
        for key in ("sets", "pain_reports"):
            came = as_meant.pop(key)
            assert len(came) == len(expected[key])
            rows = zip(came, expected[key], strict=True)
            assert [{name: row[name] for name in wanted} for row, wanted in rows] == expected[key]
        assert as_meant == {key: expected[key] for key in as_meant}

    def look_at_everything(self) -> None:
        for name, device in self.devices.items():
            self.catch_up(name)
            shown = {uid for kind, uid in device.held if kind == "session"}
            alone = {uid for kind, uid in device.held if kind == "pain_report"}
            assert (shown, alone) == (device.ledger.kept(), device.ledger.alone())
            for uid in shown:
                record = device.held["session", uid]
                self.compare(device, uid, record, f'"{record["version"]}"')
        for name in ("phone", "stranger"):
            self.look_at_the_rows(self.devices[name])

    def look_at_the_rows(self, device: Device) -> None:
        client, ledger = device.client, device.ledger
        kept = [ledger.sessions[uid].content for uid in ledger.kept()]
        assert Session.objects.filter(client=client).count() == len(ledger.sessions)
        assert LoggedSet.objects.filter(session__client=client).count() == sum(
            len(content["sets"]) for content in kept
        )
        assert PainReport.objects.filter(client=client).count() == len(ledger.reports)
        work_reps = Session.objects.kept().filter(client=client).values_list("work_reps", flat=True)
        assert sum(work_reps) == sum(row["reps"] for content in kept for row in content["sets"])
        standing = rolled_up(client)
        rebuild_days(client=client, days=[START.date() + timedelta(days=day) for day in range(-10, 15)])
        assert standing == rolled_up(client)


def rolled_up(client: Client) -> list[tuple[Any, ...]]:
    """Both kinds of daily sums, without the keys that every rebuilding gives anew."""
    rows = [
        tuple(row[name] for name in sorted(row) if name not in ("id", "uid"))
        for model in (JointDay, LiftDay)
        for row in model.objects.filter(client=client).values()
    ]
    return sorted(rows, key=repr)


def run(
    cast: Any, signed_in: Any, *, examples: int, steps: int, phases: Sequence[Phase] = tuple(Phase)
) -> None:
    machine = type("Lifecycle", (Lifecycle,), {"cast": cast, "signed_in": staticmethod(signed_in)})
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            phases=phases,
            suppress_health_check=list(HealthCheck),
            print_blob=True,
        ),
    )


def test_any_order_of_requests_leaves_what_the_ledger_says(cast, signed_in):
    run(cast, signed_in, examples=SOME, steps=25, phases=[Phase.generate])


@pytest.mark.long
def test_many_more_orders_of_requests_leave_what_the_ledger_says(cast, signed_in):
    run(cast, signed_in, examples=MANY, steps=40)


def resurrect(patch: pytest.MonkeyPatch) -> None:
    """A deleted id takes new content."""
    honest = sessions._record_one

    def record(actor: Any, client: Any, entry: Any, now: Any, expected_version: Any) -> Any:
        Session.objects.filter(client=client, uid=entry.uid).exclude(deleted_at=None).delete()
        return honest(actor, client, entry, now, expected_version)

    patch.setattr(sessions, "_record_one", record)


def write_again_at_a_replay(patch: pytest.MonkeyPatch) -> None:
    """The same content again leaves a second report."""
    honest = sessions._record_one

    def record(*args: Any) -> Any:
        recorded = honest(*args)
        report = recorded.session.pain_reports.first()
        if recorded.outcome == sessions.Outcome.REPLAYED and report is not None:
            report.pk, report.uid = None, uuid.uuid4()
            report.save(force_insert=True)
        return recorded

    patch.setattr(sessions, "_record_one", record)


def let_the_last_write_win(patch: pytest.MonkeyPatch) -> None:
    """Any version in If-Match passes for the current one."""
    honest = sessions._record_one

    def record(actor: Any, client: Any, entry: Any, now: Any, expected_version: Any) -> Any:
        standing = Session.objects.filter(client=client, uid=entry.uid).first()
        version = standing.version if standing and expected_version is not None else expected_version
        return honest(actor, client, entry, now, version)

    patch.setattr(sessions, "_record_one", record)


def leave_out_tombstones(patch: pytest.MonkeyPatch) -> None:
    """The feed tells only of what is still there."""
    honest = changes._with_records
    patch.setattr(
        changes, "_with_records", lambda *args: [row for row in honest(*args) if row.record is not None]
    )


def look_into_other_practices(patch: pytest.MonkeyPatch) -> None:
    """An id that another practice has used is taken; the belts that would hide it are off."""
    honest = sessions._record_one

    def record(actor: Any, client: Any, entry: Any, now: Any, expected_version: Any) -> Any:
        with within(EVERYWHERE):
            is_taken = Session.objects.filter(uid=entry.uid).exclude(practice_id=client.practice_id).exists()
        if is_taken:
            raise ConflictError("This id is taken.")
        return honest(actor, client, entry, now, expected_version)

    patch.setattr(sessions, "_record_one", record)


def forget_to_rebuild_an_old_day(patch: pytest.MonkeyPatch) -> None:
    """An edit or a deletion leaves the sums of the day it was taken from."""
    patch.setattr(sessions, "_days_of", lambda session: frozenset({START.date()}))


BUGS = [
    resurrect,
    write_again_at_a_replay,
    let_the_last_write_win,
    leave_out_tombstones,
    look_into_other_practices,
    forget_to_rebuild_an_old_day,
]


@pytest.mark.long
@pytest.mark.parametrize("bug", BUGS)
def test_a_service_with_a_bug_is_found_out(cast, signed_in, monkeypatch, bug):
    bug(monkeypatch)
    with pytest.raises(AssertionError):
        run(cast, signed_in, examples=60, steps=25, phases=[Phase.generate])
