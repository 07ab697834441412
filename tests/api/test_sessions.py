import uuid

import pytest

from coaching.models import JointDay, LiftDay, LoggedSet, MailRow, PainReport, Session
from tests.bodies import pain_body, session_body, set_body, version_of
from tests.factories import ClientFactory, InjuryFactory


@pytest.fixture
def app(cast, signed_in):
    """The client's own app."""
    return signed_in(cast.client)


def put(app, body, uid=None, **headers):
    return app.put(f"/api/v1/sessions/{uid or uuid.uuid4()}", body, format="json", **headers)


def test_a_new_session_is_created_with_its_sets_and_pain(app):
    answer = put(app, session_body())
    assert answer.status_code == 201, answer.data
    assert version_of(answer) == '"1"'
    assert answer.data["session"]["sets"][0]["load_kg"] == "100"
    assert answer.data["session"]["performed_on"] == "2026-03-02"
    assert LoggedSet.objects.count() == PainReport.objects.count() == 1


def test_the_same_session_again_answers_200_and_writes_nothing(app):
    uid, body = uuid.uuid4(), session_body()
    put(app, body, uid)
    again = put(app, body, uid)
    assert again.status_code == 200
    assert Session.objects.get().version == 1


def test_the_same_content_in_another_spelling_is_still_the_same(app):
    uid, body = uuid.uuid4(), session_body(sets=[set_body(load=100, rir=2)])
    put(app, body, uid)
    body["performed_at"] = "2026-03-02T17:00:00Z"
    body["sets"][0] |= {"load": 100.0, "rir": 2.0}
    assert put(app, body, uid).status_code == 200


def test_other_content_under_the_same_id_is_a_conflict_and_changes_nothing(app):
    uid, body = uuid.uuid4(), session_body()
    put(app, body, uid)
    assert put(app, body | {"note": "changed"}, uid).status_code == 409
    assert Session.objects.get().note == ""


def test_an_edit_names_the_version_it_edits(app):
    uid, body = uuid.uuid4(), session_body()
    put(app, body, uid)
    edited = put(app, body | {"note": "changed"}, uid, HTTP_IF_MATCH='"1"')
    assert edited.status_code == 200
    assert version_of(edited) == '"2"'
    assert put(app, body | {"note": "again"}, uid, HTTP_IF_MATCH='"1"').status_code == 412


def test_a_patch_without_a_version_is_refused(app):
    uid = uuid.uuid4()
    put(app, session_body(), uid)
    assert app.patch(f"/api/v1/sessions/{uid}", {"note": "x"}, format="json").status_code == 428


def test_a_merge_patch_changes_one_field_and_keeps_the_rest(app):
    uid = uuid.uuid4()
    put(app, session_body(), uid)
    answer = app.patch(f"/api/v1/sessions/{uid}", {"note": "windy"}, format="json", HTTP_IF_MATCH='W/"1"')
    assert answer.status_code == 200, answer.data
    assert answer.data["session"]["note"] == "windy"
    assert len(answer.data["session"]["sets"]) == 1


def test_a_deleted_session_is_gone_for_good(app):
    uid, body = uuid.uuid4(), session_body()
    put(app, body, uid)
    assert app.delete(f"/api/v1/sessions/{uid}", HTTP_IF_MATCH='"1"').status_code == 204
    assert put(app, body, uid).status_code == 410
    assert app.get(f"/api/v1/sessions/{uid}").status_code == 410
    assert not JointDay.objects.exists()


def test_the_days_of_its_joints_and_lifts_follow_the_session(app):
    body = session_body(sets=[set_body(load=100, reps=5, rir=2), set_body(load=50, reps=5, kind="warm_up")])
    put(app, body)
    knee = JointDay.objects.get(joint="knee", side="left")
    assert (knee.joint_reps, knee.pain) == (10, 2)
    assert LiftDay.objects.get().e1rm_kg == pytest.approx(100 * (1 + 7 / 30))


def test_a_stated_reserve_comes_back_as_it_was_given(app):
    uid, row = uuid.uuid4(), set_body(reps=8, rir=None, ended_by="failure")
    body = session_body(sets=[row | {"guessed_rir": 1.5, "guessed_after_reps": 5}])
    assert put(app, body, uid).status_code == 201
    (stored,) = app.get(f"/api/v1/sessions/{uid}").data["sets"]
    assert (stored["guessed_rir"], stored["guessed_after_reps"]) == (1.5, 5)
    assert put(app, body, uid).status_code == 200
    body["sets"][0]["guessed_rir"] = 2
    assert put(app, body, uid).status_code == 409


def test_a_merge_patch_keeps_the_stated_reserve(app):
    uid = uuid.uuid4()
    put(app, session_body(sets=[set_body(guessed_rir=0, guessed_after_reps=5)]), uid)
    app.patch(f"/api/v1/sessions/{uid}", {"note": "windy"}, format="json", HTTP_IF_MATCH='"1"')
    stored = LoggedSet.objects.get()
    assert (stored.guessed_rir, stored.guessed_after_reps) == (0, 5)


def test_a_load_in_pounds_keeps_its_number_and_gives_exact_kilograms(app):
    answer = put(app, session_body(sets=[set_body(load=225, load_unit="lb")]))
    assert answer.data["session"]["sets"][0]["load"] == 225
    assert answer.data["session"]["sets"][0]["load_kg"] == "102.05828325"


def test_a_load_far_above_the_best_waits_for_confirmation(app):
    put(app, session_body(performed_at="2026-02-27T18:00:00+01:00", ended_at=None, pain_reports=[]))
    typo = set_body(load=1000)
    answer = put(app, session_body(sets=[typo]))
    assert answer.data["session"]["sets"][0]["to_confirm"] is True
    assert not LiftDay.objects.filter(best_load_kg=1000).exists()
    assert app.post(f"/api/v1/sets/{typo['id']}/confirmation").data["to_confirm"] is False
    assert LiftDay.objects.filter(best_load_kg=1000).exists()


def test_a_red_flag_is_answered_at_once_and_mailed_once(app, cast):
    flagged = pain_body(id=str(uuid.uuid4()), symptoms={"swollen_calf": "yes"})
    uid, body = uuid.uuid4(), session_body(pain_reports=[flagged])
    answer = put(app, body, uid)
    put(app, body, uid)
    (urgent,) = answer.data["urgent"]
    assert urgent["kind"] == "red_flag"
    assert "112" in urgent["instruction"]
    assert "not a medical device" in urgent["caution"]
    assert MailRow.objects.get().recipient == cast.coach.account.email


def test_a_device_that_heard_no_answer_is_told_again_what_is_urgent(app, cast, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")
    InjuryFactory(client=cast.client, pain_limit=4)
    uid = uuid.uuid4()
    report = pain_body(id=str(uuid.uuid4()), pain=5, symptoms={"swollen_calf": "yes"})
    body = session_body(pain_reports=[report])
    first = put(app, body, uid).data["urgent"]
    assert [notice["kind"] for notice in first] == ["red_flag", "pain_limit"]
    assert put(app, body, uid).data["urgent"] == first
    assert MailRow.objects.count() == 2


def test_pain_at_the_sites_own_limit_is_urgent(app, cast, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")
    InjuryFactory(client=cast.client, pain_limit=4)
    answer = put(app, session_body(pain_reports=[pain_body(id=str(uuid.uuid4()), pain=4)]))
    assert [notice["kind"] for notice in answer.data["urgent"]] == ["pain_limit"]
    assert MailRow.objects.get().kind == "urgent"


def test_severe_pain_of_a_session_is_told_by_itself_and_against_the_limit(app, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")
    reports = [pain_body(id=str(uuid.uuid4()), moment=moment, pain=8) for moment in ("during", "after")]
    answer = put(app, session_body(pain_reports=reports))
    assert [(row["kind"], row["symptoms"]) for row in answer.data["urgent"]] == [
        ("red_flag", ["pain_jump"]),
        ("pain_limit", []),
    ] * 2
    assert MailRow.objects.count() == 2


def test_no_answer_to_a_symptom_is_not_a_red_flag_but_not_a_no_either(app):
    reports = [pain_body(id=str(uuid.uuid4()), symptoms={"swollen_calf": "not_answered"})]
    assert put(app, session_body(pain_reports=reports)).data["urgent"] == []


def test_without_consent_nothing_is_stored(cast, signed_in):
    unasked = ClientFactory(coach=cast.coach)
    answer = put(signed_in(unasked), session_body())
    assert answer.status_code == 403
    assert answer.json()["type"] == "/problems/consent_missing"
    assert not Session.objects.exists()


def test_a_strangers_client_may_use_the_same_id_in_its_own_practice(app, cast, signed_in):
    uid = uuid.uuid4()
    assert put(app, session_body(), uid).status_code == 201
    assert put(signed_in(cast.strangers_client), session_body(), uid).status_code == 201


def test_another_clients_session_is_not_there(app, cast, signed_in):
    uid = uuid.uuid4()
    put(app, session_body(), uid)
    other = signed_in(cast.colleagues_client)
    assert other.get(f"/api/v1/sessions/{uid}").status_code == 404
    assert put(other, session_body(), uid).status_code == 409


def test_a_set_id_used_elsewhere_is_a_conflict(app):
    row = set_body()
    put(app, session_body(sets=[row]))
    assert put(app, session_body(sets=[row])).status_code == 409


def test_a_coach_may_write_on_a_clients_behalf_but_must_say_whose(cast, signed_in):
    coach = signed_in(cast.coach)
    assert put(coach, session_body()).status_code == 422
    assert put(coach, session_body(client=str(cast.client.uid))).status_code == 201
    assert put(coach, session_body(client=str(cast.colleagues_client.uid))).status_code == 404


HOLD = {"exercise": "wall_sit", "reps": None, "rir": None, "duration_s": 40}
IMPOSSIBLE = [
    ("/sets/0/load", {"load": -1}),
    ("/sets/0/load", {"load": "100"}),
    ("/sets/0/load", {"load": 100.0005}),
    ("/sets/0/load", {"load": 1e9}),
    ("/sets/0/reps", {"reps": 1001}),
    ("/sets/0/reps", {"reps": -1}),
    ("/sets/0/reps", {"reps": 5.5}),
    ("/sets/0/reps", {"reps": True}),
    ("/sets/0/reps", {"reps": None}),
    ("/sets/0/exercise", {"exercise": "no_such_lift"}),
    ("/sets/0/side", {"side": "top"}),
    ("/sets/0/rir", {"rir": 2.3}),
    ("/sets/0/guessed_rir", {"guessed_rir": 2.3, "guessed_after_reps": 3}),
    ("/sets/0/guessed_rir", {"guessed_rir": 20.5, "guessed_after_reps": 3}),
    ("/sets/0/guessed_rir", {"guessed_after_reps": 3}),
    ("/sets/0/guessed_rir", {**HOLD, "guessed_rir": 2, "guessed_after_reps": 0}),
    ("/sets/0/guessed_after_reps", {"guessed_rir": 2}),
    ("/sets/0/guessed_after_reps", {"guessed_rir": 2, "guessed_after_reps": 6}),
    ("/sets/0/guessed_after_reps", {"guessed_rir": 2, "guessed_after_reps": -1}),
    ("/sets/0/guessed_after_reps", {"guessed_rir": 2, "guessed_after_reps": 1.5}),
    ("/sets/0/tempo", {"tempo": "fast"}),
    ("/sets/0/id", {"id": "00000000-0000-0000-0000-000000000000"}),
    ("/sets/0/score", {"score": 3}),
    ("/sets/0/duration_s", {"exercise": "wall_sit"}),
]


@pytest.mark.parametrize(("pointer", "changes"), IMPOSSIBLE)
def test_an_impossible_set_is_pointed_at_and_nothing_is_stored(app, pointer, changes):
    answer = put(app, session_body(sets=[set_body(**changes)]))
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]
    assert not Session.objects.exists()


IMPOSSIBLE_SESSIONS = [
    ("/performed_at", {"performed_at": "1989-12-31T18:00:00Z", "ended_at": None}),
    ("/performed_at", {"performed_at": "2099-01-01T18:00:00Z", "ended_at": None}),
    ("/performed_at", {"performed_at": "2026-03-02T18:00:00"}),
    ("/performed_at", {"performed_at": "0001-01-01T00:00:00+14:00"}),
    ("/performed_at", {"performed_at": "9999-12-31T23:59:59-14:00"}),
    ("/performed_at", {"performed_at": "2026-02-30T18:00:00Z"}),
    ("/ended_at", {"ended_at": "2026-03-02T17:00:00+01:00"}),
    ("/session_rpe", {"session_rpe": 11}),
    ("/sets", {"sets": {}}),
    ("/practice", {"practice": 1}),
    ("/scheduled_session", {"scheduled_session": str(uuid.uuid4())}),
    ("/note", {"note": "a\x07b"}),
]


@pytest.mark.parametrize(("pointer", "changes"), IMPOSSIBLE_SESSIONS)
def test_an_impossible_session_is_pointed_at_and_nothing_is_stored(app, pointer, changes):
    answer = put(app, session_body(**changes))
    assert answer.status_code == 422, answer.content
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]
    assert not Session.objects.exists()


IMPOSSIBLE_PAIN = [
    ("/pain_reports/0/pain", {"pain": 11}),
    ("/pain_reports/0/pain", {"pain": -1}),
    ("/pain_reports/0/joint", {"joint": "tail"}),
    ("/pain_reports/0/side", {"side": "midline"}),
    ("/pain_reports/0/moment", {"moment": "never"}),
    ("/pain_reports/0/symptoms/no_such_code", {"symptoms": {"no_such_code": "yes"}}),
    ("/pain_reports/0/symptoms/swollen_calf", {"symptoms": {"swollen_calf": "maybe"}}),
    ("/pain_reports/0/reported_at", {"reported_at": "2099-01-01T18:00:00Z"}),
]


@pytest.mark.parametrize(("pointer", "changes"), IMPOSSIBLE_PAIN)
def test_an_impossible_pain_report_is_pointed_at(app, pointer, changes):
    answer = put(app, session_body(pain_reports=[pain_body(id=str(uuid.uuid4()), **changes)]))
    assert answer.status_code == 422, answer.content
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]


RAW = [
    (b"", 422),
    (b"null", 422),
    (b"[]", 422),
    (b'"x"', 422),
    (b"{", 400),
    (b'{"note": NaN}', 400),
    (b'{"note": Infinity}', 400),
    (b'{"note": 1e999}', 400),
    (b'{"note": ' + b"9" * 5000 + b"}", 400),
    (b'{"note": "\\u0000"}', 400),
    (b'{"\\u0000": "x"}', 400),
    (b'{"note": "\\ud800"}', 400),
    (b'{"note": "\xff"}', 400),
    (b'{"note": "a", "note": "b"}', 400),
    (b"[" * 100_000, 400),
    (b'{"a":' * 1000, 400),
    (b"x" * (10 * 1024 * 1024), 413),
]


@pytest.mark.parametrize(("body", "status"), RAW)
def test_hostile_bytes_get_a_problem_and_never_a_500(app, body, status):
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, content_type="application/json")
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"


def test_another_content_type_is_refused(app):
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", "a=1", content_type="text/plain")
    assert answer.status_code == 415
