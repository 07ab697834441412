"""/metrics: the numbers of rows that are there, nobody's name, for who has the token."""

import os
import re
import subprocess
import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext
from prometheus_client.parser import text_string_to_metric_families

from api import metrics
from coaching import post_counts
from coaching.models import MailRow, Night, NightStatus, WebhookDelivery
from tests.bodies import pain_body, session_body
from tests.factories import ClientFactory, MembershipFactory, PracticeFactory, WebhookFactory

pytestmark = pytest.mark.django_db
TOKEN = "a-token-of-the-operator-0123456789-abcdef"
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NIGHT_ON = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def monday_morning(time_machine, settings):
    time_machine.move_to(NOW, tick=False)
    settings.METRICS_TOKEN = TOKEN


@pytest.fixture
def read(client):
    """Name, with its label if it has one -> value."""

    def ask():
        answer = client.get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"})
        assert answer.status_code == 200
        assert answer["Content-Type"].startswith("text/plain; version=")
        return {
            "/".join([sample.name, *sample.labels.values()]): sample.value
            for family in text_string_to_metric_families(answer.content.decode())
            for sample in family.samples
        }

    return ask


def night(practice, status="done", on=NIGHT_ON, **changes):
    fields = {"practice": practice, "night_on": on, "zone": practice.zone, "planned_at": NOW}
    return Night.objects.create(**fields | {"status": status} | changes)


def mail(practice, **changes):
    fields = {"practice": practice, "kind": "urgent", "recipient": "carl@harbour.example"}
    times = {"created_at": NOW - timedelta(hours=3), "next_at": NOW}
    return MailRow.objects.create(**fields | times | {"key": str(uuid.uuid4())} | changes)


def test_without_the_setting_there_is_nothing_at_the_address(client, settings):
    settings.METRICS_TOKEN = ""
    for sent in ("Bearer ", "Bearer", "", f"Bearer {TOKEN}"):
        assert client.get("/metrics", headers={"Authorization": sent}).status_code == 404


@pytest.mark.parametrize("sent", ["", TOKEN, f"Bearer {TOKEN}x", f"bearer {TOKEN}", "Bearer é", "Bearer "])
def test_without_its_token_it_tells_nothing(client, sent):
    answer = client.get("/metrics", headers={"Authorization": sent})
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")
    assert answer.json()["type"] == "/problems/not_authenticated"


def test_nobodys_token_of_the_api_opens_it(cast, signed_in):
    assert signed_in(cast.owner).get("/metrics").status_code == 401


def test_it_is_only_read(client):
    assert client.post("/metrics", headers={"Authorization": f"Bearer {TOKEN}"}).status_code == 405


def test_it_is_read_over_plain_http_in_production_from_inside(read, settings):
    settings.PRODUCTION = True
    assert read()["forbear_ready"] == 1


def test_nights_are_counted_by_the_newest_of_each_practice(cast, read):
    night(cast.practice, "done", on=NIGHT_ON - timedelta(days=1), clients_failed=7)
    night(cast.practice, "done", clients_failed=2)
    night(cast.stranger.practice, "running")
    night(PracticeFactory(), "skipped")
    told = read()
    assert [told[f"forbear_newest_nights/{status}"] for status in NightStatus.values] == [0, 1, 1, 1]
    assert told["forbear_newest_nights_clients_failed"] == 2
    assert told["forbear_nights_unfinished"] == 1


def test_the_age_of_the_oldest_night_is_that_since_it_was_due_planned_or_not(read):
    practice = PracticeFactory(zone="UTC", night_hour=3, created_at=NOW - timedelta(days=9))
    assert read()["forbear_oldest_night_seconds"] == 6 * 3600
    night(practice, "done")
    assert read()["forbear_oldest_night_seconds"] == 0
    night(practice, "running", on=NIGHT_ON - timedelta(days=2))
    assert read()["forbear_oldest_night_seconds"] == 54 * 3600
    practice.nights.all().delete()
    night(practice, "done", on=NIGHT_ON - timedelta(days=3))
    assert read()["forbear_oldest_night_seconds"] == 54 * 3600


def test_a_practice_that_is_new_has_no_night_that_is_old(read):
    PracticeFactory(zone="UTC", night_hour=3, created_at=NOW - timedelta(seconds=20))
    assert read()["forbear_oldest_night_seconds"] == 20


def test_mail_is_counted(cast, read):
    mail(cast.practice)
    mail(cast.stranger.practice, created_at=NOW - timedelta(hours=1))
    mail(cast.practice, state="sent")
    mail(cast.practice, state="dead", error_code="recipient_550")
    mail(cast.practice, state="dead", error_code="invitation_over")
    mail(cast.practice, state="dead", error_code="recipient_550", created_at=NOW - timedelta(days=8))
    told = read()
    assert (told["forbear_mails_waiting"], told["forbear_mails_dead"]) == (2, 1)
    assert told["forbear_mails_oldest_waiting_seconds"] == 3 * 3600


def test_webhook_deliveries_are_counted(cast, read):
    hook = WebhookFactory(practice=cast.practice)
    fields = {"practice": cast.practice, "webhook": hook, "event": "webhook.test", "next_at": NOW}
    for number, state in enumerate(["waiting", "waiting", "sent", "dead"]):
        at = NOW - timedelta(minutes=10 - number)
        WebhookDelivery.objects.create(**fields, state=state, created_at=at, event_key=str(number))
    told = read()
    assert (told["forbear_webhook_deliveries_waiting"], told["forbear_webhook_deliveries_dead"]) == (2, 1)
    assert told["forbear_webhook_deliveries_oldest_waiting_seconds"] == 600


def test_clients_who_wait_to_be_scored_again_are_counted(cast, read):
    assert read()["forbear_clients_dirty"] == 0
    cast.client.dirty_from_on = NIGHT_ON
    cast.client.save()
    assert read()["forbear_clients_dirty"] == 1


def test_where_nothing_is_there_the_ages_are_zero(read):
    told = read()
    assert {value for name, value in told.items() if name.endswith("_seconds")} == {0}


def test_it_takes_as_many_queries_for_many_practices_as_for_one(read, cast):
    def fill():
        for practice in PracticeFactory.create_batch(4):
            ClientFactory(coach=MembershipFactory(practice=practice), dirty_from_on=NIGHT_ON)
            night(practice, "running")
            mail(practice)

    def queries():
        with CaptureQueriesContext(connection) as asked:
            read()
        return len(asked)

    fill()
    few = queries()
    fill()
    assert queries() == few < 20


def test_no_label_and_no_line_names_a_practice_or_a_person(cast, client, read):
    night(cast.practice, "running")
    mail(cast.practice)
    read()
    text = client.get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"}).content.decode()
    for name in ("Harbour", "Hillside", "Mira", "Carl", "example", str(cast.practice.uid)):
        assert name not in text
    assert set(re.findall(r'(\w+)="', text)) <= {"status", "outcome", "urgency"}


def test_of_a_database_that_is_away_it_says_that_and_no_number(read, monkeypatch):
    def refuse(**_):
        raise DatabaseError

    monkeypatch.setattr(metrics, "service_numbers", refuse)
    told = read()
    assert told["forbear_ready"] == 0
    assert "forbear_mails_waiting" not in told


OUTCOMES = ("stored", "same_again", "edited", "refused_4xx", "failed")


@pytest.fixture
def counted(read):
    """What has been counted since the last time it was asked."""
    before = dict.fromkeys(OUTCOMES, 0.0)

    def since():
        told = read()
        now = {outcome: told.get(f"forbear_posts_total/{outcome}", 0.0) for outcome in OUTCOMES}
        more = {
            outcome: now[outcome] - before[outcome] for outcome in OUTCOMES if now[outcome] > before[outcome]
        }
        before.update(now)
        return more

    since()
    return since


def test_posts_of_sessions_are_counted_by_what_became_of_them(cast, signed_in, counted):
    app, address, body = signed_in(cast.client), f"/api/v1/sessions/{uuid.uuid4()}", session_body()
    app.put(address, body, format="json")
    app.put(address, body, format="json")
    app.put(address, session_body(note="other"), format="json")
    app.put(address, session_body(note="other"), format="json", headers={"If-Match": '"1"'})
    app.patch(address, {"note": "again"}, format="json", headers={"If-Match": '"2"'})
    app.get(address)
    assert counted() == {"stored": 1, "same_again": 1, "refused_4xx": 1, "edited": 2}


def test_posts_of_pain_reports_are_counted_likewise(cast, signed_in, counted):
    app, address, body = signed_in(cast.client), f"/api/v1/pain-reports/{uuid.uuid4()}", pain_body()
    app.put(address, body, format="json")
    app.put(address, body, format="json")
    app.put(address, body | {"pain": 1}, format="json", headers={"If-Match": '"1"'})
    app.put(address, {}, format="json")
    assert counted() == {"stored": 1, "same_again": 1, "edited": 1, "refused_4xx": 1}


def test_each_session_of_a_batch_is_counted(cast, signed_in, counted):
    app, items = signed_in(cast.client), [session_body() | {"id": str(uuid.uuid4())} for _ in range(3)]
    app.post("/api/v1/sessions/batch", {"items": [*items, {}]}, format="json")
    app.post("/api/v1/sessions/batch", {"items": items}, format="json")
    app.post("/api/v1/sessions/batch", {}, format="json")
    assert counted() == {"stored": 3, "same_again": 3, "refused_4xx": 2}


def test_a_post_that_fails_on_our_side_is_counted(cast, signed_in, counted, monkeypatch):
    def fail(**_):
        raise DatabaseError

    monkeypatch.setattr("api.sessions.record_session", fail)
    signed_in(cast.client).put(f"/api/v1/sessions/{uuid.uuid4()}", session_body(), format="json")
    assert counted() == {"failed": 1}


@pytest.fixture
def as_a_new_process(monkeypatch):
    """What this process knows of its own file is forgotten for the test."""
    monkeypatch.setattr(post_counts, "_allocated_by", set())
    monkeypatch.setattr(post_counts, "_given_up_by", set())


def test_a_folder_that_cannot_be_made_breaks_no_post(cast, signed_in, settings, tmp_path, as_a_new_process):
    (tmp_path / "file").write_text("in the way")
    settings.METRICS_DIR = tmp_path / "file"
    app = signed_in(cast.client)
    for _ in range(2):
        assert app.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body(), format="json").status_code == 201


def test_a_folder_that_is_not_there_breaks_no_reading(read, settings, tmp_path):
    settings.METRICS_DIR = tmp_path / "nothing"
    assert read()["forbear_ready"] == 1


def test_a_file_that_is_damaged_breaks_no_reading(read, settings, tmp_path):
    settings.METRICS_DIR = tmp_path
    (tmp_path / "counter_1.db").write_bytes(b"\xff" * 5000)
    assert read()["forbear_ready"] == 1


def gone_pid():
    gone = subprocess.Popen(["true"])
    gone.wait()
    return gone.pid


def test_what_processes_that_are_gone_have_counted_is_kept_in_one_file(read, settings, tmp_path):
    settings.METRICS_DIR = tmp_path
    words = [
        "import os, sys; os.environ['PROMETHEUS_MULTIPROC_DIR'] = sys.argv[1]; import prometheus_client as p",
        "p.Counter('forbear_posts', 'any', ['outcome']).labels('stored').inc(3)",
    ]
    for _ in range(2):
        subprocess.run([os.sys.executable, "-c", "\n".join(words), str(tmp_path)], check=True)
    (tmp_path / f"counter_{gone_pid()}.db").write_bytes(b"")
    (tmp_path / f"counter_{os.getpid()}.db").write_bytes(bytes(64))
    for _ in range(3):
        post_counts.add_up_the_gone()
    names = {file.name for file in tmp_path.iterdir()}
    assert names >= {"counter_gone.db", f"counter_{os.getpid()}.db"}
    assert read()["forbear_posts_total/stored"] == 6
