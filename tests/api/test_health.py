import pytest
from django.db import DatabaseError
from django.db.migrations.recorder import MigrationRecorder

from coaching.reads import readiness


def test_alive_needs_no_database(client):
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "alive"})


@pytest.mark.django_db
def test_ready_with_a_database_whose_migrations_are_applied(client):
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ready"})


@pytest.mark.django_db
def test_not_ready_when_the_newest_migration_is_not_applied(client):
    newest = max(name for app, name in readiness._newest_migrations() if app == "coaching")
    MigrationRecorder.Migration.objects.filter(app="coaching", name=newest).delete()
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["Retry-After"] == "5"
    assert answer.json()["type"] == "/problems/not_ready"


def test_not_ready_when_the_database_does_not_answer(client, monkeypatch):
    def refuse() -> bool:
        raise DatabaseError("connection refused at 10.0.0.7")

    monkeypatch.setattr(readiness, "is_migrated", refuse)
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert "10.0.0.7" not in answer.content.decode()


@pytest.mark.parametrize("address", ["/healthz", "/readyz"])
def test_health_is_only_read(client, address):
    assert client.post(address).status_code == 405
