"""Clients over HTTP: who sees whom, what a client sees of themselves, and edits that name their version."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import AuditEvent, Client
from tests.bodies import version_of
from tests.factories import NOW, ClientFactory

MERGE_PATCH = "application/merge-patch+json"


def address(client, *more):
    return "/".join(["/api/v1/clients", str(client.uid), *more])


def patch(api, client, body, version=1, **headers):
    return api.patch(address(client), body, HTTP_IF_MATCH=f'"{version}"', **headers)


def create(api, **body):
    return api.post("/api/v1/clients", {"name": "Nia Newcomer"} | body)


def pointers(answer):
    return [fault["pointer"] for fault in answer.json()["errors"]]


def test_a_coach_adds_a_client_who_follows_the_practice(cast, signed_in):
    answer = create(signed_in(cast.coach))
    row = Client.objects.get(name="Nia Newcomer")
    assert answer.status_code == 201
    assert version_of(answer) == '"1"'
    assert answer.json() == {
        "id": str(row.uid),
        "name": "Nia Newcomer",
        "coach": str(cast.coach.uid),
        "coach_name": "Carl Coach",
        "last_posted_at": None,
        "archived_at": None,
        "zone": "Europe/Berlin",
        "country": "DE",
        "emergency_text": "112",
        "birth_on": None,
        "guardian": "",
        "emergency_contact": "",
        "training_status": "novice",
        "training_status_on": None,
        "progression_rule": "double_progression",
        "load_unit": "kg",
        "created_at": answer.json()["created_at"],
        "version": 1,
        "private_note": "",
        "has_account": False,
    }


def test_a_client_abroad_gets_the_number_of_their_country(cast, signed_in):
    answer = create(signed_in(cast.coach), country="GB", zone="Europe/London")
    assert answer.json()["emergency_text"] == "999 or 112"


def test_the_owner_may_name_the_coach(cast, signed_in):
    answer = create(signed_in(cast.owner), coach=str(cast.coach.uid))
    assert answer.json()["coach_name"] == "Carl Coach"


def test_a_coach_may_not_name_another(cast, signed_in):
    assert create(signed_in(cast.coach), coach=str(cast.colleague.uid)).status_code == 403


def test_a_coach_of_another_practice_is_unknown(cast, signed_in):
    answer = create(signed_in(cast.owner), coach=str(cast.stranger.uid))
    assert (answer.status_code, pointers(answer)) == (422, ["/coach"])


def test_a_client_adds_nobody(cast, signed_in):
    assert create(signed_in(cast.client)).status_code == 403


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"name": ""}, "/name"),
        ({"name": "x" * 121}, "/name"),
        ({"name": 5}, "/name"),
        ({"zone": "Mars/Base"}, "/zone"),
        ({"zone": "../../etc/passwd"}, "/zone"),
        ({"country": "de"}, "/country"),
        ({"country": "D"}, "/country"),
        ({"birth_on": "2200-01-01"}, "/birth_on"),
        ({"birth_on": "2090-01-01"}, "/birth_on"),
        ({"birth_on": "1899-12-31"}, "/birth_on"),
        ({"birth_on": "2024-02-30"}, "/birth_on"),
        ({"birth_on": "2020-01-01"}, "/guardian"),
        ({"training_status": "expert"}, "/training_status"),
        ({"training_status_on": "2090-01-01"}, "/training_status_on"),
        ({"progression_rule": "whenever"}, "/progression_rule"),
        ({"load_unit": "stone"}, "/load_unit"),
        ({"emergency_text": "x" * 201}, "/emergency_text"),
        ({"private_note": "x" * 2001}, "/private_note"),
        ({"guardian": "x" * 201}, "/guardian"),
        ({"emergency_contact": ["x"]}, "/emergency_contact"),
        ({"coach": "7"}, "/coach"),
        ({"archived": True}, "/archived"),
        ({"practice": "7"}, "/practice"),
        ({"version": 7}, "/version"),
    ],
)
def test_a_bad_client_is_422_at_its_field(cast, signed_in, body, pointer):
    before = Client.objects.count()
    answer = create(signed_in(cast.coach), **body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert Client.objects.count() == before


def test_a_minor_with_a_guardian_is_accepted(cast, signed_in):
    answer = create(signed_in(cast.coach), birth_on="2020-01-01", guardian="Gerda Guardian")
    assert answer.status_code == 201


@pytest.mark.parametrize(
    ("who", "status"),
    [("coach", 200), ("owner", 200), ("client", 200), ("colleague", 404), ("stranger", 404)],
)
def test_who_sees_a_client(cast, signed_in, who, status):
    assert signed_in(getattr(cast, who)).get(address(cast.client)).status_code == status


def test_a_colleague_sees_all_clients_where_the_practice_says_so(cast, signed_in):
    cast.practice.coaches_see_all_clients = True
    cast.practice.save()
    assert signed_in(cast.colleague).get(address(cast.client)).status_code == 200


def test_a_cover_sees_the_clients(cast, signed_in):
    cast.coach.cover = cast.colleague
    cast.coach.save()
    assert signed_in(cast.colleague).get(address(cast.client)).status_code == 200


def test_a_client_does_not_see_another_of_the_same_coach(cast, signed_in):
    other = ClientFactory(coach=cast.coach)
    assert signed_in(cast.client).get(address(other)).status_code == 404


def test_not_yours_and_not_there_answer_alike(cast, signed_in):
    api = signed_in(cast.colleague)
    uid = str(cast.client.uid)
    missing = "00000000-0000-4000-8000-000000000001"
    hidden = api.get(f"/api/v1/clients/{uid}").content.decode().replace(uid, "x")
    absent = api.get(f"/api/v1/clients/{missing}").content.decode().replace(missing, "x")
    assert hidden == absent


def test_a_client_never_sees_the_private_note(cast, signed_in):
    Client.objects.filter(id=cast.client.id).update(private_note="Talks a lot.")
    mine = signed_in(cast.client).get(address(cast.client))
    assert "private_note" not in mine.json()
    assert b"Talks" not in mine.content
    assert signed_in(cast.coach).get(address(cast.client)).json()["private_note"] == "Talks a lot."


def test_a_known_version_is_304(cast, signed_in):
    coach = signed_in(cast.coach)
    known = coach.get(address(cast.client))["ETag"]
    answer = coach.get(address(cast.client), HTTP_IF_NONE_MATCH=f"W/{known}")
    assert answer.status_code == 304


def test_a_read_is_on_the_trail_once_an_hour_even_as_304(cast, signed_in):
    api = signed_in(cast.coach)
    known = api.get(address(cast.client))["ETag"]
    assert api.get(address(cast.client), HTTP_IF_NONE_MATCH=known).status_code == 304
    reads = AuditEvent.objects.filter(action="read", subject_key=cast.client.audit_key)
    assert 1 <= reads.count() <= 2  # two, if the hour turns between the calls
    assert {row.record_kind for row in reads} == {"client"}


@pytest.mark.parametrize(
    ("who", "names"),
    [
        ("coach", ["Mira Lift"]),
        ("owner", ["Noel Hinge", "Mira Lift"]),
        ("client", ["Mira Lift"]),
        ("stranger", ["Edda Press"]),
    ],
)
def test_the_list_holds_whom_you_may_see(cast, signed_in, who, names):
    items = signed_in(getattr(cast, who)).get("/api/v1/clients").json()["items"]
    assert [item["name"] for item in items] == names


def test_a_line_of_the_list_holds_no_more_than_is_needed_to_find_them(cast, signed_in):
    item = signed_in(cast.coach).get("/api/v1/clients").json()["items"][0]
    assert set(item) == {"id", "name", "coach", "coach_name", "last_posted_at", "archived_at"}


def test_those_who_left_are_listed_apart(cast, signed_in):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    api = signed_in(cast.owner)
    gone = api.get("/api/v1/clients?archived=true").json()["items"]
    assert [item["name"] for item in gone] == ["Mira Lift"]
    assert "Mira Lift" not in api.get("/api/v1/clients").content.decode()


@pytest.mark.parametrize("query", ["archived=yes", "archived=true&archived=false", "q=1", "page_size=0"])
def test_a_bad_query_is_400(cast, signed_in, query):
    assert signed_in(cast.coach).get(f"/api/v1/clients?{query}").status_code == 400


def test_the_list_is_paged(cast, signed_in):
    ClientFactory.create_batch(2, coach=cast.coach)
    api = signed_in(cast.coach)
    first = api.get("/api/v1/clients?page_size=2").json()
    second = api.get(first["next"]).json()
    assert [len(first["items"]), len(second["items"]), second["next"]] == [2, 1, None]


def test_more_clients_cost_no_more_queries(cast, signed_in):
    api = signed_in(cast.coach)
    api.get("/api/v1/clients")
    with CaptureQueriesContext(
        connection,
    ) as few:
        api.get("/api/v1/clients")
    ClientFactory.create_batch(5, coach=cast.coach)
    with CaptureQueriesContext(connection) as many:
        api.get("/api/v1/clients")
    assert len(many) == len(few)


def test_a_coach_edits_what_they_name_and_nothing_else(cast, signed_in):
    answer = patch(
        signed_in(cast.coach), cast.client, {"training_status": "advanced", "birth_on": "1990-05-01"}
    )
    assert (answer.status_code, version_of(answer), answer.json()["version"]) == (200, '"2"', 2)
    row = Client.objects.get(id=cast.client.id)
    assert (row.training_status, str(row.birth_on), row.name) == ("advanced", "1990-05-01", "Mira Lift")


def test_null_clears_a_date(cast, signed_in):
    api = signed_in(cast.coach)
    patch(api, cast.client, {"birth_on": "1990-05-01"})
    assert patch(api, cast.client, {"birth_on": None}, 2).json()["birth_on"] is None


def test_an_emptied_emergency_text_is_the_practices_again(cast, signed_in):
    answer = patch(signed_in(cast.coach), cast.client, {"emergency_text": ""})
    assert answer.json()["emergency_text"] == "112"


def test_a_merge_patch_may_say_what_it_is(cast, signed_in):
    answer = signed_in(cast.coach).patch(
        address(cast.client), b'{"name":"Mira Press"}', content_type=MERGE_PATCH, HTTP_IF_MATCH='"1"'
    )
    assert answer.json()["name"] == "Mira Press"


def test_an_edit_without_a_version_is_428(cast, signed_in):
    assert signed_in(cast.coach).patch(address(cast.client), {"name": "x"}).status_code == 428


def test_a_stale_edit_is_412_and_changes_nothing(cast, signed_in):
    assert patch(signed_in(cast.coach), cast.client, {"name": "x"}, 7).status_code == 412
    assert Client.objects.get(id=cast.client.id).name == "Mira Lift"


@pytest.mark.parametrize(
    ("who", "status"), [("client", 403), ("colleague", 404), ("stranger", 404), ("owner", 200)]
)
def test_who_edits_a_client(cast, signed_in, who, status):
    assert patch(signed_in(getattr(cast, who)), cast.client, {"name": "x"}).status_code == status


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"name": None}, "/name"),
        ({"zone": ""}, "/zone"),
        ({"country": "xx"}, "/country"),
        ({"birth_on": "2020-01-01"}, "/guardian"),
        ({"archived": "yes"}, "/archived"),
        ({"audit_key": "x"}, "/audit_key"),
        ({"version": 9}, "/version"),
    ],
)
def test_a_bad_edit_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = patch(signed_in(cast.coach), cast.client, body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert Client.objects.get(id=cast.client.id).version == 1


def test_an_archived_client_is_out_on_every_device(cast, signed_in):
    theirs = signed_in(cast.client)
    answer = patch(signed_in(cast.coach), cast.client, {"archived": True})
    assert answer.json()["archived_at"] is not None
    assert theirs.get("/api/v1/me").status_code == 401


def test_an_archived_client_can_come_back(cast, signed_in):
    api = signed_in(cast.coach)
    patch(api, cast.client, {"archived": True})
    assert patch(api, cast.client, {"archived": False}, 2).json()["archived_at"] is None


def test_the_owner_hands_a_client_over(cast, signed_in):
    answer = patch(signed_in(cast.owner), cast.client, {"coach": str(cast.colleague.uid)})
    assert answer.json()["coach_name"] == "Cleo Colleague"
    assert signed_in(cast.coach).get(address(cast.client)).status_code == 404
    assert signed_in(cast.colleague).get(address(cast.client)).status_code == 200


def test_a_coach_does_not_hand_over(cast, signed_in):
    assert patch(signed_in(cast.coach), cast.client, {"coach": str(cast.colleague.uid)}).status_code == 403


def test_an_edit_is_on_the_trail_with_its_fields_and_without_their_content(cast, signed_in):
    patch(signed_in(cast.coach), cast.client, {"private_note": "Talks a lot."})
    event = AuditEvent.objects.get(action="update")
    assert event.detail == {"fields": ["private_note"]}
    assert event.subject_key == cast.client.audit_key


def test_the_trail_names_who_and_what_and_the_device(cast, signed_in):
    patch(signed_in(cast.coach), cast.client, {"name": "Mira Press"})
    item = (
        signed_in(cast.coach).get(address(cast.client, "audit"), {"record_kind": "client"}).json()["items"][0]
    )
    assert item == {
        "at": item["at"],
        "who": "Carl Coach",
        "device_name": "test device",
        "action": "update",
        "record_kind": "client",
        "record_id": str(cast.client.uid),
    }


@pytest.mark.parametrize(("who", "status"), [("coach", 200), ("colleague", 404), ("stranger", 404)])
def test_who_reads_the_trail(cast, signed_in, who, status):
    assert signed_in(getattr(cast, who)).get(address(cast.client, "audit")).status_code == status


def test_a_coach_chooses_the_rule_of_progression_and_the_unit(cast, signed_in):
    body = {"progression_rule": "two_for_two", "load_unit": "lb"}
    answer = patch(signed_in(cast.coach), cast.client, body)
    assert (answer.status_code, answer.json() | body) == (200, answer.json())
    assert create(signed_in(cast.coach), **body).json()["load_unit"] == "lb"


def test_a_client_chooses_the_unit_of_their_loads(cast, signed_in):
    answer = patch(signed_in(cast.client), cast.client, {"load_unit": "lb"})
    assert (answer.status_code, answer.json()["load_unit"], version_of(answer)) == (200, "lb", '"2"')
    assert "private_note" not in answer.json()


@pytest.mark.parametrize(
    "body", [{}, {"progression_rule": "two_for_two"}, {"load_unit": "lb", "progression_rule": "two_for_two"}]
)
def test_a_client_chooses_nothing_else(cast, signed_in, body):
    assert patch(signed_in(cast.client), cast.client, body).status_code == 403
    row = Client.objects.get(id=cast.client.id)
    assert (row.load_unit, row.progression_rule, row.version) == ("kg", "double_progression", 1)
