"""CSV over HTTP: who may take what out and bring it in, in what form, and what hostile files are told."""

import csv
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.models import AuditEvent, LoggedSet, PainReport, Plan, Session
from tests.bodies import pain_body, session_body, set_body
from tests.plan_builders import knee_lift, plan_by

HEAD = "performed_at,exercise,load,reps,rir"
GOOD = "2026-03-02T18:00:00+01:00,back_squat,100,5,2"
FILES = ["sessions", "pain-reports"]


@pytest.fixture(autouse=True)
def in_the_evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")


@pytest.fixture
def of_client(cast):
    return f"/api/v1/clients/{cast.client.uid}"


def log(api, **changes) -> str:
    uid = str(uuid.uuid4())
    assert api.put(f"/api/v1/sessions/{uid}", session_body(**changes), format="json").status_code == 201
    return uid


def bring(api, address, *lines, content=None, content_type="text/csv", **query):
    body = "\n".join(lines).encode() if content is None else content
    asked = "&".join(f"{key}={value}" for key, value in query.items())
    return api.generic("POST", f"{address}?{asked}", body, content_type=content_type)


def taken_out(answer) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode(), newline="")))


def faults(answer):
    return [(each["pointer"], each["code"]) for each in answer.json()["errors"]]


@pytest.mark.parametrize("who", ["client", "coach", "owner"])
def test_a_client_and_their_coach_take_sessions_out(cast, signed_in, of_client, who):
    uid = log(signed_in(cast.client), note="=1+1", sets=[set_body(load=100.5), set_body()])
    answer = signed_in(getattr(cast, who)).get(f"{of_client}/exports/sessions.csv")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer["Content-Disposition"] == 'attachment; filename="sessions.csv"'
    rows = taken_out(answer)
    assert [(row["session"], row["load"], row["session_note"]) for row in rows] == [
        (uid, "100.5", "'=1+1"),
        (uid, "100", "'=1+1"),
    ]
    assert rows[0]["performed_at"] == "2026-03-02T18:00:00+01:00"


def test_pain_reports_are_taken_out_within_sessions_or_alone(cast, signed_in, of_client):
    api = signed_in(cast.client)
    uid = log(api)
    api.put(
        f"/api/v1/pain-reports/{uuid.uuid4()}", pain_body(moment="at_rest", pain=5, note="'"), format="json"
    )
    rows = taken_out(api.get(f"{of_client}/exports/pain-reports.csv"))
    assert {(row["session"], row["pain"], row["note"]) for row in rows} == {(uid, "2", ""), ("", "5", "''")}


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("who", ["stranger", "colleague", "strangers_client", "colleagues_client"])
def test_whom_a_client_is_none_of_finds_nothing(cast, signed_in, of_client, who, file):
    api = signed_in(getattr(cast, who))
    assert api.get(f"{of_client}/exports/{file}.csv").status_code == 404
    assert bring(api, f"{of_client}/imports/{file}", HEAD, GOOD).status_code == 404
    assert not AuditEvent.objects.filter(record_kind__endswith="_file").exists()


@pytest.mark.parametrize("file", [*FILES, "plans"])
def test_only_an_owner_takes_the_whole_practice_out(cast, signed_in, file):
    log(signed_in(cast.client))
    log(signed_in(cast.colleagues_client))
    address = f"/api/v1/exports/{file}.csv"
    assert [signed_in(who).get(address).status_code for who in (cast.coach, cast.client)] == [403, 403]
    answer = signed_in(cast.owner).get(address)
    assert answer.status_code == 200
    if file != "plans":
        clients = {row["client"] for row in taken_out(answer)}
        assert clients == {str(cast.client.uid), str(cast.colleagues_client.uid)}


@pytest.mark.parametrize("file", FILES)
def test_taking_out_is_on_the_trail(cast, signed_in, of_client, file):
    signed_in(cast.coach).get(f"{of_client}/exports/{file}.csv")
    event = AuditEvent.objects.get(record_kind=f"{file.replace('-', '_')}_file")
    assert (event.action, event.account_id) == ("read", cast.coach.account_id)
    assert event.subject_key == cast.client.audit_key


def test_an_unchanged_file_is_not_sent_again(cast, signed_in, of_client):
    api = signed_in(cast.client)
    log(api)
    address = f"{of_client}/exports/sessions.csv"
    tag = api.get(address)["ETag"]
    again = api.get(address, HTTP_IF_NONE_MATCH=tag)
    assert (again.status_code, again.content) == (304, b"")
    log(api)
    assert api.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_a_confirmed_load_is_another_file(cast, signed_in, of_client):
    api = signed_in(cast.client)
    log(api, performed_at="2026-03-01T18:00:00+01:00", ended_at=None)
    log(api, sets=[set_body(load=900)])
    address = f"{of_client}/exports/sessions.csv"
    tag = api.get(address)["ETag"]
    waiting = LoggedSet.objects.get(is_to_confirm=True)
    api.post(f"/api/v1/sets/{waiting.uid}/confirmation")
    assert api.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_a_deleted_session_is_not_taken_out(cast, signed_in, of_client):
    api = signed_in(cast.client)
    api.delete(f"/api/v1/sessions/{log(api)}", HTTP_IF_MATCH='"1"')
    assert taken_out(api.get(f"{of_client}/exports/sessions.csv")) == []


def test_queries_do_not_grow_with_rows(cast, signed_in, of_client):
    api = signed_in(cast.client)

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert taken_out(api.get(f"{of_client}/exports/sessions.csv"))
        return len(seen)

    log(api)
    queries()
    few = queries()
    for _ in range(5):
        log(api, sets=[set_body(), set_body()])
    assert queries() == few


def test_a_plan_goes_out_and_into_another_practice(cast, signed_in):
    plan = plan_by(cast.coach, knee_lift("back_squat_of_ours"))
    address = f"/api/v1/plans/{plan.uid}/exports/plan.csv"
    answer = signed_in(cast.coach).get(address)
    assert answer["Content-Disposition"] == 'attachment; filename="plan.csv"'
    content = answer.getvalue().replace(b"back_squat_of_ours", b"back_squat")
    brought = bring(signed_in(cast.stranger), "/api/v1/imports/plans", content=content)
    assert (brought.status_code, brought.json()["plans_new"]) == (200, 1)
    theirs = Plan.objects.get(practice=cast.stranger.practice)
    assert (theirs.uid, theirs.author_id) == (plan.uid, cast.stranger.account_id)
    assert bring(signed_in(cast.stranger), "/api/v1/imports/plans", content=content).json()["plans_new"] == 0
    assert AuditEvent.objects.filter(record_kind="plans_file", action="export").count() == 1


def test_a_plan_is_nobodys_but_the_practices_coaches(cast, signed_in):
    address = f"/api/v1/plans/{plan_by(cast.coach, knee_lift()).uid}/exports/plan.csv"
    codes = [signed_in(who).get(address).status_code for who in (cast.colleague, cast.stranger, cast.client)]
    assert codes == [200, 404, 403]
    assert bring(signed_in(cast.client), "/api/v1/imports/plans", "plan_name").status_code == 403


@pytest.mark.parametrize("who", ["client", "coach"])
def test_a_client_and_their_coach_bring_sessions_in(cast, signed_in, of_client, who):
    answer = bring(signed_in(getattr(cast, who)), f"{of_client}/imports/sessions", HEAD, GOOD)
    assert answer.status_code == 200
    assert answer.json() == {
        "rows": 1,
        "bad_rows": 0,
        "is_written": True,
        "problems": [],
        "sessions_new": 1,
        "sessions_standing": 0,
        "sessions_refused": 0,
        "sets_new": 1,
        "sets_to_confirm": 0,
    }
    assert Session.objects.get().client == cast.client


def test_a_dry_run_writes_nothing(cast, signed_in, of_client):
    answer = bring(signed_in(cast.client), f"{of_client}/imports/sessions", HEAD, GOOD, dry_run="true")
    assert (answer.json()["sessions_new"], answer.json()["is_written"]) == (1, False)
    assert not Session.objects.exists()


def test_bad_rows_are_told_by_line_and_column_and_nothing_is_written(cast, signed_in, of_client):
    bad = GOOD.replace("-02T", "-01T").replace(",5,2", ",5.5,11.3")
    answer = bring(signed_in(cast.client), f"{of_client}/imports/sessions", HEAD, GOOD, bad)
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert faults(answer) == [("/rows/3/reps", "invalid"), ("/rows/3/rir", "invalid")]
    assert answer.json()["detail"] == "Bad rows: 1 of 2; problems: 2."
    assert not Session.objects.exists()
    skipped = bring(
        signed_in(cast.client), f"{of_client}/imports/sessions", HEAD, GOOD, bad, skip_bad="true"
    ).json()
    assert (skipped["sessions_new"], [row["line"] for row in skipped["problems"]]) == (1, [3, 3])


def test_other_content_under_an_id_is_a_conflict(cast, signed_in, of_client):
    api, address = signed_in(cast.client), f"{of_client}/imports/sessions"
    bring(api, address, HEAD, GOOD)
    answer = bring(api, address, HEAD, GOOD.replace(",100,", ",101,"))
    assert (answer.status_code, faults(answer)) == (409, [("/rows/2", "conflict")])


def test_what_was_taken_out_is_brought_back_for_nothing(cast, signed_in, of_client):
    api = signed_in(cast.client)
    log(api)
    for file, counted in (("sessions", "sessions"), ("pain-reports", "reports")):
        content = api.get(f"{of_client}/exports/{file}.csv").getvalue()
        told = bring(api, f"{of_client}/imports/{file}", content=content).json()
        assert (told[f"{counted}_new"], told[f"{counted}_standing"]) == (0, 1)


def test_a_file_of_another_client_of_the_practice_is_refused(cast, signed_in, of_client):
    api = signed_in(cast.owner)
    log(signed_in(cast.colleagues_client))
    for file in FILES:
        theirs = api.get(f"/api/v1/clients/{cast.colleagues_client.uid}/exports/{file}.csv").getvalue()
        answer = bring(api, f"{of_client}/imports/{file}", content=theirs)
        assert ("/rows/2/client", "another_client") in faults(answer)
    assert not Session.objects.filter(client=cast.client).exists()


def test_a_coach_brings_in_what_names_several_clients(cast, signed_in):
    lines = [f"client,{HEAD}", f"Mira Lift,{GOOD}", f"{cast.colleagues_client.uid},{GOOD}"]
    answer = bring(signed_in(cast.coach), "/api/v1/imports/sessions", *lines)
    assert faults(answer) == [("/rows/3/client", "unknown")]
    assert bring(signed_in(cast.owner), "/api/v1/imports/sessions", *lines).json()["sessions_new"] == 2
    assert bring(signed_in(cast.client), "/api/v1/imports/sessions", *lines).status_code == 403


PAIN_HEAD = "joint,side,moment,pain,symptoms,reported_at"
PAIN = "knee,left,during,3,night_pain:no,2026-03-02T18:30:00+01:00"


def test_pain_reports_are_brought_in_with_their_alerts(cast, signed_in, of_client):
    grave = PAIN.replace(",3,", ",9,").replace("knee", "hip")
    answer = bring(signed_in(cast.client), f"{of_client}/imports/pain-reports", PAIN_HEAD, PAIN, grave)
    told = answer.json()
    assert (told["reports_new"], told["urgent"] > 0) == (2, True)
    assert PainReport.objects.filter(client=cast.client).count() == 2
    again = bring(signed_in(cast.client), f"{of_client}/imports/pain-reports", PAIN_HEAD, PAIN, grave)
    assert again.json()["reports_standing"] == 2


@pytest.mark.parametrize(
    ("before", "after", "fault"),
    [
        ("knee", "knees", ("/rows/2/joint", "invalid_choice")),
        ("left", "midline", ("/rows/2/side", "impossible_site")),
        (",3,", ",11,", ("/rows/2/pain", "invalid")),
        (",3,", ",,", ("/rows/2/pain", "required")),
        ("night_pain:no", "night_pain:maybe", ("/rows/2/symptoms", "invalid_choice")),
        ("night_pain:no", "mood:no", ("/rows/2/symptoms", "unknown")),
        ("2026-03-02T18:30:00+01:00", "2026-03-02 18:30", ("/rows/2/reported_at", "no_offset")),
        ("2026-03-02T", "2027-03-02T", ("/rows/2/reported_at", "out_of_range")),
    ],
)
def test_a_bad_pain_report_is_told(cast, signed_in, of_client, before, after, fault):
    line = PAIN.replace(before, after, 1)
    answer = bring(signed_in(cast.client), f"{of_client}/imports/pain-reports", PAIN_HEAD, line)
    assert faults(answer) == [fault]


def test_times_without_an_offset_need_their_zone(cast, signed_in, of_client):
    api, address = signed_in(cast.client), f"{of_client}/imports/sessions"
    rewritten = GOOD.replace("T18:00:00+01:00", " 18:00")
    assert faults(bring(api, address, HEAD, rewritten)) == [("/rows/2/performed_at", "no_offset")]
    assert bring(api, address, HEAD, rewritten, zone="Europe/Berlin").status_code == 200
    assert Session.objects.get().performed_at.isoformat() == "2026-03-02T17:00:00+00:00"
    twice = GOOD.replace("2026-03-02T18:00:00+01:00", "2025-10-26 02:30")
    assert faults(bring(api, address, HEAD, twice, zone="Europe/Berlin")) == [
        ("/rows/2/performed_at", "no_offset")
    ]


@pytest.mark.parametrize("query", [{"zone": "Mars/Base"}, {"dry_run": "1"}, {"skip": "true"}])
def test_a_query_that_is_none_is_refused(cast, signed_in, of_client, query):
    assert (
        bring(signed_in(cast.client), f"{of_client}/imports/sessions", HEAD, GOOD, **query).status_code == 400
    )


HOSTILE = {
    "empty": b"",
    "blank": b" \r\n ",
    "NUL": f"{HEAD}\n{GOOD}\x00".encode(),
    "latin-1": f"{HEAD},session_note\n{GOOD},Zo\u00eb".encode("latin-1"),
    "UTF-16": f"{HEAD}\n{GOOD}".encode("utf-16"),
    "gzip": b"\x1f\x8b\x08\x00" + b"x" * 100,
    "spreadsheet": b"PK\x03\x04" + b"x" * 100,
    "quote never closed": f'{HEAD}\n"{GOOD}\n{GOOD}'.encode(),
    "10,000 columns named": ",".join(f"c{n}" for n in range(10_000)).encode(),
    "10,000 cells": f"{HEAD}\n{GOOD}{',x' * 10_000}".encode(),
    "1 MB cell": f"{HEAD},session_note\n{GOOD},{'x' * 1_000_000}".encode(),
    "1,000,000 empty lines": f"{HEAD}\n".encode() + b"\n" * 1_000_000,
    "20,001 rows": f"{HEAD}\n".encode() + b"2,x,1,1,1\n" * 20_001,
    "JSON": b'{"items": []}',
    "bare return in a code": f"{HEAD}\n{GOOD.replace(',back', ',back' + chr(13))}".encode(),
    "no column named": b",,,\n",
}


@pytest.mark.parametrize("file", HOSTILE)
@pytest.mark.parametrize("what", ["sessions", "pain-reports", "plans"])
def test_a_hostile_file_is_refused_in_a_sentence(cast, signed_in, of_client, what, file):
    address = "/api/v1/imports/plans" if what == "plans" else f"{of_client}/imports/{what}"
    answer = bring(signed_in(cast.coach), address, content=HOSTILE[file])
    assert answer.status_code in (400, 422)
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["detail"]
    assert not Session.objects.exists() and not Plan.objects.exists()


def test_mixed_line_ends_are_read(cast, signed_in, of_client):
    other = GOOD.replace("-02T", "-01T")
    content = f"{HEAD}\r\n{GOOD}\n\r{other}\r".encode()
    answer = bring(signed_in(cast.client), f"{of_client}/imports/sessions", content=content)
    assert answer.json()["sessions_new"] == 2


@pytest.mark.parametrize("content_type", ["application/json", "text/plain", "application/gzip"])
def test_other_content_types_are_refused(cast, signed_in, of_client, content_type):
    answer = bring(
        signed_in(cast.client), f"{of_client}/imports/sessions", HEAD, GOOD, content_type=content_type
    )
    assert answer.status_code == 415


def test_a_packed_body_is_refused(cast, signed_in, of_client):
    answer = signed_in(cast.client).generic(
        "POST", f"{of_client}/imports/sessions", b"x", content_type="text/csv", HTTP_CONTENT_ENCODING="gzip"
    )
    assert answer.status_code == 415
