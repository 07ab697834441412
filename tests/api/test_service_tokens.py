"""Service tokens: what a program may do is what its scopes name, on every address there is."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api.service_scopes import SCOPE_OF
from coaching.logs import hide_tokens
from coaching.models import Account, Alert, AuditEvent, Membership, Role, ServiceScope, ServiceToken, Session
from tests.api.every_route import Filled, every_route, service_token
from tests.api.test_writing_routes import ROWS
from tests.bodies import session_body
from tests.factories import NOW, AlertFactory, ClientFactory

V1 = "/api/v1/"
BODY = {
    "name": "Wall screen",
    "scopes": ["sheet:read", "alerts:read"],
    "expires_at": "2026-09-01T00:00:00Z",
}
NEEDS_COACH = "api/v1/morning-sheet"


@pytest.fixture(autouse=True)
def monday_evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)


def program(token):
    api = APIClient(raise_request_exception=False)
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api


def holder(cast, *scopes, **changes):
    return program(service_token(cast.owner, list(scopes), **changes)[1])


def make(api, **changes):
    return api.post(f"{V1}service-tokens", BODY | changes, format="json")


def call(api, filled, key):
    """A call that would succeed for a coach, as far as its row in the table of writes tells."""
    method, route = key
    if method == "get":
        query = f"?coach={filled.cast.coach.uid}" if route == NEEDS_COACH else ""
        return api.get(filled.read(route) + query)
    address, body = filled.address(route), None
    if hasattr(ROWS.get(key), "call"):
        address, body = ROWS[key].call(filled.world)
    if method == "put" and "sessions" in route:
        body = body | {"client": str(filled.cast.client.uid)}
    if "pain-reports" in route and body:
        body = body | {"client": str(filled.cast.client.uid)}
    if route.endswith("sessions/batch"):
        items = [session_body(id="0d7bfb63-6f0f-4f53-a4b8-1a1ecf4f1a11")]
        body = {"client": str(filled.cast.client.uid), "items": items}
    data = None if body is None else json.dumps(body)
    version = Alert.objects.get(uid=filled.ids["alert_id"]).version if "alerts" in route else 1
    if method == "delete" and "sessions" in route:
        version = Session.objects.filter(uid=filled.ids["session_id"]).values_list("version", flat=True)[0]
    headers = {} if method == "put" else {"If-Match": f'"{version}"'}
    return getattr(api, method)(address, data, content_type="application/json", headers=headers)


def test_every_address_in_the_table_exists():
    assert set(SCOPE_OF) <= set(every_route())


def test_every_scope_opens_something():
    assert set(SCOPE_OF.values()) == set(ServiceScope)


def test_with_every_scope_but_its_own_every_address_is_refused(cast, signed_in):
    filled = Filled(cast, signed_in)
    without = {
        scope: holder(cast, *[each for each in ServiceScope if each != scope]) for scope in ServiceScope
    }
    with_all = holder(cast, *ServiceScope)
    for key in every_route():
        api = without[SCOPE_OF[key]] if key in SCOPE_OF else with_all
        answer = call(api, filled, key)
        assert answer.status_code == 403, key
        assert answer.json()["type"] == "/problems/permission_denied", key


def test_with_its_scope_alone_every_address_of_the_table_answers(cast, signed_in):
    filled = Filled(cast, signed_in)
    alone = {scope: holder(cast, scope) for scope in ServiceScope}
    deletions_last = sorted(SCOPE_OF, key=lambda key: key[0] == "delete")
    for key in deletions_last:
        answer = call(alone[SCOPE_OF[key]], filled, key)
        assert answer.status_code in (200, 201, 204), (key, answer.content)


@pytest.mark.parametrize("method", ["options", "head", "trace"])
def test_other_methods_are_no_way_round(cast, method):
    api = holder(cast, ServiceScope.SHEET_READ)
    assert getattr(api, method)(f"{V1}clients").status_code == 403


def test_what_is_not_its_coachs_is_not_there(cast, signed_in):
    filled = Filled(cast, signed_in)
    api = holder(cast, *ServiceScope, coach_uids=(cast.colleague.uid,))
    of_one_client = [key for key in SCOPE_OF if "<" in key[1] and "<slug:code>" not in key[1]]
    for key in of_one_client:
        if "plans/" in key[1] or key[0] == "put":
            continue
        assert call(api, filled, key).status_code == 404, key
    body = session_body(client=str(cast.client.uid))
    assert api.put(f"{V1}sessions/0d7bfb63-6f0f-4f53-a4b8-1a1ecf4f1a12", body).status_code == 404


def test_it_sees_the_clients_of_its_coaches_and_of_nobody_else(cast):
    api = holder(cast, ServiceScope.CLIENTS_READ, coach_uids=(cast.colleague.uid,))
    assert [row["name"] for row in api.get(f"{V1}clients").json()["items"]] == ["Noel Hinge"]
    whole = holder(cast, ServiceScope.CLIENTS_READ).get(f"{V1}clients").json()["items"]
    assert {row["name"] for row in whole} == {"Mira Lift", "Noel Hinge"}


def test_its_sheet_leaves_out_whom_the_coach_only_covers(cast):
    Membership.objects.filter(id=cast.coach.id).update(
        cover=cast.colleague, away_from_on="2026-03-01", away_until_on="2026-03-08"
    )
    AlertFactory(client=cast.client)
    AlertFactory(client=cast.colleagues_client)

    def names(**changes):
        api = holder(cast, ServiceScope.SHEET_READ, **changes)
        sheet = api.get(f"{V1}morning-sheet?coach={cast.colleague.uid}").json()
        return {entry["client_name"] for entry in sheet["entries"]}

    assert names() == {"Mira Lift", "Noel Hinge"}
    assert names(coach_uids=(cast.colleague.uid,)) == {"Noel Hinge"}


def test_it_names_whose_sheet_it_reads(cast, signed_in):
    api = holder(cast, ServiceScope.SHEET_READ, coach_uids=(cast.coach.uid,))
    assert api.get(f"{V1}morning-sheet").status_code == 422
    assert api.get(f"{V1}morning-sheet?coach={cast.colleague.uid}").status_code == 404
    assert api.get(f"{V1}morning-sheet?coach={cast.coach.uid}").json()["coach_name"] == "Carl Coach"
    own = signed_in(cast.coach)
    assert own.get(f"{V1}morning-sheet?coach={cast.coach.uid}").status_code == 200
    assert own.get(f"{V1}morning-sheet?coach={cast.colleague.uid}").status_code == 403


def test_a_red_flag_is_acknowledged_by_a_person(cast):
    alert = AlertFactory(client=cast.client, kind="red_flag")
    api = holder(cast, ServiceScope.ALERTS_WRITE)
    answer = api.post(f"{V1}alerts/{alert.uid}/acknowledgement", headers={"If-Match": '"1"'})
    assert answer.status_code == 403
    assert Alert.objects.get().status == "open"


def test_the_feed_brings_what_its_other_scopes_let_it_read(cast, signed_in):
    Filled(cast, signed_in)

    def kinds(*scopes):
        api = holder(cast, ServiceScope.CHANGES_READ, *scopes)
        return {item["kind"] for item in api.get(f"{V1}changes?page_size=200").json()["items"]}

    assert kinds() == set()
    assert kinds(ServiceScope.SESSIONS_READ) == {"session", "pain_report"}
    assert "clearance" not in kinds(*ServiceScope)


def test_nobody_elses_mark_is_good_for_a_service(cast, signed_in):
    mark = signed_in(cast.owner).get(f"{V1}changes").json()["mark"]
    answer = holder(cast, ServiceScope.CHANGES_READ).get(f"{V1}changes?since={mark}")
    assert answer.status_code == 400


def test_the_trail_names_the_token_and_its_maker(cast, signed_in):
    row, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    address = f"{V1}clients/{cast.client.uid}"
    assert program(token).get(address).status_code == 200
    trail = signed_in(cast.client).get(f"{address}/audit").json()["items"]
    (event,) = (each for each in trail if each["record_kind"] == "client")
    assert (event["who"], event["device_name"]) == ("Olga Owner", "Invented dashboard")
    assert AuditEvent.objects.filter(device_id=row.uid, action="read").count() == 1


def test_a_token_is_shown_once_and_kept_as_a_digest(cast, signed_in):
    owner = signed_in(cast.owner)
    answer = make(owner, coaches=[str(cast.coach.uid)])
    assert answer.status_code == 201
    token, shown = answer.json()["token"], answer.json()["service_token"]
    assert token.startswith("fbrsvc_")
    assert shown["coaches"] == [str(cast.coach.uid)]
    listed = owner.get(f"{V1}service-tokens")
    assert listed.json()["items"] == [shown]
    assert token not in listed.content.decode()
    assert token not in str(ServiceToken.objects.values().get())
    event = AuditEvent.objects.get(record_kind="service_token")
    assert event.detail == {"name": "Wall screen", "scopes": ["sheet:read", "alerts:read"]}


def test_no_line_of_a_log_holds_one(cast):
    _, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    assert token not in str(hide_tokens(None, "", {"event": f"sent {token} along"}))


def test_its_last_use_is_told_to_ten_minutes(cast, time_machine):
    row, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    used = []
    for minutes in (0, 9, 10):
        time_machine.move_to(NOW + timedelta(minutes=minutes), tick=False)
        program(token).get(f"{V1}clients")
        used.append(ServiceToken.objects.get(id=row.id).last_used_at)
    assert used == [NOW, NOW, NOW + timedelta(minutes=10)]


def end_it_by_revoking(cast, row, signed_in):
    assert signed_in(cast.owner).delete(f"{V1}service-tokens/{row.uid}").status_code == 204


def end_it_by_time(cast, row, signed_in):
    ServiceToken.objects.filter(id=row.id).update(expires_at=NOW + timedelta(hours=8))  # it is 20:00


def end_it_by_demotion(cast, row, signed_in):
    Membership.objects.filter(id=cast.owner.id).update(role=Role.COACH)


def end_it_with_its_maker(cast, row, signed_in):
    second = Membership.objects.get(id=cast.colleague.id)
    Membership.objects.filter(id=second.id).update(role=Role.OWNER)
    headers = {"If-Match": '"1"'}
    answer = signed_in(second).delete(f"{V1}memberships/{cast.owner.uid}", headers=headers)
    assert answer.status_code == 204
    assert ServiceToken.objects.get(id=row.id).revoked_at is not None


def end_it_with_the_account(cast, row, signed_in):
    Account.objects.filter(id=cast.owner.account_id).update(is_active=False)


@pytest.mark.parametrize(
    "end",
    [end_it_by_revoking, end_it_by_time, end_it_by_demotion, end_it_with_its_maker, end_it_with_the_account],
)
def test_it_opens_nothing_once_it_has_ended(cast, signed_in, end):
    row, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    api = program(token)
    assert api.get(f"{V1}clients").status_code == 200
    end(cast, row, signed_in)
    assert api.get(f"{V1}clients").status_code == 401


def test_who_has_left_is_nobodys_coach_for_it(cast):
    _, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ], coach_uids=(cast.coach.uid,))
    Membership.objects.filter(id=cast.coach.id).update(left_at=NOW)
    assert program(token).get(f"{V1}clients").json()["items"] == []


@pytest.mark.parametrize("token", ["fbrsvc_", "fbrsvc_" + "a" * 43, "fbrsvc_" + "é"])
def test_a_made_up_token_is_401(db, token):
    assert program(token.encode().decode("latin-1")).get(f"{V1}clients").status_code == 401


@pytest.mark.parametrize(("who", "status"), [("owner", 201), ("coach", 403), ("client", 403)])
def test_who_makes_one(cast, signed_in, who, status):
    assert make(signed_in(getattr(cast, who))).status_code == status


def test_a_service_makes_none(cast):
    assert make(holder(cast, *ServiceScope)).status_code == 403


def test_another_practices_token_is_not_there(cast, signed_in):
    row, _ = service_token(cast.stranger, [ServiceScope.CLIENTS_READ])
    owner = signed_in(cast.owner)
    assert owner.delete(f"{V1}service-tokens/{row.uid}").status_code == 404
    assert owner.get(f"{V1}service-tokens").json()["items"] == []


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"name": ""}, "/name"),
        ({"name": "x" * 81}, "/name"),
        ({"scopes": []}, "/scopes"),
        ({"scopes": ["everything"]}, "/scopes/0"),
        ({"scopes": "sheet:read"}, "/scopes"),
        ({"expires_at": "2026-03-02T20:00:00Z"}, "/expires_at"),
        ({"expires_at": "2027-03-02T20:00:01Z"}, "/expires_at"),
        ({"coaches": []}, "/coaches"),
        ({"coaches": ["11111111-1111-4111-8111-111111111111"]}, "/coaches/0"),
        ({"coaches": "all"}, "/coaches"),
        ({"role": "owner"}, "/role"),
    ],
)
def test_a_bad_wish_is_422_at_its_field(cast, signed_in, changes, pointer):
    answer = make(signed_in(cast.owner), **changes)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not ServiceToken.objects.exists()


def test_a_stranger_is_no_coach_of_the_practice(cast, signed_in):
    answer = make(signed_in(cast.owner), coaches=[str(cast.stranger.uid)])
    assert answer.status_code == 422


def test_a_practice_has_fifty_at_most(cast, signed_in):
    for _ in range(50):
        service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    assert make(signed_in(cast.owner)).status_code == 409


def test_the_document_names_the_scope_of_each_address(client):
    document = client.get("/api/v1/schema?format=json").json()
    named = {
        security["serviceToken"][0]
        for methods in document["paths"].values()
        for operation in methods.values()
        for security in operation.get("security", [])
        if "serviceToken" in security
    }
    assert named == set(ServiceScope.values)
    sheet = document["paths"]["/api/v1/morning-sheet"]["get"]["security"]
    assert sheet == [{"deviceToken": []}, {"serviceToken": ["sheet:read"]}]
    assert document["paths"]["/api/v1/webhooks"]["get"]["security"] == [{"deviceToken": []}]


def test_the_number_of_queries_does_not_grow_with_its_coaches(cast):
    ClientFactory.create_batch(3, coach=cast.coach)

    def asked(*coaches):
        api = holder(cast, ServiceScope.CLIENTS_READ, coach_uids=tuple(coach.uid for coach in coaches))
        api.get(f"{V1}clients")
        with CaptureQueriesContext(connection) as captured:
            seen = len(api.get(f"{V1}clients").json()["items"])
        return seen, len(captured)

    assert (asked(cast.colleague)[0], asked(cast.coach, cast.colleague)[0]) == (1, 5)
    assert asked(cast.colleague)[1] == asked(cast.coach, cast.colleague)[1]
