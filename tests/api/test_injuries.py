"""Injuries and restrictions over HTTP: the client reports, the coach judges."""

import pytest

from coaching.models import AuditEvent, Consent, Injury, Restriction
from tests.bodies import version_of
from tests.factories import ExerciseFactory, InjuryFactory

REPORT = {"joint": "knee", "side": "left", "onset_on": "2026-01-10", "said": "Sore on stairs since a fall."}
JUDGEMENT = {
    "said_by": "clinician",
    "status": "stopped_by_clinician",
    "cautions": "No deep flexion.",
    "weekly_joint_reps_cap": 120,
    "pain_limit": 4,
}
LIMIT = {"kind": "limit", "limit": "Not below 90 degrees", "from_on": "2026-03-01", "said_by": "clinician"}


@pytest.fixture
def injury(cast) -> Injury:
    return InjuryFactory(client=cast.client)


def address(client, *more):
    return "/".join(["/api/v1/clients", str(client.uid), "injuries", *(str(part) for part in more)])


def patch(api, client, injury, body, version=1):
    return api.patch(address(client, injury.uid), body, HTTP_IF_MATCH=f'"{version}"')


def pointers(answer):
    return [fault["pointer"] for fault in answer.json()["errors"]]


def test_a_client_reports_an_injury_in_their_own_words(cast, signed_in):
    answer = signed_in(cast.client).post(address(cast.client), REPORT)
    assert answer.status_code == 201
    assert version_of(answer) == '"1"'
    assert answer.json() == REPORT | {
        "id": str(Injury.objects.get().uid),
        "other_site": "",
        "said_by": "client",
        "status": "active",
        "cautions": "",
        "weekly_joint_reps_cap": None,
        "pain_limit": None,
        "created_at": answer.json()["created_at"],
        "version": 1,
    }


@pytest.mark.parametrize("field", list(JUDGEMENT))
def test_a_client_judges_nothing(cast, signed_in, field):
    answer = signed_in(cast.client).post(address(cast.client), REPORT | {field: JUDGEMENT[field]})
    assert (answer.status_code, pointers(answer)) == (422, [f"/{field}"])
    assert not Injury.objects.exists()


def test_a_coach_enters_what_a_clinician_said(cast, signed_in):
    answer = signed_in(cast.coach).post(address(cast.client), REPORT | JUDGEMENT)
    assert answer.status_code == 201
    assert answer.json() | JUDGEMENT == answer.json()


def test_a_coachs_entry_is_said_by_the_coach(cast, signed_in):
    assert signed_in(cast.coach).post(address(cast.client), REPORT).json()["said_by"] == "coach"


def test_an_unlisted_site_is_named(cast, signed_in):
    body = REPORT | {"joint": "other", "other_site": "left jaw"}
    assert signed_in(cast.client).post(address(cast.client), body).status_code == 201


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"joint": "jaw"}, "/joint"),
        ({"joint": 5}, "/joint"),
        ({"side": "both"}, "/side"),
        ({"side": "midline"}, "/side"),
        ({"joint": "neck"}, "/side"),
        ({"joint": "other"}, "/other_site"),
        ({"other_site": "jaw"}, "/other_site"),
        ({"onset_on": "2090-01-01"}, "/onset_on"),
        ({"onset_on": "yesterday"}, "/onset_on"),
        ({"said": ""}, "/said"),
        ({"said": "x" * 2001}, "/said"),
        ({"said_by": "neighbour"}, "/said_by"),
        ({"status": "cured"}, "/status"),
        ({"cautions": "x" * 2001}, "/cautions"),
        ({"weekly_joint_reps_cap": -1}, "/weekly_joint_reps_cap"),
        ({"weekly_joint_reps_cap": 10**12}, "/weekly_joint_reps_cap"),
        ({"weekly_joint_reps_cap": 10.5}, "/weekly_joint_reps_cap"),
        ({"pain_limit": 0}, "/pain_limit"),
        ({"pain_limit": 11}, "/pain_limit"),
        ({"client": "x"}, "/client"),
    ],
)
def test_a_bad_injury_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = signed_in(cast.coach).post(address(cast.client), REPORT | body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert not Injury.objects.exists()


@pytest.mark.parametrize("who", ["client", "coach"])
def test_without_consent_no_injury_is_stored(cast, signed_in, who):
    Consent.objects.filter(client=cast.client).delete()
    answer = signed_in(getattr(cast, who)).post(address(cast.client), REPORT)
    assert answer.status_code == 403
    assert answer.json()["type"] == "/problems/consent_missing"
    assert not Injury.objects.exists()


def test_without_consent_nothing_is_edited(cast, signed_in, injury):
    Consent.objects.filter(client=cast.client).delete()
    assert patch(signed_in(cast.coach), cast.client, injury, {"said": "x"}).status_code == 403


@pytest.mark.parametrize("who", ["colleague", "stranger", "colleagues_client"])
def test_others_find_no_injuries(cast, signed_in, injury, who):
    api = signed_in(getattr(cast, who))
    answers = [
        api.get(address(cast.client)),
        api.post(address(cast.client), REPORT),
        api.get(address(cast.client, injury.uid)),
        api.get(address(cast.client, injury.uid, "restrictions")),
    ]
    assert [answer.status_code for answer in answers] == [404] * 4


def test_a_colleague_sees_injuries_where_the_practice_says_so(cast, signed_in, injury):
    cast.practice.coaches_see_all_clients = True
    cast.practice.save()
    assert signed_in(cast.colleague).get(address(cast.client, injury.uid)).status_code == 200


def test_an_injury_is_found_under_its_own_client_only(cast, signed_in, injury):
    answer = signed_in(cast.owner).get(address(cast.colleagues_client, injury.uid))
    assert answer.status_code == 404


def test_the_history_is_listed_for_the_client(cast, signed_in, injury):
    items = signed_in(cast.client).get(address(cast.client)).json()["items"]
    assert [item["id"] for item in items] == [str(injury.uid)]


def test_a_coach_edits_an_injury(cast, signed_in, injury):
    api = signed_in(cast.coach)
    answer = patch(api, cast.client, injury, {"status": "settled", "pain_limit": 3})
    assert (answer.status_code, version_of(answer)) == (200, '"2"')
    again = patch(api, cast.client, injury, {"pain_limit": None}, 2)
    assert (again.json()["status"], again.json()["pain_limit"]) == ("settled", None)


@pytest.mark.parametrize(("who", "status"), [("client", 403), ("colleague", 404), ("stranger", 404)])
def test_who_edits_no_injury(cast, signed_in, injury, who, status):
    answer = patch(signed_in(getattr(cast, who)), cast.client, injury, {"said": "x"})
    assert answer.status_code == status


def test_an_edit_names_the_current_version(cast, signed_in, injury):
    api = signed_in(cast.coach)
    assert api.patch(address(cast.client, injury.uid), {"said": "x"}).status_code == 428
    assert patch(api, cast.client, injury, {"said": "x"}, 2).status_code == 412
    assert Injury.objects.get().said == "Sore on stairs since a fall."


def test_an_edit_cannot_make_an_impossible_site(cast, signed_in, injury):
    answer = patch(signed_in(cast.coach), cast.client, injury, {"side": "midline"})
    assert (answer.status_code, pointers(answer)) == (422, ["/side"])


def test_changes_and_reads_are_on_the_trail_without_what_was_said(cast, signed_in, injury):
    api = signed_in(cast.coach)
    patch(api, cast.client, injury, {"said": "Worse at night."})
    api.get(address(cast.client))
    change = AuditEvent.objects.get(action="update")
    assert (change.record_id, change.detail) == (str(injury.uid), {"fields": ["said"]})
    assert AuditEvent.objects.filter(
        action="read", record_kind="injury", subject_key=cast.client.audit_key
    ).exists()


def add(api, cast, injury, body):
    return api.post(address(cast.client, injury.uid, "restrictions"), body)


def test_a_coach_limits_a_site(cast, signed_in, injury):
    answer = add(signed_in(cast.coach), cast, injury, LIMIT)
    assert answer.status_code == 201
    assert answer.json() == LIMIT | {
        "id": str(Restriction.objects.get().uid),
        "injury": str(injury.uid),
        "exercise": None,
        "movement_pattern": "",
        "until_on": None,
    }


def test_an_exercise_is_to_be_avoided(cast, signed_in, injury):
    exercise = ExerciseFactory(practice=cast.practice)
    body = {"kind": "avoid_exercise", "exercise": exercise.code, "from_on": "2026-03-01", "said_by": "coach"}
    assert add(signed_in(cast.coach), cast, injury, body).json()["exercise"] == exercise.code


def test_a_pattern_is_to_be_avoided(cast, signed_in, injury):
    body = {
        "kind": "avoid_pattern",
        "movement_pattern": "squat",
        "from_on": "2026-03-01",
        "until_on": "2026-03-01",
        "said_by": "coach",
    }
    assert add(signed_in(cast.coach), cast, injury, body).status_code == 201


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"kind": "forbid"}, "/kind"),
        ({"kind": "avoid_pattern"}, "/movement_pattern"),
        ({"kind": "avoid_exercise"}, "/exercise"),
        ({"movement_pattern": "squat"}, "/movement_pattern"),
        ({"limit": "x" * 201}, "/limit"),
        ({"until_on": "2026-02-28"}, "/until_on"),
        ({"from_on": None}, "/from_on"),
        ({"said_by": "neighbour"}, "/said_by"),
        ({"exercise": "a"}, "/exercise"),
        ({"injury": "x"}, "/injury"),
    ],
)
def test_a_bad_restriction_is_422_at_its_field(cast, signed_in, injury, body, pointer):
    answer = add(signed_in(cast.coach), cast, injury, LIMIT | body)
    assert (answer.status_code, pointers(answer)) == (422, [pointer])
    assert not Restriction.objects.exists()


def test_a_misspelt_pattern_is_refused_since_it_would_forbid_nothing(cast, signed_in, injury):
    body = {
        "kind": "avoid_pattern",
        "movement_pattern": "sqaut",
        "from_on": "2026-03-01",
        "said_by": "coach",
    }
    answer = add(signed_in(cast.coach), cast, injury, body)
    assert (answer.status_code, pointers(answer)) == (422, ["/movement_pattern"])


def test_an_exercise_of_another_practice_is_unknown(cast, signed_in, injury):
    exercise = ExerciseFactory(practice=cast.stranger.practice)
    body = {"kind": "avoid_exercise", "exercise": exercise.code, "from_on": "2026-03-01", "said_by": "coach"}
    answer = add(signed_in(cast.coach), cast, injury, body)
    assert (answer.status_code, pointers(answer)) == (422, ["/exercise"])


def test_a_restriction_is_taken_back_and_the_trail_keeps_it(cast, signed_in, injury):
    api = signed_in(cast.coach)
    uid = add(api, cast, injury, LIMIT).json()["id"]
    assert api.delete(address(cast.client, injury.uid, "restrictions", uid)).status_code == 204
    assert api.get(address(cast.client, injury.uid, "restrictions")).json()["items"] == []
    assert AuditEvent.objects.filter(action="delete", record_id=uid).exists()
    assert api.delete(address(cast.client, injury.uid, "restrictions", uid)).status_code == 410


def test_a_client_reads_their_restrictions_and_changes_none(cast, signed_in, injury):
    uid = add(signed_in(cast.coach), cast, injury, LIMIT).json()["id"]
    api = signed_in(cast.client)
    assert len(api.get(address(cast.client, injury.uid, "restrictions")).json()["items"]) == 1
    assert add(api, cast, injury, LIMIT).status_code == 403
    assert api.delete(address(cast.client, injury.uid, "restrictions", uid)).status_code == 403
