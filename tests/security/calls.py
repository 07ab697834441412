"""How each row of the matrix is asked: its address, body and version, so that whoever may is answered 2xx."""

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.urls import URLResolver, get_resolver

from coaching.models import Client
from tests.api.test_hostile_inputs import TEST_ORIGIN, client_body, exercise_body, plan_body, site_body
from tests.bodies import pain_body, session_body, set_body
from tests.factories import PASSWORD
from tests.security.people import Folder, People

METHODS = ("get", "post", "put", "patch", "delete")
V1 = "api/v1/"


def route_names() -> set[str]:
    """`GET clients/{client}` for every method of every address that the resolver knows."""
    return {f"{method.upper()} {route}" for route, view in _views() for method in methods_of(view)}


def methods_of(view: Any) -> list[str]:
    shape = getattr(view, "view_class", getattr(view, "cls", None))
    return ["get"] if shape is None else [method for method in METHODS if hasattr(shape, method)]


def _views() -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []

    def walk(patterns: Any, before: str) -> None:
        for each in patterns:
            route = before + str(each.pattern)
            if isinstance(each, URLResolver):
                walk(each.url_patterns, route)
            else:
                found.append((named(route), each.callback))

    walk(get_resolver().url_patterns, "")
    return found


def named(route: str) -> str:
    """`api/v1/clients/<uuid:client_id>` is `clients/{client}`."""
    pieces = route.removeprefix(V1).split("<")
    return pieces[0] + "".join(
        "{" + piece.partition(":")[2].replace(">", "}", 1).replace("_id}", "}") for piece in pieces[1:]
    )


@dataclass(frozen=True)
class Asked:
    """One cell: who asks for what, and where the id in question stands."""

    people: People
    role: str
    folder: Folder

    @property
    def is_client(self) -> bool:
        return self.role in ("self", "sibling")

    @property
    def home(self) -> Folder:
        return self.people.home(self.role)


Content = Callable[[Asked], Any]


@dataclass(frozen=True)
class Call:
    """`path` replaces parts of the address; `crossed` takes the client from the asker's own folder."""

    body: Content = lambda a: None
    query: Content = lambda a: ""
    path: Content = lambda a: {}
    version: bool = False
    is_csv: bool = False


def theirs(a: Asked, body: dict[str, Any]) -> dict[str, Any]:
    """Of the client in question: a coach names whose record is written, a client does not."""
    return body if a.is_client else body | {"client": str(a.folder.client)}


def own(a: Asked, body: dict[str, Any]) -> dict[str, Any]:
    """The same for the asker's own client."""
    return body if a.is_client else body | {"client": str(a.home.client)}


def csv_of(columns: str, cells: str) -> Content:
    return lambda a: f"client,{columns}\n{a.folder.client},{cells}\n"


def sets_of(**changes: Any) -> dict[str, Any]:
    return session_body(pain_reports=[], **changes)


def in_batch(uid: uuid.UUID | None = None) -> dict[str, Any]:
    return sets_of(id=str(uid or uuid.uuid4()))


def one_set(**changes: Any) -> dict[str, Any]:
    return sets_of(sets=[set_body(**changes)])


def in_home(a: Asked) -> dict[str, Any]:
    return {"client": a.home.client}


def new_session(a: Asked) -> dict[str, Any]:
    return {"session": uuid.uuid4()}


def new_report(a: Asked) -> dict[str, Any]:
    return {"report": uuid.uuid4()}


def plan_of(code: str) -> dict[str, Any]:
    prescription = {"exercise": code, "sets": 2, "reps_low": 6, "reps_high": 10, "effort_target": "failure",
                    "load_rule": "from_history"}  # fmt: skip
    block = {"kind": "straight_sets", "prescriptions": [prescription]}
    return {"name": "Any", "weeks": 4, "days": [{"weekday": 0, "name": "Legs", "blocks": [block]}]}


def name_of(folder: Folder) -> str:
    """As it stands in the record, by which an erasure is confirmed."""
    names = Client.objects.filter(uid=folder.client).values_list("name", flat=True)
    return names.first() or "Nobody"


CLIENT = "clients/{client}"
INJURY = CLIENT + "/injuries/{injury}"
SCHEDULED = CLIENT + "/scheduled-sessions/{scheduled_session}"
RESTRICTION = {"kind": "limit", "limit": "No running", "from_on": "2026-03-01", "said_by": "coach"}
CLEARANCE = {
    "joint": "hip", "side": "left", "clinician_name": "Dana Doctor", "clinician_profession": "surgeon",
    "cleared_on": "2026-03-01", "flags": ["night_pain"],
}  # fmt: skip
SERVICE_TOKEN = {"name": "Any", "scopes": ["sheet:read"], "expires_at": "2026-09-01T00:00:00Z"}
CALENDAR = "?from=2026-02-23&until=2026-03-29"
SWAPS = "?joint=knee&side=left"
STRESS = {"stress": 0.5, "reason": "Other"}
SETS_CSV = ("performed_at,exercise,load,reps", "2026-03-02T18:00:00+01:00,back_squat,100,5")
PAIN_CSV = ("joint,side,moment,pain,reported_at", "knee,left,during,2,2026-03-02T18:00:00+01:00")
PLAN_CSV = (
    "plan_name,weeks,day,weekday,day_name,block,block_kind,exercise,sets,reps_low,reps_high,effort_target,load_rule\n"
    "Any,4,1,0,Legs,1,straight_sets,back_squat,2,6,10,failure,from_history\n"
)
OWN_PASSWORD = {"current_password": PASSWORD}

CALLS: dict[str, Call] = {
    # signing in
    "POST sign-in": Call(
        lambda a: {"email": a.people.coach.account.email, "password": PASSWORD, "device_name": "any"}
    ),
    "PUT me/password": Call(lambda a: OWN_PASSWORD | {"new_password": "another-horse-battery"}),
    "POST invitations": Call(lambda a: {"role": "coach", "email": "new@example.org"}),
    "POST invitations | client": Call(
        lambda a: {"role": "client", "email": "new@example.org", "client": str(a.folder.newcomer)}
    ),
    "POST invitations/accept": Call(
        lambda a: {"token": "x" * 43, "password": PASSWORD, "device_name": "any", "name": "Nora"}
    ),
    "POST password-resets": Call(lambda a: {"email": a.people.coach.account.email}),
    "POST password-resets/accept": Call(lambda a: {"token": "x" * 43, "new_password": PASSWORD}),
    "POST me/second-factor": Call(lambda a: OWN_PASSWORD),
    "POST me/second-factor/confirmation": Call(lambda a: {"code": "123456"}),
    "POST me/second-factor/removal": Call(lambda a: OWN_PASSWORD | {"code": "123456"}),
    # clients
    "POST clients": Call(client_body),
    "POST clients | coach": Call(lambda a: client_body(a) | {"coach": str(a.folder.membership)}),
    "POST clients | id": Call(lambda a: client_body(a) | {"id": str(a.folder.client)}),
    f"PATCH {CLIENT}": Call(lambda a: {"load_unit": "lb"}, version=True),
    f"PATCH {CLIENT} | a coach's field": Call(lambda a: {"private_note": "Any"}, version=True),
    f"PATCH {CLIENT} | coach": Call(
        lambda a: {"coach": str(a.folder.membership)}, path=in_home, version=True
    ),
    f"POST {CLIENT}/merging": Call(lambda a: {"duplicate": str(a.home.newcomer)}, version=True),
    f"POST {CLIENT}/merging | duplicate": Call(
        lambda a: {"duplicate": str(a.folder.newcomer)}, path=in_home, version=True
    ),
    f"POST {CLIENT}/body-masses": Call(lambda a: {"measured_on": "2026-03-01", "body_mass_kg": 80.5}),
    f"PUT {CLIENT}/consents/{{purpose}}": Call(lambda a: {"text_version": "2"}, version=True),
    f"POST {CLIENT}/erasure": Call(lambda a: {"confirm": name_of(a.folder)}),
    "PATCH practice": Call(lambda a: {"keeps_clients_years": 7}, version=True),
    "PATCH memberships/{membership}": Call(lambda a: {"wants_digest": False}, version=True),
    "PATCH memberships/{membership} | cover": Call(
        lambda a: {"cover": str(a.folder.membership)},
        path=lambda a: {"membership": a.home.membership},
        version=True,
    ),
    "DELETE memberships/{membership}": Call(query=lambda a: "?hand_over_to=owner", version=True),
    "DELETE memberships/{membership} | hand_over_to": Call(
        query=lambda a: f"?hand_over_to={a.folder.membership}",
        path=lambda a: {"membership": a.home.membership},
        version=True,
    ),
    # service tokens and closing
    "POST service-tokens": Call(lambda a: SERVICE_TOKEN),
    "POST service-tokens | coaches": Call(lambda a: SERVICE_TOKEN | {"coaches": [str(a.folder.membership)]}),
    "DELETE service-tokens/{token}": Call(path=lambda a: {"token": a.folder.service_token}),
    "POST practice/closing": Call(lambda a: OWN_PASSWORD),
    "GET morning-sheet | coach": Call(query=lambda a: f"?coach={a.folder.membership}"),
    # injuries
    f"POST {CLIENT}/injuries": Call(lambda a: site_body(said="Sore.")),
    f"PATCH {INJURY}": Call(lambda a: {"status": "settled"}, version=True),
    f"PATCH {INJURY} | own client": Call(lambda a: {"status": "settled"}, path=in_home, version=True),
    f"GET {INJURY} | own client": Call(path=in_home),
    f"POST {INJURY}/restrictions": Call(lambda a: RESTRICTION),
    f"POST {INJURY}/restrictions | own client": Call(lambda a: RESTRICTION, path=in_home),
    f"DELETE {INJURY}/restrictions/{{restriction}} | own client and injury": Call(
        path=lambda a: {"client": a.home.client, "injury": a.home.injury}
    ),
    f"POST {CLIENT}/clearances": Call(lambda a: CLEARANCE),
    f"POST {CLIENT}/intervention-notes": Call(lambda a: site_body(noted_on="2026-03-01", changed="Any")),
    f"POST {CLIENT}/referrals": Call(lambda a: site_body(question="Any?", consent_text_version="1")),
    f"GET {CLIENT}/referrals/{{referral}}.html | own client": Call(path=in_home),
    f"GET {CLIENT}/referrals/{{referral}}.pdf | own client": Call(path=in_home),
    f"GET {CLIENT}/referrals/{{referral}}.fhir.json | own client": Call(path=in_home),
    # plans and exercises
    "POST plans": Call(plan_body),
    "POST plans | exercise": Call(lambda a: plan_of(a.folder.code)),
    "POST plans | id": Call(lambda a: plan_body(a) | {"id": str(a.folder.plan)}),
    "PUT plans/{plan}": Call(plan_body, version=True),
    "DELETE plans/{plan}": Call(version=True),
    "POST plans/{plan}/preview": Call(lambda a: {"client": str(a.home.newcomer)}),
    "POST plans/{plan}/preview | client": Call(
        lambda a: {"client": str(a.folder.newcomer)}, path=lambda a: {"plan": a.home.plan}
    ),
    "POST plans/{plan}/preview | compare_with": Call(
        lambda a: {"client": str(a.home.newcomer), "compare_with": str(a.folder.plan)},
        path=lambda a: {"plan": a.home.plan},
    ),
    "POST exercises": Call(exercise_body),
    "PUT exercises/{code}/stress/{joint}": Call(lambda a: STRESS, version=True),
    "DELETE exercises/{code}/stress/{joint}": Call(version=True),
    f"GET {CLIENT}/exercises/{{code}} | own client": Call(path=in_home),
    f"PUT {CLIENT}/exercises/{{code}}/stress/{{joint}}": Call(lambda a: STRESS, version=True),
    f"DELETE {CLIENT}/exercises/{{code}}/stress/{{joint}}": Call(version=True),
    "GET exercises/{code}/swaps": Call(query=lambda a: SWAPS),
    "GET exercises/{code}/swaps | client": Call(
        query=lambda a: f"{SWAPS}&client={a.folder.client}", path=lambda a: {"code": a.home.code}
    ),
    # what is assigned
    f"POST {CLIENT}/assignments": Call(lambda a: {"plan": str(a.folder.plan), "starts_on": "2026-03-09"}),
    f"POST {CLIENT}/assignments | plan": Call(
        lambda a: {"plan": str(a.folder.plan), "starts_on": "2026-03-09"},
        path=lambda a: {"client": a.home.newcomer},
    ),
    f"POST {CLIENT}/assignments | newcomer": Call(
        lambda a: {"plan": str(a.home.plan), "starts_on": "2026-03-09"},
        path=lambda a: {"client": a.folder.newcomer},
    ),
    f"GET {CLIENT}/assignments/{{assignment}} | own client": Call(path=in_home),
    f"DELETE {CLIENT}/assignments/{{assignment}}": Call(version=True),
    f"DELETE {CLIENT}/assignments/{{assignment}} | own client": Call(path=in_home, version=True),
    f"GET {CLIENT}/scheduled-sessions": Call(query=lambda a: CALENDAR),
    f"GET {SCHEDULED} | own client": Call(path=in_home),
    f"PATCH {SCHEDULED}": Call(lambda a: {"status": "not_done"}, version=True),
    f"PATCH {SCHEDULED} | own client": Call(lambda a: {"status": "not_done"}, path=in_home, version=True),
    f"GET {SCHEDULED}/prescriptions/next | own client": Call(path=in_home),
    # what is logged
    "POST sessions/batch": Call(lambda a: own(a, {"items": [in_batch()]})),
    "POST sessions/batch | client": Call(lambda a: {"client": str(a.folder.client), "items": [in_batch()]}),
    "POST sessions/batch | item": Call(lambda a: own(a, {"items": [in_batch(a.folder.session)]})),
    "PUT sessions/{session}": Call(lambda a: theirs(a, sets_of()), version=True),
    "PUT sessions/{session} | own client": Call(lambda a: own(a, sets_of())),
    "PUT sessions/{session} | client": Call(lambda a: sets_of(client=str(a.folder.client)), path=new_session),
    "PUT sessions/{session} | scheduled_session": Call(
        lambda a: own(a, sets_of(scheduled_session=str(a.folder.scheduled_session))), path=new_session
    ),
    "PUT sessions/{session} | prescription": Call(
        lambda a: own(a, one_set(prescription=str(a.folder.prescription))), path=new_session
    ),
    "PUT sessions/{session} | exercise": Call(
        lambda a: own(a, one_set(exercise=a.folder.code)), path=new_session
    ),
    "PUT sessions/{session} | set id": Call(
        lambda a: own(a, one_set(id=str(a.folder.set))), path=new_session
    ),
    "PATCH sessions/{session}": Call(lambda a: {"note": "Windy"}, version=True),
    "DELETE sessions/{session}": Call(version=True),
    "DELETE sessions/{session} | client": Call(
        query=lambda a: f"?client={a.folder.client}", path=new_session, version=True
    ),
    "PUT pain-reports/{report}": Call(lambda a: theirs(a, pain_body(pain=3))),
    "PUT pain-reports/{report} | client": Call(
        lambda a: pain_body(client=str(a.folder.client)), path=new_report
    ),
    "PUT pain-reports/{report} | session": Call(
        lambda a: own(a, pain_body(session=str(a.folder.session))), path=new_report
    ),
    "DELETE pain-reports/{report}": Call(version=True),
    # alerts
    "GET alerts | client": Call(query=lambda a: f"?client={a.folder.client}"),
    "POST alerts/{alert}/acknowledgement": Call(version=True),
    "POST alerts/{alert}/put-off": Call(lambda a: {"until_on": "2026-03-09"}, version=True),
    "POST alerts/{alert}/closing": Call(lambda a: {"note": "Seen"}, version=True),
    "POST alerts/{alert}/withdrawal": Call(path=lambda a: {"alert": a.folder.flag}),
    "POST alerts/{alert}/withdrawal/confirmation": Call(
        lambda a: {"reason": "A slip"}, path=lambda a: {"alert": a.folder.flag}, version=True
    ),
    "GET changes | client": Call(query=lambda a: f"?client={a.folder.client}"),
    # files
    f"POST {CLIENT}/imports/sessions": Call(lambda a: "\n".join(SETS_CSV), is_csv=True),
    f"POST {CLIENT}/imports/pain-reports": Call(lambda a: "\n".join(PAIN_CSV), is_csv=True),
    "POST imports/sessions": Call(csv_of(*SETS_CSV), is_csv=True),
    "POST imports/pain-reports": Call(csv_of(*PAIN_CSV), is_csv=True),
    "POST imports/plans": Call(lambda a: PLAN_CSV, is_csv=True),
    "GET problems/{code}": Call(path=lambda a: {"code": "not_found"}),
    # webhooks
    "POST webhooks": Call(lambda a: {"address": f"{TEST_ORIGIN}/in", "events": ["alert.opened"]}),
    "PATCH webhooks/{webhook}": Call(lambda a: {"events": ["alert.opened"]}, version=True),
    "DELETE webhooks/{webhook}": Call(version=True),
    "POST webhooks/{webhook}/secret": Call(lambda a: {"overlap_hours": 1}, version=True),
    # pictures of a lift are of one that everybody knows
    f"GET {CLIENT}/lifts/{{code}}/{{side}}/picture.svg": Call(path=lambda a: {"code": "back_squat"}),
    f"GET {CLIENT}/lifts/{{code}}/{{side}}/picture.png": Call(path=lambda a: {"code": "back_squat"}),
    f"GET {CLIENT}/lifts/{{code}}/sides/picture.svg": Call(path=lambda a: {"code": "back_squat"}),
    f"GET {CLIENT}/lifts/{{code}}/sides/picture.png": Call(path=lambda a: {"code": "back_squat"}),
}


BESIDE = ("healthz", "readyz", "metrics", "problems/")


def send(key: str, asked: Asked) -> Any:
    """The answer to one cell."""
    call = CALLS.get(key, Call())
    method, _, route = key.partition(" | ")[0].partition(" ")
    parts = vars(asked.folder) | call.path(asked)
    path = route.format(**parts)
    address = ("/" if route.startswith(BESIDE) else f"/{V1}") + path + call.query(asked)
    headers = {"If-Match": '"1"'} if call.version else {}
    body = call.body(asked)
    content = body if call.is_csv or body is None else json.dumps(body)
    return asked.people.api(asked.role).generic(
        method,
        address,
        "" if content is None else content,
        content_type="text/csv" if call.is_csv else "application/json",
        headers=headers,
    )
