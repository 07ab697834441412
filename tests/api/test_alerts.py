"""Alerts over HTTP: who sees what of them, and what may be done to them."""

import uuid

import pytest

from coaching import nightly
from coaching.compute.evidence import CAUTION, refer_out
from coaching.models import Alert, AuditEvent, Score
from tests.bodies import version_of
from tests.factories import NOW, AlertFactory

EVIDENCE = {"pain_to": 4.5, "from_on": "2025-12-08", "to_on": "2026-03-01"}
SENTENCE = "Pain of the left knee climbs while its repetitions climb."


@pytest.fixture(autouse=True)
def at_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def alert(cast) -> Alert:
    return AlertFactory(client=cast.client, evidence=EVIDENCE, method="pain_trend 1")


@pytest.fixture
def red_flag(cast) -> Alert:
    return AlertFactory(
        client=cast.client,
        kind="red_flag",
        severity=95,
        evidence={"flags": ["swollen_calf"], "urgency": "same_day"},
    )


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


def address(alert, *more):
    return "/".join(["/api/v1/alerts", str(alert.uid), *more])


def act(api, alert, what, body=None, version='"1"'):
    headers = {} if version is None else {"HTTP_IF_MATCH": version}
    return api.post(address(alert, what), body or {}, format="json", **headers)


def ids(answer):
    assert answer.status_code == 200, answer.content
    return [row["id"] for row in answer.json()["items"]]


def problem(answer):
    assert answer["Content-Type"] == "application/problem+json"
    return answer.status_code, answer.json()["type"]


def actions_on(alert):
    rows = AuditEvent.objects.filter(record_kind="alert", record_id=str(alert.uid))
    return list(rows.order_by("id").values_list("action", flat=True))


def for_client(cast, alert):
    return {
        "id": str(alert.uid),
        "client": str(cast.client.uid),
        "kind": "pain_with_volume",
        "target": "knee:left",
        "status": "open",
        "opened_on": "2026-03-02",
        "sentence": SENTENCE,
        "caution": CAUTION,
        "refer_out": refer_out(cast.client.emergency_text),
        "withdrawal_asked_at": None,
        "picture": f"/api/v1/clients/{cast.client.uid}/sites/knee/left/picture.svg",
    }


def test_coach_reads_the_whole_alert(cast, coach, alert):
    answer = coach.get(address(alert))
    assert answer.json() == for_client(cast, alert) | {
        "severity": 60,
        "seen_on": "2026-03-02",
        "evidence": EVIDENCE,
        "worth_asking": [],
        "worse_since_on": None,
        "computed": {
            "method": "pain_trend",
            "version": "1",
            "from_on": "2025-12-08",
            "until_on": "2026-03-01",
        },
        "put_off_until_on": None,
        "acknowledged_at": None,
        "closed_on": None,
        "closing": "",
        "close_note": "",
        "version": 1,
    }
    assert version_of(answer) == '"1"'


def test_client_reads_advice_and_caution_and_nothing_of_the_coachs(cast, app, alert):
    assert app.get(address(alert)).json() == for_client(cast, alert)
    assert app.get("/api/v1/alerts").json()["items"] == [for_client(cast, alert)]


def test_alert_about_training_alone_carries_no_caution(cast, coach):
    alert = AlertFactory(client=cast.client, kind="stalled_lift", target="back_squat:both:fresh")
    body = coach.get(address(alert)).json()
    assert (body["caution"], body["refer_out"]) == ("", "")


def test_same_version_again_is_not_sent(coach, alert):
    answer = coach.get(address(alert), HTTP_IF_NONE_MATCH=coach.get(address(alert))["ETag"])
    assert (answer.status_code, answer.content) == (304, b"")


def test_reading_is_on_the_audit_trail(cast, coach, alert):
    coach.get(address(alert))
    read = AuditEvent.objects.get(action="read", record_kind="alert")
    assert (read.subject_key, read.account_id) == (cast.client.audit_key, cast.coach.account_id)


def test_list_is_newest_first_and_without_closed_ones(cast, coach, alert):
    AlertFactory(
        client=cast.client, target="hip:left", status="closed", closing="by_coach", closed_on="2026-03-02"
    )
    newest = AlertFactory(client=cast.client, target="knee:right", status="acknowledged")
    assert ids(coach.get("/api/v1/alerts")) == [str(newest.uid), str(alert.uid)]


def test_list_can_be_narrowed_by_status_kind_and_client(cast, signed_in, alert):
    owner = signed_in(cast.owner)
    cast.practice.coaches_see_all_clients = True
    cast.practice.save()
    closed = AlertFactory(
        client=cast.client, kind="silent", status="closed", closing="evidence_gone", closed_on="2026-03-02"
    )
    other = AlertFactory(client=cast.colleagues_client, kind="pain_limit")
    assert ids(owner.get("/api/v1/alerts", {"status": "closed"})) == [str(closed.uid)]
    assert ids(owner.get("/api/v1/alerts", {"kind": "pain_limit"})) == [str(other.uid)]
    assert ids(owner.get("/api/v1/alerts", {"client": str(cast.client.uid)})) == [str(alert.uid)]


@pytest.mark.parametrize(
    "query",
    [
        {"status": "snoozed"},
        {"kind": "mood"},
        {"client": "1"},
        {"severity": "60"},
        {"page_size": "0"},
        {"page_size": "NaN"},
        {"cursor": "made-up"},
        {"status": ["open", "closed"]},
    ],
)
def test_faulty_question_is_a_bad_request(coach, query):
    answer = coach.get("/api/v1/alerts", query)
    assert answer.status_code == 400, answer.content
    assert answer["Content-Type"] == "application/problem+json"


def test_list_comes_in_pages_that_join_up(cast, coach):
    made = [AlertFactory(client=cast.client, target=f"knee:{n}") for n in range(5)]
    found, url = [], "/api/v1/alerts?page_size=2"
    while url:
        answer = coach.get(url)
        found += ids(answer)
        url = answer.json()["next"]
    assert found == [str(row.uid) for row in reversed(made)]


def test_number_of_queries_does_not_grow_with_the_alerts(cast, coach, django_assert_max_num_queries):
    for n in range(20):
        AlertFactory(client=cast.client, target=f"knee:{n}")
    with django_assert_max_num_queries(12):
        assert len(ids(coach.get("/api/v1/alerts"))) == 20


@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client", "colleagues_client"])
def test_others_do_not_find_the_alert(cast, signed_in, alert, who):
    api = signed_in(getattr(cast, who))
    missing = api.get(f"/api/v1/alerts/{uuid.uuid4()}").json()
    answer = api.get(address(alert))
    assert answer.status_code == 404
    assert answer.json() | {"instance": ""} == missing | {"instance": ""}
    assert ids(api.get("/api/v1/alerts")) == []


def test_asking_for_the_alerts_of_somebody_elses_client_finds_no_client(cast, signed_in, alert):
    answer = signed_in(cast.colleague).get("/api/v1/alerts", {"client": str(cast.client.uid)})
    assert answer.status_code == 404


ACTIONS = [
    ("acknowledgement", {}),
    ("put-off", {"until_on": "2026-03-10"}),
    ("closing", {"note": "Spoken about."}),
    ("withdrawal/confirmation", {"reason": "Typed in by mistake."}),
]


@pytest.mark.parametrize(("what", "body"), ACTIONS)
@pytest.mark.parametrize("who", ["stranger", "colleague"])
def test_others_cannot_act_on_it(cast, signed_in, alert, who, what, body):
    assert act(signed_in(getattr(cast, who)), alert, what, body).status_code == 404
    assert Alert.objects.get().status == "open"


@pytest.mark.parametrize(("what", "body"), ACTIONS)
def test_client_cannot_do_what_a_coach_does(app, alert, what, body):
    assert problem(act(app, alert, what, body)) == (403, "/problems/permission_denied")
    assert Alert.objects.get().status == "open"


@pytest.mark.parametrize(("what", "body"), ACTIONS)
def test_nobody_acts_without_signing_in(client, alert, what, body):
    answer = client.post(address(alert, what), body, content_type="application/json")
    assert answer.status_code == 401


@pytest.mark.parametrize(("what", "body"), ACTIONS)
def test_action_names_the_version_it_has_read(coach, alert, what, body):
    assert problem(act(coach, alert, what, body, version=None)) == (428, "/problems/version_required")
    assert problem(act(coach, alert, what, body, version='"7"')) == (412, "/problems/stale_version")
    assert Alert.objects.get().status == "open"
    assert actions_on(alert) == []


def test_acknowledging_is_kept_and_audited(cast, coach, alert):
    answer = act(coach, alert, "acknowledgement")
    assert (answer.status_code, version_of(answer)) == (200, '"2"')
    assert answer.json()["status"] == "acknowledged"
    assert answer.json()["acknowledged_at"] == "2026-03-02T12:00:00Z"
    assert Alert.objects.get().acknowledged_by_id == cast.coach.account_id
    assert actions_on(alert) == ["acknowledge"]


def test_putting_off_is_kept_and_audited(coach, alert):
    answer = act(coach, alert, "put-off", {"until_on": "2026-03-10"})
    assert (answer.status_code, version_of(answer)) == (200, '"2"')
    assert (answer.json()["status"], answer.json()["put_off_until_on"]) == ("put_off", "2026-03-10")
    assert actions_on(alert) == ["put_off"]


@pytest.mark.parametrize("until_on", ["2026-03-03", "2026-05-31"])
def test_first_and_last_day_to_put_off_to(coach, alert, until_on):
    assert act(coach, alert, "put-off", {"until_on": until_on}).status_code == 200


@pytest.mark.parametrize(
    "until_on", ["2026-06-01", "2026-03-02", "2026-03-01", "1989-12-31", "2026-02-30", "soon", None, 5]
)
def test_put_off_to_no_such_day_is_pointed_at(coach, alert, until_on):
    answer = act(coach, alert, "put-off", {"until_on": until_on})
    assert problem(answer) == (422, "/problems/invalid")
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/until_on"]
    assert Alert.objects.get().status == "open"


def test_closing_is_kept_with_its_note_and_audited(coach, alert):
    answer = act(coach, alert, "closing", {"note": "Swapped squats.\nSettled."})
    assert answer.status_code == 200
    body = answer.json()
    assert (body["status"], body["closing"], body["closed_on"]) == ("closed", "by_coach", "2026-03-02")
    assert body["close_note"] == "Swapped squats.\nSettled."
    assert actions_on(alert) == ["close"]


@pytest.mark.parametrize("note", [None, "", "   ", 5, [], "x" * 2001, "a\x07b"])
def test_closing_needs_a_note(coach, alert, note):
    answer = act(coach, alert, "closing", {"note": note})
    assert problem(answer) == (422, "/problems/invalid")
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/note"]
    assert Alert.objects.get().status == "open"


@pytest.mark.parametrize(("what", "body"), ACTIONS[:3])
def test_closed_alert_takes_no_more_actions(coach, alert, what, body):
    act(coach, alert, "closing", {"note": "Done."})
    assert problem(act(coach, alert, what, body, version='"2"')) == (403, "/problems/forbidden")


def test_red_flag_can_be_acknowledged(coach, red_flag):
    assert act(coach, red_flag, "acknowledgement").json()["status"] == "acknowledged"


@pytest.mark.parametrize(("what", "body"), ACTIONS[1:3])
def test_red_flag_is_never_put_off_or_closed_by_a_note(coach, red_flag, what, body):
    assert problem(act(coach, red_flag, what, body)) == (403, "/problems/forbidden")
    assert Alert.objects.get().status == "open"
    assert actions_on(red_flag) == []


def test_client_asks_for_withdrawal_and_the_red_flag_stands(app, red_flag):
    answer = app.post(address(red_flag, "withdrawal"))
    assert answer.status_code == 200
    assert answer.json()["withdrawal_asked_at"] == "2026-03-02T12:00:00Z"
    assert "severity" not in answer.json()
    assert Alert.objects.get().status == "open"
    assert actions_on(red_flag) == ["ask_withdrawal"]


def test_coach_confirms_the_mistake_and_it_is_withdrawn_not_cleared(app, coach, red_flag):
    app.post(address(red_flag, "withdrawal"))
    answer = act(
        coach, red_flag, "withdrawal/confirmation", {"reason": "Pressed the wrong button."}, version='"2"'
    )
    assert answer.status_code == 200
    body = answer.json()
    assert (body["status"], body["closing"]) == ("closed", "withdrawn")
    assert body["close_note"] == "Pressed the wrong button."
    assert actions_on(red_flag) == ["ask_withdrawal", "confirm_withdrawal"]


def test_coach_cannot_withdraw_what_the_client_did_not_call_a_mistake(coach, red_flag):
    answer = act(coach, red_flag, "withdrawal/confirmation", {"reason": "I think so."})
    assert problem(answer) == (403, "/problems/forbidden")
    assert Alert.objects.get().status == "open"


@pytest.mark.parametrize("reason", [None, "", 5])
def test_withdrawal_needs_a_reason(app, coach, red_flag, reason):
    app.post(address(red_flag, "withdrawal"))
    answer = act(coach, red_flag, "withdrawal/confirmation", {"reason": reason}, version='"2"')
    assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/reason"]
    assert Alert.objects.get().status == "open"


def test_only_the_client_asks_and_only_of_a_red_flag(app, coach, alert, red_flag):
    assert coach.post(address(red_flag, "withdrawal")).status_code == 403
    assert app.post(address(alert, "withdrawal")).status_code == 403
    assert not Alert.objects.filter(withdrawal_asked_at__isnull=False).exists()


@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client", "colleagues_client"])
def test_others_cannot_ask_for_withdrawal(cast, signed_in, red_flag, who):
    assert signed_in(getattr(cast, who)).post(address(red_flag, "withdrawal")).status_code == 404


def clear(coach, cast, **changes):
    body = {
        "joint": "knee",
        "side": "left",
        "clinician_name": "Dana Doctor",
        "clinician_profession": "physician",
        "cleared_on": "2026-03-02",
        "flags": ["swollen_calf"],
    }
    return coach.post(f"/api/v1/clients/{cast.client.uid}/clearances", body | changes, format="json")


def test_clinicians_clearance_ends_the_red_flag(cast, coach, red_flag):
    assert clear(coach, cast).status_code == 201
    body = coach.get(address(red_flag)).json()
    assert (body["status"], body["closing"], body["closed_on"]) == ("closed", "cleared", "2026-03-02")
    assert actions_on(red_flag) == ["clear"]


def test_clearance_from_before_the_newest_report_leaves_the_red_flag_standing(cast, coach, red_flag):
    Alert.objects.update(opened_on="2026-02-01")
    assert clear(coach, cast, cleared_on="2026-03-01").status_code == 201
    assert Alert.objects.get().status == "open"


def test_clearance_of_other_symptoms_leaves_the_red_flag_standing(cast, coach, red_flag):
    assert clear(coach, cast, flags=["night_pain"]).status_code == 201
    assert Alert.objects.get().status == "open"


def score(cast, **changes):
    fields = {
        "practice": cast.practice,
        "client": cast.client,
        "night_on": "2026-03-02",
        "adherence_low": 0.5,
        "adherence_high": 0.75,
        "sessions_due": 4,
        "sessions_done": 2,
        "sessions_unknown": 1,
        "details": {"lifts": []},
        "method": "night 1",
        "scored_at": NOW,
    }
    return Score.objects.create(**fields | changes)


def test_coach_reads_what_may_be_asked_and_since_when_it_is_worse(cast, coach):
    alert = AlertFactory(
        client=cast.client,
        evidence={"worth_asking": ["Worth asking: why?"], "worse_since_on": "2026-03-05"},
    )
    body = coach.get(address(alert)).json()
    assert (body["worth_asking"], body["worse_since_on"]) == (["Worth asking: why?"], "2026-03-05")


def test_client_reads_no_questions_that_are_meant_for_the_coach(cast, signed_in):
    alert = AlertFactory(client=cast.client, evidence={"worth_asking": ["Worth asking: why?"]})
    assert "worth_asking" not in signed_in(cast.client).get(address(alert)).json()


def test_scores_are_read_night_by_night(cast, coach):
    score(cast)
    score(cast, revision=1, adherence_low=None, adherence_high=None)
    newest, first = coach.get(f"/api/v1/clients/{cast.client.uid}/scores").json()["items"]
    assert (newest["revision"], newest["adherence_low"]) == (1, None)
    assert first == {
        "night_on": "2026-03-02",
        "revision": 0,
        "adherence_low": 0.5,
        "adherence_high": 0.75,
        "sessions_due": 4,
        "sessions_done": 2,
        "sessions_unknown": 1,
        "adherence_parts": None,
        "lifts": [],
        "computed": {"method": "night", "version": "1", "from_on": "2026-02-02", "until_on": "2026-03-01"},
        "scored_at": "2026-03-02T12:00:00Z",
    }


def test_a_score_tells_adherence_taken_apart_and_null_where_nothing_is_known(cast, coach):
    nightly.run_night(
        night=nightly.night_by_hand(practice=cast.practice, night_on=NOW.date(), now=NOW), now=NOW
    )
    shares = [
        "attended_low",
        "attended_high",
        "sets_low",
        "sets_high",
        "reps_low",
        "reps_high",
        "load",
        "effort",
        "dose_ratio",
    ]
    counts = ["modified", "over", "late", "missed_spells", "interrupted_spells", "excused"]
    (found,) = coach.get(f"/api/v1/clients/{cast.client.uid}/scores").json()["items"]
    assert found["adherence_parts"] == (
        dict.fromkeys(shares)
        | dict.fromkeys(counts, 0)
        | {
            "computed": {
                "method": "bounded_dose_ratio",
                "version": "2",
                "from_on": "2026-02-02",
                "until_on": "2026-03-01",
            }
        }
    )


@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client"])
def test_others_do_not_find_the_scores(cast, signed_in, who):
    score(cast)
    answer = signed_in(getattr(cast, who)).get(f"/api/v1/clients/{cast.client.uid}/scores")
    assert answer.status_code == 404
