"""RFC 9110, sections 8.8.3.2, 13.1 and 13.2.2, on the reads of this service."""

import re
from pathlib import Path

import pytest
import yaml

from api.conditional import is_named_strongly, is_named_weakly
from coaching.models import AuditEvent
from tests.api.rows_of_routes import MADE_ANEW, OWNERS, add_rows, address_of, furnish, get_routes
from tests.bodies import version_of
from tests.factories import NOW, AlertFactory

DOCUMENT = Path(__file__).parents[2] / "api" / "openapi.yaml"
# Not made by an `Endpoint`: the probes of machines, and the document with its page.
PLAIN = {"healthz", "readyz", "metrics", "problems/<slug:code>", "api/v1/schema", "api/v1/docs"}


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


@pytest.fixture
def alert(cast):
    return AlertFactory(client=cast.client)


# RFC 9110, 8.8.3.2: the table of examples, ETag 1, ETag 2, strong comparison, weak comparison.
@pytest.mark.parametrize(
    ("one", "other", "strong", "weak"),
    [
        ('W/"1"', 'W/"1"', False, True),
        ('W/"1"', 'W/"2"', False, False),
        ('W/"1"', '"1"', False, True),
        ('"1"', '"1"', True, True),
    ],
)
def test_tags_compare_as_in_the_table_of_rfc_9110_8_8_3_2(one, other, strong, weak):
    assert (is_named_strongly(one, [other]), is_named_weakly(one, [other])) == (strong, weak)
    assert (is_named_strongly(other, [one]), is_named_weakly(other, [one])) == (strong, weak)


# RFC 9110, 13.1.2: its examples are a tag, a weak tag, lists of both, and an asterisk.
@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ('"1"', 304),
        ('W/"1"', 304),
        ('"xyzzy", "1", "c3piozzzz"', 304),
        ('W/"xyzzy",W/"1" , W/"c3piozzzz"', 304),
        ("*", 304),
        ('"xyzzy"', 200),
        ('"xyzzy", "r2d2xxxx", "c3piozzzz"', 200),
        ("1", 200),  # no entity tag
        ("", 200),
    ],
)
def test_if_none_match_takes_a_list_weak_tags_and_an_asterisk(coach, alert, sent, status):
    address = f"/api/v1/alerts/{alert.uid}"
    tag = coach.get(address)["ETag"]
    answer = coach.get(address, HTTP_IF_NONE_MATCH=sent.replace('"1"', tag))
    assert (answer.status_code, answer["ETag"], answer.content == b"") == (status, tag, status == 304)


# RFC 9110, 13.2.2: If-Match before If-None-Match, which takes the place of If-Modified-Since.
@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"If-Match": '"1"'}, 200),
        ({"If-Match": "*"}, 200),
        ({"If-Match": '"2"'}, 412),
        ({"If-Match": 'W/"1"'}, 412),  # 13.1.1: strong comparison
        ({"If-Match": '"2"', "If-None-Match": '"1"'}, 412),
        ({"If-Match": '"1"', "If-None-Match": '"1"'}, 304),
        ({"If-Match": '"1"', "If-None-Match": '"2"'}, 200),
        ({"If-None-Match": '"2"', "If-Modified-Since": "Mon, 02 Mar 2099 12:00:00 GMT"}, 200),
        ({"If-Modified-Since": "Mon, 02 Mar 2099 12:00:00 GMT"}, 200),  # 13.1.3: no date here to hold it to
        ({"If-None-Match": '"1"', "If-Modified-Since": "Mon, 02 Mar 1998 12:00:00 GMT"}, 304),
    ],
)
def test_preconditions_are_looked_at_in_the_order_of_rfc_9110_13_2_2(coach, alert, sent, status):
    address = f"/api/v1/alerts/{alert.uid}"
    tag = coach.get(address)["ETag"]
    answer = coach.get(address, headers={name: value.replace('"1"', tag) for name, value in sent.items()})
    assert answer.status_code == status
    if status == 412:
        assert (answer["Content-Type"], answer.json()["type"]) == (
            "application/problem+json",
            "/problems/stale_version",
        )


# RFC 9110, 13.2.1: preconditions are ignored where the answer without them would be no success.
@pytest.mark.parametrize("sent", [{"If-None-Match": "*"}, {"If-Match": '"7"'}])
def test_what_is_not_there_is_not_there_whatever_the_precondition(coach, cast, sent):
    hidden = AlertFactory(client=cast.strangers_client)
    assert coach.get(f"/api/v1/alerts/{hidden.uid}", headers=sent).status_code == 404
    assert coach.get("/api/v1/alerts?colour=red", headers=sent).status_code == 400


def test_every_get_has_a_tag_and_leaves_the_body_out_for_who_holds_it(cast, coach, signed_in):
    place, owner = furnish(cast), signed_in(cast.owner)
    add_rows(place, coach, 0, 1)
    for route in set(get_routes()) - PLAIN - MADE_ANEW:
        address = address_of(route, place)
        reader = owner if route.startswith(OWNERS) else coach
        whole = reader.get(address)
        assert whole.status_code == 200, (route, whole.content)
        assert re.fullmatch(r'(W/)?"[^"]+"', whole["ETag"]), route
        held = reader.get(address, HTTP_IF_NONE_MATCH=f'"other", {whole["ETag"]}')
        assert (held.status_code, held.content, held["ETag"]) == (304, b"", whole["ETag"]), route
        assert "Content-Length" not in held, route  # 8.6: it would be that of the body left out
        if whole["Content-Type"] == "application/json":
            head = reader.head(address)
            assert (head.status_code, head.content, head["ETag"]) == (200, b"", whole["ETag"]), route


def test_a_list_has_another_tag_once_a_row_is_added_or_changed(cast, coach, alert):
    tags = [coach.get("/api/v1/alerts")["ETag"]]
    AlertFactory(client=cast.client, target="hip:left")
    tags.append(coach.get("/api/v1/alerts")["ETag"])
    coach.post(f"/api/v1/alerts/{alert.uid}/acknowledgement", headers={"If-Match": '"1"'})
    tags.append(coach.get("/api/v1/alerts")["ETag"])
    assert len(set(tags)) == 3
    assert all(tag.startswith('W/"') for tag in tags)


def test_rows_of_others_leave_the_tag_of_a_list_alone(cast, coach, alert):
    before = coach.get("/api/v1/alerts")["ETag"]
    AlertFactory(client=cast.strangers_client)
    assert coach.get("/api/v1/alerts", HTTP_IF_NONE_MATCH=before).status_code == 304


@pytest.mark.parametrize("address", ["/api/v1/alerts", "/api/v1/clients/{client}/sessions"])
def test_a_read_that_ends_in_304_is_on_the_trail_all_the_same(cast, coach, alert, address):
    AuditEvent.objects.all().delete()
    answer = coach.get(address.format(client=cast.client.uid), HTTP_IF_NONE_MATCH="*")
    assert answer.status_code == 304
    event = AuditEvent.objects.get()
    assert (event.action, event.subject_key) == ("read", cast.client.audit_key)


def test_a_post_takes_no_notice_of_if_none_match(coach, alert):
    answer = coach.post(
        f"/api/v1/alerts/{alert.uid}/acknowledgement", headers={"If-Match": '"1"', "If-None-Match": "*"}
    )
    assert (answer.status_code, version_of(answer)) == (200, '"2"')


def test_the_document_tells_of_tags_and_304_on_every_get_and_of_fields_where_the_answer_is_json():
    reads = [
        paths["get"] for paths in yaml.safe_load(DOCUMENT.read_text())["paths"].values() if "get" in paths
    ]
    assert len(reads) == len(set(get_routes()) - PLAIN)
    for read in reads:
        name, answers = read["operationId"], read["responses"]
        asked = {(each["in"], each["name"]) for each in read["parameters"]}
        if name == "client_export":  # no two are the same
            assert ("header", "If-None-Match") not in asked and "304" not in answers
            continue
        assert ("header", "If-None-Match") in asked, name
        assert "ETag" in answers["200"]["headers"] and "ETag" in answers["304"]["headers"], name
        assert "content" not in answers["304"], name
        is_json = "application/json" in answers["200"]["content"]
        assert (("query", "fields") in asked) == is_json, name
        is_list = ("query", "cursor") in asked
        assert ("Link" in answers["200"]["headers"]) == is_list == (("query", "ordering") in asked), name
