"""What each role reads, body by body: a new key fails here until somebody has decided who sees it."""

import os
from io import BytesIO
from zipfile import ZipFile, is_zipfile

import pytest

from tests.api.every_route import Filled, every_route
from tests.api.seen_by_role import TABLE, table_of
from tests.api.test_writing_routes import ROWS, Edit, Post, Put

COACHES_OWN = ("private_note", "close_note", "severity", "worth_asking", "evidence", "has_account")
WRITTEN_BY_CLIENTS = {
    ("put", "sessions/<made:session_id>"),
    ("patch", "sessions/<made:session_id>"),
    ("delete", "sessions/<made:session_id>"),
    ("put", "pain-reports/<made:report_id>"),
    ("delete", "pain-reports/<made:report_id>"),
    ("patch", "clients/<uuid:client_id>/scheduled-sessions/<uuid:scheduled_session_id>"),
    ("post", "clients/<uuid:client_id>/injuries"),
    ("post", "clients/<uuid:client_id>/body-masses"),
    ("put", "clients/<uuid:client_id>/consents/<str:purpose>"),
}


@pytest.fixture(autouse=True)
def monday_evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)


def paragraphs():
    """{route: {who: keys}} as the table has it."""
    found = {}
    for part in TABLE.read_text().strip().split("\n\n"):
        route, *lines = part.splitlines()
        roles, keys = (), {}
        for line in lines:
            if line.startswith("    "):
                keys.setdefault(roles, []).append(line.strip())
            else:
                roles = line.strip().rstrip(":")
        found[route] = {who: seen for roles, seen in keys.items() for who in roles.split(", ")}
    return found


def test_each_role_sees_the_keys_that_were_decided_for_it(cast, signed_in):
    """FORBEAR_WRITE_TABLES=1 writes the table anew; read the difference before you commit it."""
    seen = table_of(cast, signed_in)
    if os.environ.get("FORBEAR_WRITE_TABLES"):
        TABLE.write_text(seen)
    assert seen == TABLE.read_text()


def test_no_client_and_no_service_reads_a_coachs_private_note():
    for route, seen in paragraphs().items():
        for who in ("client", "service"):
            assert not [key for key in seen[who] if key.split(".")[-1] == "private_note"], route


def test_a_client_reads_advice_and_caution_and_nothing_that_is_the_coachs():
    for route, seen in paragraphs().items():
        assert not [key for key in seen["client"] if key.split(".")[-1] in COACHES_OWN], route
    own = paragraphs()["api/v1/alerts/<uuid:alert_id>"]["client"]
    assert {"sentence", "caution", "refer_out"} <= set(own)


def test_no_word_of_a_private_note_reaches_a_client(cast, signed_in):
    filled, own = Filled(cast, signed_in), signed_in(cast.client)
    coach = signed_in(cast.coach)
    notes = coach.get(f"/api/v1/clients/{cast.client.uid}/intervention-notes").content.decode()
    assert "PRIVATE-NOTE" in notes
    for method, route in every_route():
        if method == "get":
            answer = own.get(filled.read(route))
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            assert b"PRIVATE-NOTE" not in unpacked(body), route


def unpacked(body):
    """An archive as its files, one after the other; anything else as it is."""
    if not is_zipfile(BytesIO(body)):
        return body
    with ZipFile(BytesIO(body)) as archive:
        return b"".join(archive.read(name) for name in archive.namelist())


@pytest.mark.parametrize(
    "key", [key for key, row in ROWS.items() if isinstance(row, Edit | Put | Post)], ids=str
)
def test_a_client_writes_what_is_theirs_and_nothing_of_the_coachs(cast, signed_in, key):
    filled = Filled(cast, signed_in)
    row = ROWS[key]
    address, body = row.call(filled.world)
    method = key[0]
    headers = {} if isinstance(row, Put) else {"If-Match": '"1"'}
    answer = getattr(signed_in(cast.client), method)(address, body, format="json", headers=headers)
    if (method, key[1].removeprefix("api/v1/")) in WRITTEN_BY_CLIENTS:
        assert answer.status_code in (200, 201, 204, 409), answer.content
    else:
        assert answer.status_code in (403, 404), answer.content


@pytest.mark.parametrize("judgement", [{"status": "settled"}, {"cautions": "Any"}, {"pain_limit": 9}])
def test_a_client_tells_of_an_injury_and_judges_nothing_about_it(cast, signed_in, judgement):
    address = f"/api/v1/clients/{cast.client.uid}/injuries"
    body = {"joint": "knee", "side": "left", "said": "Sore on stairs."}
    answer = signed_in(cast.client).post(address, body | judgement, format="json")
    assert answer.status_code in (403, 422)
