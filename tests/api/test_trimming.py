import re

import pytest

from api.trimming import SAFETY_WORDS, names_of
from tests.api.rows_of_routes import get_routes
from tests.bodies import pain_body, session_body
from tests.factories import NOW, AlertFactory

# Names that sound like safety and are none: who was asked when, and what stands in a list of its own.
NOT_SAFETY = {"asked_after", "restriction", "worth_asking", "stress", "stress_before", "stress_after"}
SOUNDS_LIKE_SAFETY = re.compile(
    r"caution|refer_out|urgen|emergency_text|review_note|blocked|flag|verdict|symptoms"
)


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


@pytest.fixture
def session_id(cast, signed_in):
    uid = "8d5f2c2e-51c4-4f07-9a54-0d2f1b0f6a11"
    body = session_body(pain_reports=[pain_body(id="8d5f2c2e-51c4-4f07-9a54-0d2f1b0f6a12")])
    assert signed_in(cast.client).put(f"/api/v1/sessions/{uid}", body, format="json").status_code == 201
    return uid


def test_a_record_is_trimmed_to_what_is_asked_for_and_keeps_its_id(coach, session_id):
    whole = coach.get(f"/api/v1/sessions/{session_id}").json()
    answer = coach.get(f"/api/v1/sessions/{session_id}?fields=performed_at,sets.load")
    row = whole["sets"][0]
    assert answer.json() == {
        "id": session_id,
        "performed_at": whole["performed_at"],
        "sets": [{"id": row["id"], "load": 100.0, "to_confirm": False}],
    }


def test_of_a_list_the_items_are_trimmed_and_a_path_leads_into_each_of_theirs(cast, coach, session_id):
    answer = coach.get(f"/api/v1/clients/{cast.client.uid}/sessions?fields=sets.exercise,note").json()
    assert set(answer) == {"items", "next"}
    assert [set(item) for item in answer["items"]] == [{"id", "sets", "note"}]
    assert set(answer["items"][0]["sets"][0]) == {"id", "exercise", "to_confirm"}


def test_who_asks_for_the_whole_of_something_gets_it_whatever_else_is_asked_of_it(coach, session_id):
    whole = coach.get(f"/api/v1/sessions/{session_id}").json()["sets"]
    for fields in ("sets,sets.load", "sets.load,sets"):
        assert coach.get(f"/api/v1/sessions/{session_id}?fields={fields}").json()["sets"] == whole


def test_a_pain_report_keeps_its_symptoms_and_an_alert_its_caution_and_who_to_see(cast, coach, session_id):
    AlertFactory(client=cast.client)
    alert = coach.get("/api/v1/alerts?fields=target").json()["items"][0]
    assert set(alert) == {"id", "target", "status", "caution", "refer_out", "withdrawal_asked_at"}
    assert alert["caution"] and alert["refer_out"]
    report = coach.get(f"/api/v1/clients/{cast.client.uid}/pain-reports?fields=pain").json()["items"][0]
    assert set(report) == {"id", "pain", "symptoms"}


def test_the_sheet_keeps_what_must_be_said(coach):
    assert set(coach.get("/api/v1/morning-sheet?fields=sheet_on").json()) == {
        "sheet_on",
        "unscored",
        "to_confirm",
        "urgency_review_note",
    }


def test_below_what_has_names_of_its_own_any_name_may_be_asked_for(coach, cast):
    AlertFactory(client=cast.client, evidence={"pain": 4, "weeks": 3})
    item = coach.get("/api/v1/alerts?fields=evidence.pain").json()["items"][0]
    assert item["evidence"] == {"pain": 4}


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        (
            "colour",
            "colour is not known here; known: client, ended_at, id, note, pain_reports,",
        ),
        ("sets.colour", "colour is not known below sets; known: duration_s, ended_by, exercise,"),
        ("id.of", "of is not known below id; known: nothing."),
    ],
)
def test_an_unknown_name_is_answered_with_the_known_ones(cast, coach, fields, named):
    answer = coach.get(f"/api/v1/clients/{cast.client.uid}/sessions?fields={fields}")
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/unknown_field")
    assert answer.json()["detail"].startswith(f"fields: {named}")


@pytest.mark.parametrize(
    "query",
    [
        "fields=",
        "fields=id,",
        "fields=.id",
        "fields=id..of",
        "fields=id&fields=note",
        "fields=%00",
        "fields=%C3%A9",
        "fields=id%20,note",
        f"fields={'id,' * 400}id",
        f"fields={'.'.join(['sets'] * 9)}",
    ],
)
def test_fields_that_cannot_be_read_are_refused(coach, cast, query):
    assert coach.get(f"/api/v1/clients/{cast.client.uid}/sessions?{query}").status_code == 400


def test_pictures_and_files_are_not_trimmed(coach, cast):
    answer = coach.get(f"/api/v1/clients/{cast.client.uid}/adherence/picture.svg?fields=id")
    assert (answer.status_code, answer.json()["detail"]) == (400, "fields: This key is not known here.")


def test_a_trimmed_answer_has_a_tag_of_its_own_content(coach, cast):
    alert = AlertFactory(client=cast.client)
    trimmed = coach.get("/api/v1/alerts?fields=target")["ETag"]
    assert trimmed != coach.get("/api/v1/alerts")["ETag"]
    alert.sentence = "Another sentence."
    alert.save()
    assert coach.get("/api/v1/alerts?fields=target", HTTP_IF_NONE_MATCH=trimmed).status_code == 304


def every_name(names):
    for name, below in (names or {}).items():
        yield name
        yield from every_name(below)


def test_whatever_sounds_like_safety_in_any_answer_is_always_kept():
    found = set()
    for view in get_routes().values():
        if hasattr(view, "view_class"):
            found |= set(every_name(names_of(view.view_class)))
    assert {name for name in found if SOUNDS_LIKE_SAFETY.search(name)} <= SAFETY_WORDS | NOT_SAFETY
