"""Every route of the URL resolver that shows or changes a client's data puts its row on the audit trail.

A new route fails here until it is in one of the three tables.
"""

import json
import uuid
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pytest
from django.db import connection
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.test import APIClient
from rest_framework.views import APIView

from coaching.models import Alert, AuditEvent, DeviceToken
from tests.api.test_hostile_inputs import World, client_body, site_body
from tests.api.test_next_load import calendar, left
from tests.bodies import pain_body, session_body, set_body
from tests.conftest import token_for
from tests.factories import AlertFactory, ClientFactory, ConsentFactory
from tests.plan_builders import knee_lift

METHODS = ("get", "post", "put", "patch", "delete")
V1 = "api/v1/"
CLIENT = V1 + "clients/<uuid:client_id>"
INJURY = CLIENT + "/injuries/<uuid:injury_id>"
ALERT = V1 + "alerts/<uuid:alert_id>"
STRESS = "/exercises/<slug:code>/stress/<str:joint>"
SCHEDULED = CLIENT + "/scheduled-sessions/<uuid:scheduled_session_id>"
REFERRAL = CLIENT + "/referrals/<uuid:referral_id>"
SETS = "performed_at,exercise,load,reps,rir\n2026-03-02T18:00:00+01:00,back_squat,100,5,2\n"
PAIN = "reported_at,joint,side,moment,pain\n2026-03-02T18:00:00+01:00,knee,left,during,2\n"


def routes() -> set[tuple[str, str]]:
    """(method, route) of every view, as the resolver has them."""
    found = set()

    def walk(patterns, before):
        for each in patterns:
            route = before + str(each.pattern)
            if isinstance(each, URLResolver):
                walk(each.url_patterns, route)
            elif isinstance(each, URLPattern):
                view = getattr(each.callback, "cls", APIView)
                found.update((method, route) for method in METHODS if hasattr(view, method))

    walk(get_resolver().url_patterns, "")
    return found


class Place(World):
    """A world in which everything of the client's is there once, and each person has one device."""

    def __init__(self, cast):
        self.devices = {}
        super().__init__(cast, self._sign)

    def _sign(self, who):
        if who not in self.devices:
            api = APIClient(raise_request_exception=False)
            api.credentials(HTTP_AUTHORIZATION=f"Bearer {token_for(who)}")
            self.devices[who] = (api, DeviceToken.objects.get(user=who.account).uid)
        return self.devices[who][0]

    def made(self, who, method, address, body, **headers) -> dict[str, Any]:
        answer = getattr(self.sign(who), method)(address, body, format="json", headers=headers)
        assert answer.status_code in (200, 201), answer.content
        return answer.json()

    @cached_property
    def report(self) -> str:
        uid = uuid.uuid4()
        self.made(self.cast.client, "put", f"/api/v1/pain-reports/{uid}", pain_body())
        return str(uid)

    @cached_property
    def next_up(self) -> str:
        lift = knee_lift("another_invented_squat")
        return str(calendar(self.cast, left(lift))[0].uid)

    @cached_property
    def restriction(self) -> str:
        body = {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"}
        address = f"{self.client}/injuries/{self.injury.uid}/restrictions"
        return self.made(self.cast.coach, "post", address, body)["id"]

    @cached_property
    def referral(self) -> str:
        ConsentFactory(client=self.cast.client, purpose="referral")
        body = site_body(question="What now?")
        return self.made(self.cast.coach, "post", f"{self.client}/referrals", body)["id"]

    @cached_property
    def feed(self) -> str:
        return self.made(self.cast.client, "post", f"{self.client}/calendar-feed", None)["url"]

    @cached_property
    def suspect_set(self) -> str:
        """A load that has to be confirmed."""
        for load in (20, 200):
            day = f"2026-03-0{1 if load == 20 else 2}T18:00:00+01:00"
            one = set_body(load=load)
            body = session_body(pain_reports=[], sets=[one], performed_at=day, ended_at=day)
            self.made(self.cast.client, "put", f"/api/v1/sessions/{uuid.uuid4()}", body)
        return str(one["id"])

    @cached_property
    def unasked_flag(self) -> Alert:
        return AlertFactory(client=self.cast.client, kind="red_flag")

    def stress(self) -> str:
        address = f"{self.client}/exercises/back_squat/stress/knee"
        self.made(self.cast.coach, "put", address, {"stress": 0.5, "reason": "Invented"})
        return address


@dataclass(frozen=True)
class Told:
    """The kind of record that the trail names, and how the route is called."""

    kind: str
    address: Callable[[Place], str]
    body: Callable[[Place], Any] = lambda w: None
    who: str = "coach"
    version: str | None = None
    content_type: str = "application/json"


def of_client(kind, path="", **more):
    return Told(kind, lambda w: w.client + path, **more)


def once(body):
    return lambda w: body


TOLD: dict[tuple[str, str], Told] = {
    ("get", V1 + "clients"): Told("client_list", lambda w: "/api/v1/clients"),
    ("get", CLIENT): of_client("client"),
    ("patch", CLIENT): of_client("client", body=once({"name": "Nora New"}), version='"1"'),
    ("post", CLIENT + "/merging"): of_client(
        "client",
        "/merging",
        body=lambda w: {"duplicate": str(w.duplicate.uid)},
        who="owner",
        version='"1"',
    ),
    ("get", CLIENT + "/body-masses"): of_client("body_mass", "/body-masses"),
    ("post", CLIENT + "/body-masses"): of_client(
        "body_mass", "/body-masses", body=once({"measured_on": "2026-03-01", "body_mass_kg": 80.5})
    ),
    ("get", CLIENT + "/consents"): of_client("consent", "/consents"),
    ("get", CLIENT + "/consents/<str:purpose>"): of_client("consent", "/consents/health_data"),
    ("put", CLIENT + "/consents/<str:purpose>"): of_client(
        "consent", "/consents/referral", body=once({"text_version": "1"}), who="client"
    ),
    ("delete", CLIENT + "/consents/<str:purpose>"): of_client(
        "consent", "/consents/health_data", who="client"
    ),
    ("get", CLIENT + "/audit"): of_client("audit", "/audit", who="client"),
    ("get", CLIENT + "/injuries"): of_client("injury", "/injuries"),
    ("post", CLIENT + "/injuries"): of_client("injury", "/injuries", body=once(site_body(said="Sore."))),
    ("get", INJURY): Told("injury", lambda w: f"{w.client}/injuries/{w.injury.uid}"),
    ("patch", INJURY): Told(
        "injury",
        lambda w: f"{w.client}/injuries/{w.injury.uid}",
        once({"status": "settled"}),
        version='"1"',
    ),
    ("get", INJURY + "/restrictions"): Told(
        "restriction", lambda w: f"{w.client}/injuries/{w.injury.uid}/restrictions"
    ),
    ("post", INJURY + "/restrictions"): Told(
        "restriction",
        lambda w: f"{w.client}/injuries/{w.injury.uid}/restrictions",
        once({"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"}),
    ),
    ("delete", INJURY + "/restrictions/<uuid:restriction_id>"): Told(
        "restriction", lambda w: f"{w.client}/injuries/{w.injury.uid}/restrictions/{w.restriction}"
    ),
    ("get", CLIENT + "/clearances"): of_client("clearance", "/clearances"),
    ("post", CLIENT + "/clearances"): of_client(
        "clearance",
        "/clearances",
        body=once(
            site_body(
                clinician_name="Dana Doctor",
                clinician_profession="surgeon",
                cleared_on="2026-03-01",
                flags=["night_pain"],
            )
        ),
    ),
    ("get", CLIENT + "/intervention-notes"): of_client("intervention_note", "/intervention-notes"),
    ("post", CLIENT + "/intervention-notes"): of_client(
        "intervention_note",
        "/intervention-notes",
        body=once(site_body(noted_on="2026-03-01", changed="Depth")),
    ),
    ("get", CLIENT + "/referrals"): of_client("referral", "/referrals"),
    ("post", CLIENT + "/referrals"): of_client(
        "referral", "/referrals", body=once(site_body(question="What now?", consent_text_version="1"))
    ),
    **{
        ("get", f"{REFERRAL}.{form}"): Told(
            "referral", lambda w, form=form: f"{w.client}/referrals/{w.referral}.{form}"
        )
        for form in ("html", "pdf", "fhir.json")
    },
    ("get", CLIENT + "/exercises/<slug:code>"): of_client("exercise", "/exercises/back_squat"),
    ("put", CLIENT + STRESS): of_client(
        "exercise", "/exercises/back_squat/stress/knee", body=once({"stress": 0.5, "reason": "Invented"})
    ),
    ("delete", CLIENT + STRESS): Told("exercise", Place.stress, version='"1"'),
    ("get", V1 + "exercises/<slug:code>/swaps"): Told(
        "swaps",
        lambda w: f"/api/v1/exercises/back_squat/swaps?joint=knee&side=left&client={w.cast.client.uid}",
    ),
    ("get", CLIENT + "/assignments"): of_client("assignment", "/assignments"),
    ("post", CLIENT + "/assignments"): of_client(
        "assignment", "/assignments", body=lambda w: {"plan": str(w.plan.uid), "starts_on": "2026-03-02"}
    ),
    **{
        (method, CLIENT + "/assignments/<uuid:assignment_id>"): Told(
            "assignment",
            lambda w: f"{w.client}/assignments/{w.scheduled.assignment.uid}",
            version=version,
        )
        for method, version in (("get", None), ("delete", '"1"'))
    },
    ("get", CLIENT + "/scheduled-sessions"): of_client(
        "scheduled_session", "/scheduled-sessions?from=2026-03-01&until=2026-03-20"
    ),
    ("get", SCHEDULED): Told(
        "scheduled_session", lambda w: f"{w.client}/scheduled-sessions/{w.scheduled.uid}"
    ),
    ("patch", SCHEDULED): Told(
        "scheduled_session",
        lambda w: f"{w.client}/scheduled-sessions/{w.scheduled.uid}",
        once({"status": "not_done"}),
        version='"1"',
    ),
    ("get", SCHEDULED + "/prescriptions/next"): Told(
        "scheduled_session", lambda w: f"{w.client}/scheduled-sessions/{w.next_up}/prescriptions/next"
    ),
    ("post", V1 + "plans/<uuid:plan_id>/preview"): Told(
        "plan_preview",
        lambda w: f"/api/v1/plans/{w.plan.uid}/preview",
        lambda w: {"client": str(w.cast.client.uid), "version": 1, "starts_on": "2026-03-02"},
    ),
    ("get", CLIENT + "/sessions"): of_client("session", "/sessions"),
    ("get", V1 + "sessions/<made:session_id>"): Told("session", lambda w: f"/api/v1/sessions/{w.session}"),
    ("put", V1 + "sessions/<made:session_id>"): Told(
        "session",
        lambda w: f"/api/v1/sessions/{uuid.uuid4()}",
        lambda w: session_body(pain_reports=[]),
        who="client",
    ),
    ("patch", V1 + "sessions/<made:session_id>"): Told(
        "session",
        lambda w: f"/api/v1/sessions/{w.session}",
        once({"note": "Windy"}),
        who="client",
        version='"1"',
    ),
    ("delete", V1 + "sessions/<made:session_id>"): Told(
        "session", lambda w: f"/api/v1/sessions/{w.session}", who="client", version='"1"'
    ),
    ("post", V1 + "sessions/batch"): Told(
        "session",
        lambda w: "/api/v1/sessions/batch",
        lambda w: {"items": [session_body(id=str(uuid.uuid4()), pain_reports=[])]},
        who="client",
    ),
    ("post", V1 + "sets/<uuid:set_id>/confirmation"): Told(
        "session", lambda w: f"/api/v1/sets/{w.suspect_set}/confirmation"
    ),
    ("get", CLIENT + "/pain-reports"): of_client("pain_report", "/pain-reports"),
    ("get", V1 + "pain-reports/<made:report_id>"): Told(
        "pain_report", lambda w: f"/api/v1/pain-reports/{w.report}"
    ),
    ("put", V1 + "pain-reports/<made:report_id>"): Told(
        "pain_report",
        lambda w: f"/api/v1/pain-reports/{uuid.uuid4()}",
        lambda w: pain_body(),
        who="client",
    ),
    ("delete", V1 + "pain-reports/<made:report_id>"): Told(
        "pain_report", lambda w: f"/api/v1/pain-reports/{w.report}", who="client", version='"1"'
    ),
    ("get", V1 + "alerts"): Told("alert", lambda w: f"/api/v1/alerts?client={w.alert.client.uid}"),
    ("get", ALERT): Told("alert", lambda w: f"/api/v1/alerts/{w.alert.uid}"),
    ("post", ALERT + "/acknowledgement"): Told(
        "alert", lambda w: f"/api/v1/alerts/{w.alert.uid}/acknowledgement", version='"1"'
    ),
    ("post", ALERT + "/put-off"): Told(
        "alert",
        lambda w: f"/api/v1/alerts/{w.alert.uid}/put-off",
        once({"until_on": "2026-03-09"}),
        version='"1"',
    ),
    ("post", ALERT + "/closing"): Told(
        "alert", lambda w: f"/api/v1/alerts/{w.alert.uid}/closing", once({"note": "Seen"}), version='"1"'
    ),
    ("post", ALERT + "/withdrawal"): Told(
        "alert", lambda w: f"/api/v1/alerts/{w.unasked_flag.uid}/withdrawal", who="client"
    ),
    ("post", ALERT + "/withdrawal/confirmation"): Told(
        "alert",
        lambda w: f"/api/v1/alerts/{w.red_flag.uid}/withdrawal/confirmation",
        once({"reason": "A slip"}),
        version='"1"',
    ),
    ("get", CLIENT + "/scores"): of_client("score", "/scores"),
    ("get", V1 + "morning-sheet"): Told("sheet", lambda w: w.alert and "/api/v1/morning-sheet"),
    ("get", CLIENT + "/history"): of_client("history", "/history"),
    **{
        ("get", f"{CLIENT}/{route}/picture.{form}"): of_client("history", f"/{path}/picture.{form}")
        for form in ("svg", "png")
        for route, path in (
            ("sites/<str:joint>/<str:side>", "sites/knee/left"),
            ("lifts/<slug:code>/sides", "lifts/back_squat/sides"),
            ("lifts/<slug:code>/<str:side>", "lifts/back_squat/both"),
            ("adherence", "adherence"),
        )
    },
    ("get", CLIENT + "/tolerated-exposure"): of_client("tolerated_exposure", "/tolerated-exposure"),
    ("get", CLIENT + "/side-differences"): of_client("side_differences", "/side-differences"),
    ("post", CLIENT + "/erasure"): of_client(
        "erasure", "/erasure", body=lambda w: {"confirm": w.cast.client.name}, who="owner"
    ),
    ("post", CLIENT + "/calendar-feed"): of_client("calendar_feed", "/calendar-feed"),
    ("delete", CLIENT + "/calendar-feed"): Told(
        "calendar_feed", lambda w: w.feed and f"{w.client}/calendar-feed"
    ),
    ("get", V1 + "changes"): Told("session", lambda w: w.session and "/api/v1/changes"),
    ("delete", V1 + "memberships/<uuid:membership_id>"): Told(
        "client",
        lambda w: f"/api/v1/memberships/{w.cast.coach.uid}?hand_over_to=owner",
        who="owner",
        version='"1"',
    ),
    **{
        ("get", f"{place}exports/{file}.csv"): Told(
            f"{file.replace('-', '_')}_file",
            lambda w, at=at, file=file: f"{w.client if at else '/api/v1'}/exports/{file}.csv",
            who=who,
        )
        for place, at, who in ((CLIENT + "/", True, "client"), (V1, False, "owner"))
        for file in ("sessions", "pain-reports")
    },
    **{
        ("post", f"{place}imports/{what}"): Told(
            kind,
            lambda w, at=at, what=what: f"{w.client if at else '/api/v1'}/imports/{what}",
            lambda w, at=at, text=text: text if at else with_client(text, w),
            content_type="text/csv",
        )
        for place, at in ((CLIENT + "/", True), (V1, False))
        for what, kind, text in (("sessions", "session", SETS), ("pain-reports", "pain_report", PAIN))
    },
}


def with_client(text, w):
    head, row = text.splitlines()
    return f"client,{head}\n{w.cast.client.uid},{row}\n"


# Not from a device that is signed in, about somebody who was not there before, or told each time.
APART = {
    ("get", CLIENT + "/export"): "test_an_archive_is_on_the_trail_each_time",
    ("get", V1 + "calendar/<str:token>.ics"): "test_a_calendar_program_is_on_the_trail_by_its_feed",
    ("post", V1 + "clients"): "test_a_new_client_begins_with_a_row",
    ("post", V1 + "invitations"): "test_an_invitation_and_its_acceptance_are_told",
    ("post", V1 + "invitations/accept"): "test_an_invitation_and_its_acceptance_are_told",
}
NOBODYS = "it shows and changes nothing of a client"
OWN_DOOR = "it is about the account or device of whoever asks"
NOT_OF_CLIENTS = {
    **dict.fromkeys(
        [
            ("get", V1 + "schema"),
            ("get", V1 + "docs"),
            ("get", V1 + "symptoms"),
            ("get", V1 + "exercises"),
            ("post", V1 + "exercises"),
            ("get", V1 + "exercises/<slug:code>"),
            ("put", V1 + STRESS[1:]),
            ("delete", V1 + STRESS[1:]),
            ("get", V1 + "plans"),
            ("post", V1 + "plans"),
            ("get", V1 + "plans/<uuid:plan_id>"),
            ("put", V1 + "plans/<uuid:plan_id>"),
            ("delete", V1 + "plans/<uuid:plan_id>"),
            ("get", V1 + "plans/<uuid:plan_id>/versions/<int:number>"),
            ("get", V1 + "plans/<uuid:plan_id>/exports/plan.csv"),
            ("get", V1 + "exports/plans.csv"),
            ("post", V1 + "imports/plans"),
            ("get", V1 + "memberships"),
            ("get", V1 + "memberships/<uuid:membership_id>"),
            ("patch", V1 + "memberships/<uuid:membership_id>"),
            ("get", V1 + "practice"),
            ("patch", V1 + "practice"),
            ("get", V1 + "service-tokens"),
            ("post", V1 + "service-tokens"),
            ("delete", V1 + "service-tokens/<uuid:token_id>"),
            ("post", V1 + "practice/closing"),
            ("get", V1 + "webhooks"),
            ("post", V1 + "webhooks"),
            ("get", V1 + "webhooks/<uuid:webhook_id>"),
            ("patch", V1 + "webhooks/<uuid:webhook_id>"),
            ("delete", V1 + "webhooks/<uuid:webhook_id>"),
            ("post", V1 + "webhooks/<uuid:webhook_id>/secret"),
            ("post", V1 + "webhooks/<uuid:webhook_id>/test"),
            ("get", V1 + "webhooks/<uuid:webhook_id>/deliveries"),
        ],
        NOBODYS,
    ),
    **dict.fromkeys(
        [
            ("post", V1 + "sign-in"),
            ("post", V1 + "sign-out"),
            ("get", V1 + "devices"),
            ("delete", V1 + "devices"),
            ("delete", V1 + "devices/<uuid:device_id>"),
            ("get", V1 + "me"),
            ("put", V1 + "me/password"),
            ("post", V1 + "password-resets"),
            ("post", V1 + "password-resets/accept"),
            ("post", V1 + "me/second-factor"),
            ("post", V1 + "me/second-factor/confirmation"),
            ("post", V1 + "me/second-factor/removal"),
        ],
        OWN_DOOR,
    ),
}


def test_every_route_is_in_one_of_the_tables():
    assert routes() == TOLD.keys() | APART.keys() | NOT_OF_CLIENTS.keys()
    assert len(routes()) == len(TOLD) + len(APART) + len(NOT_OF_CLIENTS)
    assert set(APART.values()) <= globals().keys()


@pytest.fixture
def place(cast, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    return Place(cast)


def call(place: Place, key: tuple[str, str], **more: Any) -> Any:
    row = TOLD[key]
    address, body = row.address(place), row.body(place)
    content = body if isinstance(body, str) or body is None else json.dumps(body)
    headers = {} if row.version is None else {"If-Match": row.version}
    api = place.sign(getattr(place.cast, row.who))
    if content is None and key[0] in ("get", "delete"):
        return getattr(api, key[0])(address, headers=headers | more)
    return getattr(api, key[0])(address, content, content_type=row.content_type, headers=headers)


def told_since(last: int, place: Place, key: tuple[str, str]) -> list[AuditEvent]:
    """The rows of this client, of the kind, by the account and the device that called."""
    who = getattr(place.cast, TOLD[key].who)
    return list(
        AuditEvent.objects.filter(
            id__gt=last,
            practice=place.cast.practice,
            subject_key=place.cast.client.audit_key,
            record_kind=TOLD[key].kind,
            account_id=who.account_id,
            device_id=place.devices[who][1],
        )
    )


def newest() -> int:
    return AuditEvent.objects.order_by("-id").values_list("id", flat=True).first() or 0


def prepare(place: Place, key: tuple[str, str]) -> int:
    """All that the call needs is there before the trail is looked at."""
    TOLD[key].address(place), TOLD[key].body(place)
    return newest()


@pytest.mark.parametrize("key", TOLD, ids=str)
def test_whose_data_is_shown_or_changed_finds_it_on_the_trail(place, key):
    before = prepare(place, key)
    answer = call(place, key)
    assert answer.status_code in (200, 201, 204), answer.content
    assert told_since(before, place, key), key


@pytest.mark.parametrize("key", [key for key in TOLD if key[0] == "get"], ids=str)
def test_a_reading_is_told_once_an_hour_and_again_in_the_next_also_when_nothing_changed(
    place, key, time_machine
):
    before = prepare(place, key)
    known = call(place, key).get("ETag")
    again = {} if known is None else {"If-None-Match": known}
    call(place, key, **again)
    assert len(told_since(before, place, key)) == 1
    time_machine.move_to("2026-03-02T21:00:00Z", tick=False)
    answer = call(place, key, **again)
    assert answer.status_code in (200, 304)
    assert len(told_since(before, place, key)) == 2


UNWRITABLE = """
    CREATE TRIGGER refused BEFORE INSERT ON coaching_auditevent
    BEGIN SELECT RAISE(ABORT, 'no more'); END"""


def into_no_table(execute, sql, params, many, context):
    """The service's role on PostgreSQL may hang no trigger on a table; so the row is sent to none."""
    return execute(sql.replace('INTO "coaching_auditevent"', 'INTO "not_there"'), params, many, context)


@pytest.fixture
def make_unwritable():
    with ExitStack() as until_the_end:

        def make() -> None:
            if connection.vendor == "postgresql":
                until_the_end.enter_context(connection.execute_wrapper(into_no_table))
                return
            with connection.cursor() as cursor:
                cursor.execute(UNWRITABLE)

        yield make


@pytest.mark.parametrize("key", TOLD, ids=str)
def test_without_a_trail_nothing_is_shown_and_nothing_changed(place, key, make_unwritable):
    prepare(place, key)
    make_unwritable()
    answer = call(place, key)
    assert (answer.status_code, answer["Retry-After"]) == (503, "5"), answer.content
    assert answer.json().keys() == {"type", "title", "status", "detail", "instance"}
    assert answer.json()["type"] == "/problems/trail_unavailable"


def test_a_conflict_shows_nothing_either(place, make_unwritable):
    uid = place.session
    make_unwritable()
    body = session_body(pain_reports=[], note="Another")
    answer = place.sign(place.cast.client).put(f"/api/v1/sessions/{uid}", body, format="json")
    assert (answer.status_code, "differences" in answer.json()) == (503, False)


def test_a_calendar_program_is_on_the_trail_by_its_feed(place, make_unwritable, time_machine):
    path = place.feed.removeprefix("http://127.0.0.1:8000")
    before = newest()
    for _ in range(2):
        assert APIClient().get(path).status_code == 200
    (row,) = AuditEvent.objects.filter(id__gt=before)
    assert (row.subject_key, row.record_kind, row.account_id) == (
        place.cast.client.audit_key, "calendar_feed", None
    )  # fmt: skip
    time_machine.move_to("2026-03-02T21:00:00Z", tick=False)
    make_unwritable()
    assert APIClient(raise_request_exception=False).get(path).status_code == 503


def test_an_archive_is_on_the_trail_each_time(place, make_unwritable):
    owner, before = place.sign(place.cast.owner), newest()
    for _ in range(2):
        assert b"".join(owner.get(f"{place.client}/export").streaming_content)
    rows = AuditEvent.objects.filter(id__gt=before, record_kind="person_archive", action="export")
    assert [(row.subject_key, row.device_id) for row in rows] == [
        (place.cast.client.audit_key, place.devices[place.cast.owner][1])
    ] * 2
    make_unwritable()
    assert owner.get(f"{place.client}/export").status_code == 503


def test_a_new_client_begins_with_a_row(place):
    made = place.made(place.cast.coach, "post", "/api/v1/clients", client_body(place))
    row = AuditEvent.objects.get(record_kind="client", record_id=made["id"])
    assert (row.action, row.device_id) == ("create", place.devices[place.cast.coach][1])


def test_an_invitation_and_its_acceptance_are_told(place):
    newcomer = ClientFactory(coach=place.cast.coach, account=None)
    body = {"role": "client", "email": "new@example.org", "client": str(newcomer.uid)}
    token = place.made(place.cast.coach, "post", "/api/v1/invitations", body)["token"]
    body = {"token": token, "name": "Nia", "password": "lantern-horse-staple", "device_name": "phone"}
    assert APIClient().post("/api/v1/invitations/accept", body).status_code == 201
    rows = AuditEvent.objects.filter(subject_key=newcomer.audit_key, record_kind="invitation").order_by("id")
    phone = DeviceToken.objects.get(device_name="phone")
    assert [(row.action, row.device_id) for row in rows] == [
        ("invite", place.devices[place.cast.coach][1]),
        ("accept", phone.uid),
    ]
