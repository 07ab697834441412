"""Pain reports over HTTP: stored once, on the right day, with the urgent answer and the coded questions."""

import uuid

import pytest

from coaching.compute.evidence import CAUTION
from coaching.compute.red_flags import SIGN_OFF
from coaching.compute.symptoms import FOLLOW_UPS, SYMPTOMS
from coaching.models import Alert, AuditEvent, JointDay, MailRow, PainReport
from tests.bodies import pain_body, session_body, version_of
from tests.factories import ClientFactory, InjuryFactory


@pytest.fixture(autouse=True)
def evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def put(api, body, uid=None):
    return api.put(f"/api/v1/pain-reports/{uid or uuid.uuid4()}", body, format="json")


def pointers(answer):
    assert answer.status_code == 422, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    return [fault["pointer"] for fault in answer.json()["errors"]]


def test_new_report_is_created_and_answered_whole(app):
    uid = uuid.uuid4()
    answer = put(app, pain_body(note="On the\nway down.", explanation="Knelt on it all day."), uid)
    assert answer.status_code == 201
    assert answer.json() == {
        "pain_report": {
            "id": str(uid),
            "joint": "knee",
            "side": "left",
            "other_site": "",
            "moment": "during",
            "pain": 2,
            "symptoms": {},
            "note": "On the\nway down.",
            "explanation": "Knelt on it all day.",
            "reported_at": "2026-03-02T17:40:00Z",
            "felt_on": "2026-03-02",
            "session": None,
            "version": 1,
        },
        "urgent": [],
    }
    assert app.get(f"/api/v1/pain-reports/{uid}").json() == answer.json()["pain_report"]


def test_same_report_again_answers_200_and_writes_nothing(app):
    uid = uuid.uuid4()
    put(app, pain_body(), uid)
    events = AuditEvent.objects.count()
    again = put(app, pain_body(reported_at="2026-03-02T17:40:00Z"), uid)
    assert again.status_code == 200
    assert (PainReport.objects.count(), AuditEvent.objects.count()) == (1, events)


def test_other_content_under_the_same_id_is_a_conflict(app):
    uid = uuid.uuid4()
    put(app, pain_body(pain=2), uid)
    answer = put(app, pain_body(pain=3), uid)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/conflict")
    assert PainReport.objects.get().pain == 2


def test_writing_is_on_the_audit_trail(cast, app):
    uid = uuid.uuid4()
    put(app, pain_body(), uid)
    event = AuditEvent.objects.get(record_kind="pain_report")
    assert (event.action, event.record_id, event.subject_key) == ("create", str(uid), cast.client.audit_key)


def test_next_morning_belongs_to_the_day_before(app):
    answer = put(app, pain_body(moment="next_morning", reported_at="2026-03-02T07:00:00+01:00"))
    assert answer.json()["pain_report"]["felt_on"] == "2026-03-01"


@pytest.mark.parametrize(
    ("reported_at", "felt_on"),
    [("2026-03-01T23:30:00Z", "2026-03-02"), ("2026-03-01T22:30:00Z", "2026-03-01")],
)
def test_day_is_the_day_where_the_client_lives(app, reported_at, felt_on):
    assert put(app, pain_body(reported_at=reported_at)).json()["pain_report"]["felt_on"] == felt_on


@pytest.mark.parametrize("moment", ["after", "next_morning"])
def test_report_of_a_session_belongs_to_the_sessions_day(app, moment):
    session = str(uuid.uuid4())
    app.put(f"/api/v1/sessions/{session}", session_body(pain_reports=[]), format="json")
    body = pain_body(session=session, moment=moment, reported_at="2026-03-03T09:00:00+01:00")
    assert put(app, body).json()["pain_report"]["felt_on"] == "2026-03-02"


def test_session_that_is_not_the_clients_is_pointed_at(cast, app, signed_in):
    session = str(uuid.uuid4())
    other = signed_in(cast.colleagues_client)
    other.put(f"/api/v1/sessions/{session}", session_body(), format="json")
    assert pointers(put(app, pain_body(session=session))) == ["/session"]


def test_report_for_a_deleted_session_is_gone(app):
    session = str(uuid.uuid4())
    app.put(f"/api/v1/sessions/{session}", session_body(), format="json")
    app.delete(f"/api/v1/sessions/{session}", HTTP_IF_MATCH='"1"')
    assert put(app, pain_body(session=session)).status_code == 410


def test_red_flag_is_answered_at_once_with_instruction_and_caution(cast, app):
    uid = uuid.uuid4()
    answer = put(app, pain_body(symptoms={"saddle_numbness_or_bladder": "yes", "night_pain": "no"}), uid)
    assert answer.status_code == 201
    (urgent,) = answer.json()["urgent"]
    assert urgent["kind"] == "red_flag"
    assert (urgent["pain_report"], urgent["urgency"]) == (str(uid), "emergency")
    assert urgent["symptoms"] == ["saddle_numbness_or_bladder"]
    assert urgent["instruction"].startswith("Stop the session now and do not load anything.")
    assert cast.client.emergency_text in urgent["instruction"]
    assert urgent["caution"] == CAUTION
    assert Alert.objects.get().kind == "red_flag"


def test_no_suspicion_is_told_to_the_client(app):
    text = put(app, pain_body(symptoms={"swollen_calf": "yes"})).content.decode()
    text += app.get("/api/v1/alerts").content.decode()
    assert SYMPTOMS["swollen_calf"].suspicion not in text


def test_pain_at_the_sites_limit_is_urgent(cast, app):
    InjuryFactory(client=cast.client, pain_limit=4)
    assert [row["kind"] for row in put(app, pain_body(pain=4)).json()["urgent"]] == ["pain_limit"]
    assert put(app, pain_body(pain=3)).json()["urgent"] == []


def test_severe_pain_without_a_cause_is_answered_at_once(cast, app):
    (urgent,) = put(app, pain_body(moment="at_rest", pain=8)).json()["urgent"]
    assert (urgent["kind"], urgent["urgency"]) == ("red_flag", "clinician_review")
    assert urgent["symptoms"] == ["pain_jump"]
    assert urgent["instruction"].startswith("Do not train the region until a licensed clinician")
    assert urgent["caution"] == CAUTION


def test_severe_pain_with_a_blank_cause_is_unexplained(app):
    assert len(put(app, pain_body(moment="at_rest", pain=8, explanation="  ")).json()["urgent"]) == 1
    assert (
        put(app, pain_body(side="right", moment="at_rest", pain=8, explanation="Fell.")).json()["urgent"]
        == []
    )


@pytest.mark.parametrize("answer", ["no", "not_answered"])
def test_no_answer_and_no_raise_nothing(app, answer):
    assert put(app, pain_body(symptoms={"swollen_calf": answer})).json()["urgent"] == []
    assert not Alert.objects.exists()


def test_other_site_is_kept_with_its_name_and_never_rolled_up(app):
    answer = put(app, pain_body(joint="other", side="left", other_site="Left rib"))
    assert answer.json()["pain_report"]["other_site"] == "Left rib"
    assert not JointDay.objects.exists()


BAD = [
    ("/joint", {"joint": "tail"}),
    ("/joint", {"joint": None}),
    ("/joint", {"joint": 5}),
    ("/side", {"side": "midline"}),
    ("/side", {"joint": "neck", "side": "left"}),
    ("/side", {"side": "both"}),
    ("/other_site", {"joint": "other"}),
    ("/other_site", {"other_site": "x" * 81}),
    ("/moment", {"moment": "never"}),
    ("/pain", {"pain": 11}),
    ("/pain", {"pain": -1}),
    ("/pain", {"pain": 5.0}),
    ("/pain", {"pain": "5"}),
    ("/pain", {"pain": True}),
    ("/pain", {"pain": None}),
    ("/symptoms", {"symptoms": []}),
    ("/symptoms", {"symptoms": None}),
    ("/symptoms/chest_pain", {"symptoms": {"chest_pain": "maybe"}}),
    ("/symptoms/chest_pain", {"symptoms": {"chest_pain": True}}),
    ("/symptoms/no_such_code", {"symptoms": {"no_such_code": "yes"}}),
    ("/symptoms/pain_jump", {"symptoms": {"pain_jump": "yes"}}),
    ("/symptoms/a~1b", {"symptoms": {"a/b": "yes"}}),
    ("/note", {"note": "x" * 2001}),
    ("/note", {"note": "a\x07b"}),
    ("/note", {"note": 5}),
    ("/explanation", {"explanation": "x" * 301}),
    ("/explanation", {"explanation": "a\nb"}),
    ("/explanation", {"explanation": None}),
    ("/reported_at", {"reported_at": "2026-03-02T18:40:00"}),
    ("/reported_at", {"reported_at": "2026-03-02"}),
    ("/reported_at", {"reported_at": "2026-03-02T18:40:60Z"}),
    ("/reported_at", {"reported_at": "2026-03-02T18:40:00+23:59"}),
    ("/reported_at", {"reported_at": "0001-01-01T00:00:00+14:00"}),
    ("/reported_at", {"reported_at": "9999-12-31T23:59:59-14:00"}),
    ("/reported_at", {"reported_at": "1989-12-31T23:00:00Z"}),
    ("/reported_at", {"reported_at": "1990-01-01T00:30:00+14:00"}),
    ("/reported_at", {"reported_at": "2026-03-03T20:00:01Z"}),
    ("/reported_at", {"reported_at": 1772480400}),
    ("/session", {"session": "1"}),
    ("/session", {"session": str(uuid.uuid4())}),
    ("/session", {"session": "00000000-0000-0000-0000-000000000000"}),
    ("/client", {"client": "me"}),
    ("/practice", {"practice": 1}),
    ("/felt_on", {"felt_on": "2026-03-01"}),
]


@pytest.mark.parametrize(("pointer", "changes"), BAD)
def test_odd_input_is_pointed_at_and_nothing_is_stored(app, pointer, changes):
    assert pointer in pointers(put(app, pain_body(**changes)))
    assert not PainReport.objects.exists()
    assert not Alert.objects.exists()
    assert not JointDay.objects.exists()


@pytest.mark.parametrize("field", ["joint", "side", "moment", "pain", "reported_at"])
def test_missing_field_is_pointed_at(app, field):
    body = pain_body()
    del body[field]
    assert pointers(put(app, body)) == [f"/{field}"]


@pytest.mark.parametrize(
    ("uid", "status"),
    [("1", 404), ("..%2f", 404), ("%00", 404), ("{5f0b0f8a-9c77-4d6d-8c37-5f6f3d0f7a11}", 404)],
)
def test_address_that_is_no_id_leads_nowhere(app, uid, status):
    assert app.put(f"/api/v1/pain-reports/{uid}", pain_body(), format="json").status_code == status


@pytest.mark.parametrize("uid", [uuid.UUID(int=0), uuid.UUID(int=2**128 - 1)])
@pytest.mark.parametrize("noun", ["pain-reports", "sessions"])
def test_nil_and_max_are_no_ids_to_store_under(app, noun, uid):
    body = {"pain-reports": pain_body(), "sessions": session_body()}[noun]
    answer = app.put(f"/api/v1/{noun}/{uid}", body, format="json")
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/bad_id")
    assert not PainReport.objects.exists()


def test_session_of_the_first_hours_of_1990_far_east_is_pointed_at(app):
    body = session_body(performed_at="1990-01-01T00:30:00+14:00", ended_at=None)
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json")
    assert pointers(answer) == ["/performed_at"]


def test_latest_moment_that_is_taken_is_a_day_ahead(app):
    assert put(app, pain_body(reported_at="2026-03-03T19:59:59Z")).status_code == 201


def test_coach_writes_for_a_client_and_says_whose(cast, signed_in):
    coach = signed_in(cast.coach)
    assert pointers(put(coach, pain_body())) == ["/client"]
    assert put(coach, pain_body(client=str(cast.client.uid))).status_code == 201


def test_client_writes_for_nobody_else(cast, app):
    assert put(app, pain_body(client=str(cast.colleagues_client.uid))).status_code == 404
    assert not PainReport.objects.exists()


@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client", "colleagues_client"])
def test_others_do_not_find_the_report(cast, app, signed_in, who):
    uid = uuid.uuid4()
    put(app, pain_body(), uid)
    api = signed_in(getattr(cast, who))
    assert api.get(f"/api/v1/pain-reports/{uid}").status_code == 404
    assert api.get(f"/api/v1/clients/{cast.client.uid}/pain-reports").status_code == 404


def test_another_practice_may_use_the_same_id(cast, app, signed_in):
    uid = uuid.uuid4()
    assert put(app, pain_body(), uid).status_code == 201
    assert put(signed_in(cast.strangers_client), pain_body(), uid).status_code == 201


def test_another_client_of_the_practice_may_not(cast, app, signed_in):
    uid = uuid.uuid4()
    put(app, pain_body(), uid)
    assert put(signed_in(cast.colleagues_client), pain_body(), uid).status_code == 409


def test_without_consent_nothing_is_stored(cast, signed_in):
    unasked = ClientFactory(coach=cast.coach)
    answer = put(signed_in(unasked), pain_body())
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
    assert not PainReport.objects.exists()


def test_reports_are_listed_newest_stored_first_in_pages(cast, app):
    made = [str(uuid.uuid4()) for _ in range(3)]
    for uid in made:
        put(app, pain_body(), uid)
    first = app.get(f"/api/v1/clients/{cast.client.uid}/pain-reports?page_size=2").json()
    rest = app.get(first["next"]).json()
    assert [row["id"] for row in first["items"] + rest["items"]] == list(reversed(made))


def test_symptoms_are_asked_without_saying_what_they_raise_suspicion_of(app):
    body = app.get("/api/v1/symptoms").json()
    assert body["review_note"] == SIGN_OFF
    asked = {row["code"]: row for row in body["questions"]}
    assert set(asked) == {code for code, row in SYMPTOMS.items() if row.is_asked} | set(FOLLOW_UPS)
    assert asked["swollen_calf"] == {
        "code": "swollen_calf",
        "question": SYMPTOMS["swollen_calf"].question,
        "asked_after": [],
    }
    assert asked["vision_changed"]["asked_after"] == ["girdle_stiffness"]


def test_symptoms_are_for_those_who_have_signed_in(client):
    assert client.get("/api/v1/symptoms").status_code == 401


def test_every_question_that_is_asked_is_taken_as_an_answer(app):
    codes = [row["code"] for row in app.get("/api/v1/symptoms").json()["questions"]]
    answer = put(app, pain_body(symptoms=dict.fromkeys(codes, "yes")))
    assert answer.status_code == 201, answer.content
    assert MailRow.objects.filter(kind="urgent").count() == 1


@pytest.fixture
def held(cast, signed_in):
    """A session of the client, and a report that was given to it afterwards."""
    app, session, report = signed_in(cast.client), str(uuid.uuid4()), str(uuid.uuid4())
    assert app.put(f"/api/v1/sessions/{session}", session_body(), format="json").status_code == 201
    body = pain_body(moment="at_rest", session=session)
    assert app.put(f"/api/v1/pain-reports/{report}", body, format="json").status_code == 201
    return app, session, report, body


def test_a_report_given_to_a_session_is_a_new_version_of_it(held):
    app, session, *_ = held
    assert version_of(app.get(f"/api/v1/sessions/{session}")) == '"2"'


def test_who_has_not_seen_a_report_of_a_session_cannot_edit_it_away(held):
    app, session, report, _ = held
    stale = app.put(
        f"/api/v1/sessions/{session}", session_body(note="Windy"), format="json", headers={"If-Match": '"1"'}
    )
    assert stale.status_code == 412
    assert app.get(f"/api/v1/pain-reports/{report}").status_code == 200


def test_a_report_sent_again_after_its_session_was_edited_is_still_the_same(held):
    app, session, report, body = held
    note, version = {"note": "Windy"}, {"If-Match": '"2"'}
    assert app.patch(f"/api/v1/sessions/{session}", note, format="json", headers=version).status_code == 200
    assert app.put(f"/api/v1/pain-reports/{report}", body, format="json").status_code == 200
    assert app.put(f"/api/v1/pain-reports/{report}", body | {"pain": 3}, format="json").status_code == 409


def test_a_report_sent_again_says_again_what_is_urgent(app):
    uid, body = uuid.uuid4(), pain_body(symptoms={"swollen_calf": "yes"})
    first = put(app, body, uid).json()["urgent"]
    assert put(app, body, uid).json()["urgent"] == first != []
    assert MailRow.objects.count() == 1
