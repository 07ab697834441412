"""What stock frameworks answer with 500, or take in silence for something else, and what it gets here."""

import json
import uuid
from urllib.parse import quote

import pytest

from coaching.models import LoggedSet, Session
from tests.bodies import pain_body, session_body, set_body

UID = "7d0f3c1e-4f2b-4d0e-9a57-0d4b8a6f6b11"
NO_IDS = {
    "Arabic-Indic digits": UID.replace("7", "٧").replace("1", "١"),
    "full-width digits": UID.replace("7", "７"),
    "braces": f"{{{UID}}}",
    "urn": f"urn:uuid:{UID}",
    "no dashes": UID.replace("-", ""),
    "capitals": UID.upper(),
    "nil without dashes": "0" * 32,
    "a whole number": "5",
    "a signed number": "+1",
    "a decimal": "1.0",
    "NUL": "%00",
    "half a character": "%ed%a0%80",
    "not UTF-8": "%ff",
    "up and away": "..%2f..%2fetc%2fpasswd",
    "too long": "a" * 8000,
    "a line break": f"{UID}%0a",
    "blank": "%20",
}
ADDRESSES = [
    "sessions/{}",
    "pain-reports/{}",
    "clients/{}/sessions",
    "alerts/{}",
    "plans/{}",
    "memberships/{}",
]


@pytest.fixture(autouse=True)
def evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z")


@pytest.fixture
def app(cast, signed_in):
    return signed_in(cast.client)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


def refused(answer, *statuses):
    assert answer.status_code in statuses, (answer.status_code, answer.content[:300])
    assert answer["Content-Type"] == "application/problem+json"
    return True


@pytest.mark.parametrize("spelt", NO_IDS.values(), ids=NO_IDS)
@pytest.mark.parametrize("address", ADDRESSES)
def test_what_is_no_id_names_nothing(coach, address, spelt):
    path = spelt if "%" in spelt else quote(spelt, safe="")
    assert refused(coach.get(f"/api/v1/{address.format(path)}"), 404)


@pytest.mark.parametrize("number", ["١", "+1", "-1", "1.0", "1_0", "%00", "9" * 5, "9" * 20, "9" * 4000])
def test_what_is_no_version_of_a_plan_names_nothing(coach, number):
    address = f"/api/v1/plans/{uuid.uuid4()}/versions/{number if '%' in number else quote(number)}"
    assert refused(coach.get(address), 404)


LISTS = ["clients", "alerts", "changes", "exercises"]
PAGE_SIZES = [
    "0",
    "-1",
    "+1",
    "1.0",
    "1e1",
    "1_0",
    "١٢",
    "NaN",
    "1e9",
    "201",
    "9" * 400,
    " 5",
    "5\x00",
    "true",
]


@pytest.mark.parametrize("spelt", PAGE_SIZES, ids=ascii)
@pytest.mark.parametrize("name", LISTS)
def test_what_is_no_page_size_is_refused(coach, name, spelt):
    assert refused(coach.get(f"/api/v1/{name}?page_size={quote(spelt)}"), 400)


@pytest.mark.parametrize("query", ["page_size=5&page_size=6", "score=1", "practice=1", "%00=1", "page_size"])
@pytest.mark.parametrize("name", LISTS)
def test_a_parameter_given_twice_or_not_known_is_refused(coach, name, query):
    assert refused(coach.get(f"/api/v1/{name}?{query}"), 400)


@pytest.mark.parametrize(
    "client", ["abc", "5", "%00", f"{{{UID}}}", UID.replace("7", "٧"), "", "=", "9" * 20, "'; DROP TABLE"]
)
@pytest.mark.parametrize("name", ["alerts", "changes"])
def test_a_filter_that_is_no_id_is_refused(coach, name, client):
    assert refused(coach.get(f"/api/v1/{name}", {"client": client}), 400)


@pytest.mark.parametrize("cursor", ["x", "%00", "cD0x", "cD1hYmM=", "bz05OTk5OTk5OTk5OTk5OTk5", "a" * 400])
def test_a_cursor_that_is_none_of_ours_is_refused_or_leads_to_a_page(coach, cursor):
    answer = coach.get(f"/api/v1/clients?cursor={quote(cursor, safe='%')}")
    assert answer.status_code == 200 or refused(answer, 400)


# Raw JSON, so that the spelling reaches the parser as it stands here.
SPELLINGS = {
    "true as a load": ("load", "true", 422),
    "a load as text": ("load", '"100"', 422),
    "Arabic-Indic digits as text": ("load", '"١٢"', 422),
    "Arabic-Indic digits bare": ("load", "١٢", 400),
    "underscored text": ("load", '"1_000"', 422),
    "underscored": ("load", "1_000", 400),
    "comma": ("load", '"5,5"', 422),
    "a blank before": ("load", '" 5 "', 422),
    "1e1000000": ("load", "1e1000000", 400),
    "1e-1000000": ("load", "1e-1000000", 400),
    "0e1000000": ("load", "0e1000000", 201),
    "4 decimals": ("load", "100.0005", 422),
    "the nearest to 0.3": ("load", "0.30000000000000004", 422),
    "minus nothing": ("load", "-0", 201),
    "minus nothing, decimal": ("load", "-0.0", 201),
    "a whole number as decimal": ("reps", "5.0", 422),
    "a number as text": ("reps", '"5"', 422),
    "true as a number": ("reps", "true", 422),
    "an exponent": ("reps", "5e0", 422),
    "minus no repetitions": ("reps", "-0", 201),
    "40 digits": ("reps", "9" * 40, 422),
    "41 digits": ("reps", "9" * 41, 400),
    "1 as a flag": ("follows_previous", "1", 422),
    "a flag as text": ("follows_previous", '"true"', 422),
    "a number as a word": ("kind", "1", 422),
    "a number as text field": ("tempo", "3110", 422),
    "a number as an id": ("id", "5", 422),
    "an id in braces": ("id", f'"{{{UID}}}"', 422),
    "an id as urn": ("id", f'"urn:uuid:{UID}"', 422),
    "an id without dashes": ("id", f'"{UID.replace("-", "")}"', 422),
    "an id with its dashes elsewhere": ("id", f'"{UID.replace("-", "")}----"', 422),
    "an id with underscores": ("id", f'"{UID[:7]}_{UID[8:]}"', 422),
    "an id in Arabic-Indic digits": ("id", json.dumps(UID.replace("1", "١")), 422),
    "nil": ("id", f'"{uuid.UUID(int=0)}"', 422),
    "max": ("id", f'"{uuid.UUID(int=2**128 - 1)}"', 422),
    "an id in capitals": ("id", f'"{UID.upper()}"', 201),
}


@pytest.mark.parametrize(("key", "spelt", "status"), SPELLINGS.values(), ids=SPELLINGS)
def test_a_spelling_of_a_set_is_taken_as_meant_or_refused(app, key, spelt, status):
    body = json.dumps(session_body(sets=[set_body(**{key: "HERE"})])).replace('"HERE"', spelt)
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, content_type="application/json")
    if status == 201:
        assert answer.status_code == 201, answer.content
        row = LoggedSet.objects.get()
        assert {"load": row.load_thousandths, "reps": row.reps, "id": str(row.uid)}[key] in (0, UID)
    else:
        assert refused(answer, status)
        assert not Session.objects.exists()


INSTANTS = [
    "2026-03-02T18:00:00",
    "2026-03-02T18:00:00+23:59",
    "2026-03-02T18:00:00+99:99",
    "2026-03-02T18:00:00+15:00",
    "2026-03-02T18:00:00-00:60",
    "2026-03-02T23:59:60Z",
    "2026-03-02T24:00:00Z",
    "2026-03-02 18:00:00Z",
    "٢٠٢٦-03-02T18:00:00Z",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "2026-W10-1T18:00:00Z",
    "1772470800",
    "2031-03-02T18:00:00Z",
    "",
]


@pytest.mark.parametrize("instant", [*INSTANTS, 1772470800, 1772470800.5, True], ids=ascii)
@pytest.mark.parametrize("key", ["performed_at", "ended_at"])
def test_what_is_no_instant_is_refused(app, key, instant):
    body = session_body(**{key: instant})
    assert refused(app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json"), 422)
    assert not Session.objects.exists()


@pytest.mark.parametrize("day", ["٢٠٢٦-٠٣-٠٢", "0001-01-01", "9999-12-31", "20260302", "2026-3-2", 20260302])
def test_what_is_no_day_is_refused(coach, cast, day):
    body = {"measured_on": day, "body_mass_kg": 80}
    assert refused(coach.post(f"/api/v1/clients/{cast.client.uid}/body-masses", body, format="json"), 422)


# NaN and infinity pass many a float field, and PostgreSQL keeps them.
@pytest.mark.parametrize(
    "spelt", ["NaN", "Infinity", "-Infinity", "1e999", '"NaN"', '"inf"', "1e308", "-0.5"]
)
@pytest.mark.parametrize("key", ["session_rpe", "note"])
def test_what_is_no_finite_number_is_refused(app, key, spelt):
    body = json.dumps(session_body(**{key: "HERE"})).replace('"HERE"', spelt)
    answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, content_type="application/json")
    is_text = key == "note" and spelt.startswith('"')
    assert answer.status_code == 201 if is_text else refused(answer, 400, 422)


HOSTILE_TEXT = ["\\u0000", "\\ud800", "\\udc00\\ud800", "a\\u0007b"]


@pytest.mark.parametrize("text", HOSTILE_TEXT)
@pytest.mark.parametrize("place", ["value", "key"])
def test_text_that_no_database_keeps_is_refused_in_free_json(app, place, text):
    symptoms = f'{{"night_pain": "{text}"}}' if place == "value" else f'{{"{text}": "no"}}'
    body = json.dumps(pain_body(symptoms="HERE")).replace('"HERE"', symptoms)
    answer = app.put(f"/api/v1/pain-reports/{uuid.uuid4()}", body, content_type="application/json")
    assert refused(answer, 400, 422)


STRANGE_TEXT = [
    "a\u202eb",
    "a\u200bb",
    "e" + "\u0301" * 500,
    "🏋️‍♀️",
    "<script>",
    "{{7*7}}",
    "'; DROP TABLE x; --",
]


@pytest.mark.parametrize("text", STRANGE_TEXT, ids=ascii)
def test_strange_text_comes_back_as_it_was_said(app, text):
    uid = uuid.uuid4()
    assert app.put(f"/api/v1/sessions/{uid}", session_body(note=text), format="json").status_code == 201
    shown = app.get(f"/api/v1/sessions/{uid}").json()["note"]
    assert shown in (text, "é" + "\u0301" * 499)


def test_a_line_break_belongs_into_a_note_and_into_no_name(app, coach):
    body = session_body(note="one\r\ntwo")
    assert app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json").status_code == 201
    assert refused(coach.post("/api/v1/clients", {"name": "Nora\r\nBcc: x"}, format="json"), 422)


@pytest.mark.parametrize("charset", ["bogus", "idna", "utf-16", "latin-1"])
def test_a_charset_is_not_what_decides(app, charset):
    answer = app.put(
        f"/api/v1/sessions/{uuid.uuid4()}",
        json.dumps(session_body(note="Grüße"), ensure_ascii=False).encode(),
        content_type=f"application/json; charset={charset}",
    )
    assert answer.status_code == 201 or refused(answer, 415)
    assert not Session.objects.exclude(note="Grüße").exists()


def test_a_set_or_a_report_twice_in_one_session_is_a_conflict(app):
    row, report = set_body(), pain_body(id=str(uuid.uuid4()))
    for body in (session_body(sets=[row, row]), session_body(pain_reports=[report, report])):
        assert refused(app.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json"), 409)
    assert not Session.objects.exists()
