"""Bodies that no client app sends: every one gets a 4xx problem, none a 5xx, and none leaves a row behind."""

import json
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

import pytest
from django.apps import apps
from django.utils import timezone
from rest_framework import serializers

from api.alerts import CloseIn, PutOffIn, WithdrawalIn
from api.assignments import AssignmentIn, ScheduledSessionPatch
from api.clearances import ClearanceIn, NoteIn
from api.clients import BodyMassIn, ClientIn, ClientPatch, ConsentIn
from api.erasure import ErasureIn
from api.exercises import ExerciseIn, StressIn
from api.fields import FlagField, LoadField, NumberField, TextField, WholeField
from api.injuries import InjuryIn, RestrictionIn
from api.memberships import MembershipPatch
from api.merging import MergingIn
from api.pain_fields import PainReportAlone
from api.password_resets import AcceptResetIn, ResetIn
from api.plan_preview import PreviewIn
from api.plans import PlanIn
from api.practice import ClosingPracticeIn, PracticePatch
from api.referrals import ReferralIn
from api.second_factor import BeginIn, ConfirmIn, RemoveIn
from api.service_tokens import ServiceTokenIn
from api.sessions import BatchIn, SessionIn
from api.sign_in import AcceptIn, InvitationIn, PasswordField, PasswordIn, SignInIn
from api.webhooks import SecretIn, WebhookIn
from coaching.models import Alert, Assignment, Client, Injury, Plan, PlanVersion, ScheduledSession, Webhook
from tests.bodies import pain_body, session_body, set_body
from tests.factories import NOW, PASSWORD, AlertFactory, ConsentFactory, InjuryFactory, WebhookFactory
from tests.plan_builders import knee_lift, plan_by

Path = tuple[str | int, ...]


class World:
    """What the addresses and bodies point at, made when it is first asked for."""

    def __init__(self, cast, signed_in):
        self.cast = cast
        self.sign = signed_in
        self.client = f"/api/v1/clients/{cast.client.uid}"

    @cached_property
    def injury(self) -> Injury:
        return InjuryFactory(client=self.cast.client)

    @cached_property
    def duplicate(self) -> Client:
        return ConsentFactory(client__coach=self.cast.coach, client__account=None).client

    @cached_property
    def alert(self) -> Alert:
        return AlertFactory(client=self.cast.client)

    @cached_property
    def red_flag(self) -> Alert:
        return AlertFactory(client=self.cast.client, kind="red_flag", withdrawal_asked_at=NOW)

    @cached_property
    def webhook(self) -> Webhook:
        return WebhookFactory(practice=self.cast.practice)

    @cached_property
    def plan(self) -> Plan:
        return plan_by(self.cast.coach, knee_lift())

    @cached_property
    def scheduled(self) -> ScheduledSession:
        version = PlanVersion.objects.get(plan=self.plan)
        of_client = {"practice": self.cast.practice, "client": self.cast.client}
        assignment = Assignment.objects.create(
            **of_client, plan_version=version, starts_on=date(2026, 3, 2), created_at=NOW
        )
        return ScheduledSession.objects.create(
            **of_client,
            assignment=assignment,
            plan_day=version.days.all()[0],
            due_on=date(2026, 3, 5),
            prescribed_sets=2,
            prescribed_reps=12,
        )

    @cached_property
    def session(self) -> str:
        uid = uuid.uuid4()
        body = session_body(pain_reports=[])
        answer = self.sign(self.cast.client).put(f"/api/v1/sessions/{uid}", body, format="json")
        assert answer.status_code == 201
        return str(uid)


@dataclass(frozen=True)
class Route:
    """An address with a body that it accepts; `who` of the cast sends it."""

    method: str
    serializer: type[serializers.Serializer[Any]]
    address: Callable[[World], str]
    body: Callable[[World], dict[str, Any]]
    who: str = "coach"
    is_patch: bool = False
    if_match: str | None = '"1"'


def client_body(w):
    return {
        "name": "Nora New",
        "zone": "Europe/Berlin",
        "country": "DE",
        "emergency_text": "112",
        "birth_on": "1980-02-29",
        "training_status": "novice",
        "private_note": "Any",
    }


def exercise_body(w):
    return {
        "code": "own_invented_lift",
        "name": "Own lift",
        "equipment": "barbell",
        "load_basis": "total",
        "load_step_kg": "2.5",
        "movement_pattern": "squat",
        "muscles": {"direct": ["glutes"], "indirect": ["hamstrings"]},
        "stress": [{"joint": "knee", "stress": 0.5, "reason": "Invented"}],
    }


def plan_body(w):
    prescription = {
        "exercise": "back_squat",
        "sets": 2,
        "reps_low": 6,
        "reps_high": 10,
        "effort_target": "failure",
        "load_rule": "from_history",
        "has_warm_up_ramp": True,
        "warm_up_steps": [{"share_of_work_load": 0.5, "reps": 5, "rest_s": 30}],
        "alternatives": ["belt_squat"],
    }
    block = {"kind": "straight_sets", "levers": ["load"], "prescriptions": [prescription]}
    day = {"weekday": 0, "name": "Legs", "blocks": [block]}
    return {"name": "Any", "weeks": 4, "deload_weeks": [4], "days": [day]}


def site_body(**more):
    return {"joint": "knee", "side": "left"} | more


def reported():
    return pain_body(id=str(uuid.uuid4()), symptoms={SYMPTOM: "no"})


def webhook_body(w):
    return {"address": f"{TEST_ORIGIN}/in", "events": ["alert.opened"], "is_active": True}


TEST_ORIGIN = "http://127.0.0.1:9"
SYMPTOM = "night_pain"
SIGN_IN = "/api/v1/sign-in"
ROUTES = {
    "clients POST": Route("post", ClientIn, lambda w: "/api/v1/clients", client_body),
    "clients PATCH": Route("patch", ClientPatch, lambda w: w.client, client_body, is_patch=True),
    "body masses POST": Route(
        "post",
        BodyMassIn,
        lambda w: f"{w.client}/body-masses",
        lambda w: {"measured_on": "2026-03-01", "body_mass_kg": 80.5},
        if_match=None,
    ),
    "consents PUT": Route(
        "put",
        ConsentIn,
        lambda w: f"{w.client}/consents/referral",
        lambda w: {"text_version": "2"},
        if_match=None,
    ),
    "injuries POST": Route(
        "post",
        InjuryIn,
        lambda w: f"{w.client}/injuries",
        lambda w: site_body(said="Sore.", said_by="client", pain_limit=4, weekly_joint_reps_cap=300),
    ),
    "injuries PATCH": Route(
        "patch",
        InjuryIn,
        lambda w: f"{w.client}/injuries/{w.injury.uid}",
        lambda w: {"status": "settled", "cautions": "Any"},
        is_patch=True,
    ),
    "restrictions POST": Route(
        "post",
        RestrictionIn,
        lambda w: f"{w.client}/injuries/{w.injury.uid}/restrictions",
        lambda w: {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"},
    ),
    "clearances POST": Route(
        "post",
        ClearanceIn,
        lambda w: f"{w.client}/clearances",
        lambda w: site_body(
            clinician_name="Dana Doctor",
            clinician_profession="surgeon",
            cleared_on="2026-03-01",
            flags=["night_pain"],
        ),
    ),
    "notes POST": Route(
        "post",
        NoteIn,
        lambda w: f"{w.client}/intervention-notes",
        lambda w: site_body(noted_on="2026-03-01", changed="Any", reason="Any", is_shared=True),
    ),
    "referrals POST": Route(
        "post",
        ReferralIn,
        lambda w: f"{w.client}/referrals",
        lambda w: site_body(question="Any?", consent_text_version="1"),
    ),
    "exercises POST": Route("post", ExerciseIn, lambda w: "/api/v1/exercises", exercise_body),
    "stress PUT": Route(
        "put",
        StressIn,
        lambda w: "/api/v1/exercises/back_squat/stress/knee",
        lambda w: {"stress": 0.5, "reason": "Any"},
        if_match=None,
    ),
    "plans POST": Route("post", PlanIn, lambda w: "/api/v1/plans", plan_body),
    "plans PUT": Route("put", PlanIn, lambda w: f"/api/v1/plans/{w.plan.uid}", plan_body),
    "plan preview POST": Route(
        "post",
        PreviewIn,
        lambda w: f"/api/v1/plans/{w.plan.uid}/preview",
        lambda w: {
            "client": str(w.cast.client.uid),
            "version": 1,
            "starts_on": "2026-03-02",
            "compare_with": str(w.plan.uid),
        },
    ),
    "assignments POST": Route(
        "post",
        AssignmentIn,
        lambda w: f"{w.client}/assignments",
        lambda w: {"plan": str(w.plan.uid), "starts_on": "2026-03-02", "override_reason": ""},
    ),
    "scheduled sessions PATCH": Route(
        "patch",
        ScheduledSessionPatch,
        lambda w: f"{w.client}/scheduled-sessions/{w.scheduled.uid}",
        lambda w: {"status": "cancelled"},
        is_patch=True,
    ),
    "sessions PUT": Route(
        "put",
        SessionIn,
        lambda w: f"/api/v1/sessions/{uuid.uuid4()}",
        lambda w: session_body(client=str(w.cast.client.uid), pain_reports=[reported()]),
        if_match=None,
    ),
    "sessions PATCH": Route(
        "patch",
        SessionIn,
        lambda w: f"/api/v1/sessions/{w.session}",
        lambda w: {"note": "Windy", "sets": [set_body()], "pain_reports": [reported()]},
        who="client",
        is_patch=True,
    ),
    "session batches POST": Route(
        "post", BatchIn, lambda w: "/api/v1/sessions/batch", lambda w: {"items": []}, who="client"
    ),
    "pain reports PUT": Route(
        "put",
        PainReportAlone,
        lambda w: f"/api/v1/pain-reports/{uuid.uuid4()}",
        lambda w: pain_body(symptoms={SYMPTOM: "no"}),
        who="client",
        if_match=None,
    ),
    "putting off POST": Route(
        "post",
        PutOffIn,
        lambda w: f"/api/v1/alerts/{w.alert.uid}/put-off",
        lambda w: {"until_on": "2026-03-20"},
    ),
    "closing POST": Route(
        "post", CloseIn, lambda w: f"/api/v1/alerts/{w.alert.uid}/closing", lambda w: {"note": "Any"}
    ),
    "withdrawal POST": Route(
        "post",
        WithdrawalIn,
        lambda w: f"/api/v1/alerts/{w.red_flag.uid}/withdrawal/confirmation",
        lambda w: {"reason": "Any"},
    ),
    "sign-in POST": Route(
        "post",
        SignInIn,
        lambda w: SIGN_IN,
        lambda w: {"email": w.cast.coach.account.email, "password": PASSWORD, "device_name": "any"},
    ),
    "password PUT": Route(
        "put",
        PasswordIn,
        lambda w: "/api/v1/me/password",
        lambda w: {"current_password": PASSWORD, "new_password": "another-horse-battery"},
    ),
    "password reset POST": Route(
        "post",
        ResetIn,
        lambda w: "/api/v1/password-resets",
        lambda w: {"email": w.cast.coach.account.email},
    ),
    "second factor POST": Route(
        "post", BeginIn, lambda w: "/api/v1/me/second-factor", lambda w: {"current_password": PASSWORD}
    ),
    "invitations POST": Route(
        "post",
        InvitationIn,
        lambda w: "/api/v1/invitations",
        lambda w: {"role": "coach", "email": "new@example.org"},
        who="owner",
    ),
    "memberships PATCH": Route(
        "patch",
        MembershipPatch,
        lambda w: f"/api/v1/memberships/{w.cast.coach.uid}",
        lambda w: {"wants_digest": False},
        is_patch=True,
    ),
    "practice PATCH": Route(
        "patch",
        PracticePatch,
        lambda w: "/api/v1/practice",
        lambda w: {"keeps_clients_years": 7},
        who="owner",
        is_patch=True,
    ),
    "erasure POST": Route(
        "post",
        ErasureIn,
        lambda w: f"{w.client}/erasure",
        lambda w: {"confirm": w.cast.client.name},
        who="owner",
    ),
    "merging POST": Route(
        "post",
        MergingIn,
        lambda w: f"{w.client}/merging",
        lambda w: {"duplicate": str(w.duplicate.uid)},
        who="owner",
    ),
    "practice closing POST": Route(
        "post",
        ClosingPracticeIn,
        lambda w: "/api/v1/practice/closing",
        lambda w: {
            "current_password": PASSWORD,
            "keep_until_on": (timezone.now() + timedelta(days=60)).date().isoformat(),
        },
        who="owner",
    ),
    "service tokens POST": Route(
        "post",
        ServiceTokenIn,
        lambda w: "/api/v1/service-tokens",
        lambda w: {
            "name": "Wall screen",
            "scopes": ["sheet:read"],
            "expires_at": (timezone.now() + timedelta(days=30)).isoformat(),
            "coaches": [str(w.cast.coach.uid)],
        },
        who="owner",
    ),
    "webhooks POST": Route("post", WebhookIn, lambda w: "/api/v1/webhooks", webhook_body, who="owner"),
    "webhooks PATCH": Route(
        "patch",
        WebhookIn,
        lambda w: f"/api/v1/webhooks/{w.webhook.uid}",
        webhook_body,
        who="owner",
        is_patch=True,
    ),
    "webhook secrets POST": Route(
        "post",
        SecretIn,
        lambda w: f"/api/v1/webhooks/{w.webhook.uid}/secret",
        lambda w: {"overlap_hours": 1},
        who="owner",
    ),
}

# An invitation's token is shown once, so there is no body that is accepted twice.
REFUSED_ROUTES = {
    "invitation acceptance POST": Route(
        "post",
        AcceptIn,
        lambda w: "/api/v1/invitations/accept",
        lambda w: {"token": "x" * 43, "password": PASSWORD, "device_name": "any", "name": "Nora"},
    ),
    "password reset acceptance POST": Route(
        "post",
        AcceptResetIn,
        lambda w: "/api/v1/password-resets/accept",
        lambda w: {"token": "x" * 43, "new_password": PASSWORD},
    ),
    "second factor confirmation POST": Route(
        "post",
        ConfirmIn,
        lambda w: "/api/v1/me/second-factor/confirmation",
        lambda w: {"code": "123456"},
    ),
    "second factor removal POST": Route(
        "post",
        RemoveIn,
        lambda w: "/api/v1/me/second-factor/removal",
        lambda w: {"current_password": PASSWORD, "code": "123456"},
    ),
}
ALL_ROUTES = ROUTES | REFUSED_ROUTES


def nested(depth: int) -> Any:
    value: Any = "x"
    for _ in range(depth):
        value = {"a": value}
    return value


ODD: dict[str, Any] = {
    "null": None,
    "number": 5,
    "fraction": 0.1,
    "negative": -1,
    "huge number": 10**30,
    "string": "odd",
    "digits as text": "5",
    "true": True,
    "array": [],
    "array of arrays": [[]],
    "array of null": [None],
    "object": {},
    "nested object": nested(5),
    "deep nesting": nested(30),
    "NUL": "a\x00b",
    "3,000 characters": "x" * 3000,
    "half a character": "a\ud800b",
    "bell": "a\x07b",
    "not a number": "NaN",
}
NUMBERS = {"number", "fraction", "negative"}
WORDS = {"string", "digits as text", "not a number"}


def natural_for(field: serializers.Field[Any, Any, Any, Any], is_patch: bool) -> set[str]:
    """What is odd elsewhere and may be meant here: left out, since the answer may rightly be 2xx."""
    found = {"null"} if field.allow_null or (is_patch and not field.required) else set()
    if isinstance(field, TextField | PasswordField):
        found |= WORDS
    if isinstance(field, PasswordField):
        found |= {"bell"}
    if isinstance(field, WholeField | NumberField | LoadField):
        found |= NUMBERS
    if isinstance(field, FlagField):
        found |= {"true"}
    if isinstance(field, serializers.ListField | serializers.ListSerializer):
        found |= {"array"}
    if isinstance(field, serializers.DictField):
        found |= {"object"}
    return found


def fields_of(serializer: Any, at: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Every field of a body with the path to it: first items of lists, the symptom of a dictionary."""
    for name, field in serializer.fields.items():
        here = (*at, name)
        yield here, field
        child = getattr(field, "child", None)
        if child is not None:
            inside = (*here, SYMPTOM if isinstance(field, serializers.DictField) else 0)
            yield from fields_of(child, inside) if hasattr(child, "fields") else [(inside, child)]
        elif hasattr(field, "fields"):
            yield from fields_of(field, here)


def put_at(body: dict[str, Any], path: Path, value: Any) -> dict[str, Any]:
    """The body with `value` at `path`."""
    whole: dict[str, Any] = json.loads(json.dumps(body))
    place: Any = whole
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return whole


def row_counts() -> dict[str, int]:
    models = apps.get_app_config("coaching").get_models()
    return {model.__name__: model._default_manager.count() for model in models}


class Door:
    """Sends bodies to one route and keeps what was wrong with the answers."""

    def __init__(self, route: Route, cast, signed_in):
        world = World(cast, signed_in)
        self.route = route
        self.api = signed_in(getattr(cast, route.who))
        self.address, self.body = route.address(world), route.body(world)
        self.before = row_counts()
        self.sent = 0
        self.faults: dict[str, Any] = {}

    def send(self, content: bytes, content_type: str = "application/json"):
        headers = {} if self.route.if_match is None else {"HTTP_IF_MATCH": self.route.if_match}
        return self.api.generic(
            self.route.method.upper(), self.address, content, content_type=content_type, **headers
        )

    def refuse(self, name: str, content: bytes) -> None:
        answer = self.send(content)
        self.sent += 1
        kind = answer.headers.get("Content-Type")
        if not 400 <= answer.status_code < 500 or kind != "application/problem+json":
            self.faults[name] = (answer.status_code, kind, answer.content[:300])

    def stays_shut(self) -> bool:
        assert self.sent
        assert self.faults == {}
        assert row_counts() == self.before
        return True


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")


@pytest.fixture(autouse=True)
def no_name_is_asked_for(settings):
    settings.WEBHOOK_TEST_ADDRESSES = [TEST_ORIGIN]


@pytest.fixture
def door(cast, signed_in):
    return lambda route: Door(route, cast, signed_in)


@pytest.mark.parametrize("name", ROUTES)
def test_body_itself_is_accepted(door, name):
    opened = door(ROUTES[name])
    answer = opened.send(json.dumps(opened.body).encode())
    assert 200 <= answer.status_code < 300, answer.content


FIELDS = [
    pytest.param(name, path, id=f"{name} /{'/'.join(map(str, path))}")
    for name, route in ALL_ROUTES.items()
    for path, _ in fields_of(route.serializer())
    if route.serializer is not BatchIn or path == ("client",)  # items are answered one by one
]


@pytest.mark.parametrize(("name", "path"), FIELDS)
def test_odd_values_of_a_field_are_refused(door, name, path):
    route = ALL_ROUTES[name]
    shut = door(route)
    field = dict(fields_of(route.serializer()))[path]
    for odd, value in ODD.items():
        if odd not in natural_for(field, route.is_patch):
            shut.refuse(odd, json.dumps(put_at(shut.body, path, value)).encode())
    assert shut.stays_shut()


def test_items_of_a_batch_that_are_no_array_are_refused(door):
    shut = door(ROUTES["session batches POST"])
    for odd, value in ODD.items():
        if not isinstance(value, list):
            shut.refuse(odd, json.dumps({"items": value}).encode())
    assert shut.stays_shut()


WHOLE_BODIES = {
    "empty": b"",
    "blank": b"  ",
    "null": b"null",
    "array": b"[]",
    "array of objects": b"[{}]",
    "string": b'"x"',
    "number": b"5",
    "true": b"true",
    "cut off": b'{"name": "x"',
    "trailing comma": b'{"name": "x",}',
    "not UTF-8": b'{"name": "\xff"}',
    "UTF-16": '{"name": "x"}'.encode("utf-16"),
    "form": b"name=x&country=DE",
    "NaN": b'{"name": NaN}',
    "1e999": b'{"name": 1e999}',
    "doubled key": b'{"name": "a", "name": "b"}',
    "NUL key": b'{"\\u0000": 1}',
    "half a character as key": b'{"\\ud800": 1}',
    "5,000 digits": b'{"name": ' + b"9" * 5000 + b"}",
    "100,000 brackets": b"[" * 100_000,
    "65 keys": json.dumps({f"k{number}": 1 for number in range(65)}).encode(),
    "1,001 items": json.dumps({"name": [0] * 1001}).encode(),
}


@pytest.mark.parametrize("name", ALL_ROUTES)
def test_bodies_that_are_no_such_object_are_refused(door, name):
    shut = door(ALL_ROUTES[name])
    for odd, content in WHOLE_BODIES.items():
        shut.refuse(odd, content)
    assert shut.stays_shut()


@pytest.mark.parametrize("key", ["unknown", "practice", "score", "created_by", "__class__", "", "a/b~c"])
@pytest.mark.parametrize("name", ALL_ROUTES)
def test_unknown_key_is_refused(door, name, key):
    shut = door(ALL_ROUTES[name])
    shut.refuse(key, json.dumps(shut.body | {key: 1}).encode())
    assert shut.stays_shut()


@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/x-www-form-urlencoded", "application/;;="]
)
@pytest.mark.parametrize("name", ALL_ROUTES)
def test_other_content_types_are_refused(door, name, content_type):
    shut = door(ALL_ROUTES[name])
    content = json.dumps(shut.body).encode()
    answer = shut.send(content, content_type)
    assert answer.status_code == 415
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert row_counts() == shut.before
