"""What the database took back, or lost with its connection, is done once more, if it cannot be doubled."""

import uuid

import pytest
from rest_framework.test import APIClient

from coaching.models import Client, Session
from tests.bodies import session_body
from tests.conftest import token_for
from tests.database_faults import cut_the_connection, fault_at, have_it_taken_back
from tests.factories import ClientFactory, ConsentFactory

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def app():
    client = ClientFactory()
    ConsentFactory(client=client)
    app = APIClient(raise_request_exception=False)
    app.credentials(HTTP_AUTHORIZATION=f"Bearer {token_for(client)}")
    return app


SESSION_ROW = 'INSERT INTO "coaching_session"'


@pytest.mark.parametrize("fault", [cut_the_connection, have_it_taken_back])
@pytest.mark.parametrize(
    "where", ['SELECT "coaching_devicetoken"', SESSION_ROW, 'INSERT INTO "coaching_jointday"']
)
def test_a_post_that_was_cut_off_once_is_stored_once(app, where, fault):
    address, body = f"/api/v1/sessions/{uuid.uuid4()}", session_body()
    with fault_at(where, fault):
        assert app.put(address, body, format="json").status_code == 201
    assert Session.objects.count() == 1
    assert app.put(address, body, format="json").status_code == 200


@pytest.mark.parametrize("fault", [cut_the_connection, have_it_taken_back])
def test_a_post_that_was_cut_off_twice_is_503_and_leaves_nothing(app, fault):
    with fault_at(SESSION_ROW, fault, times=2):
        answer = app.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body(), format="json")
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/unavailable")
    assert int(answer.headers["Retry-After"]) > 0
    assert not Session.objects.exists()


def test_a_batch_that_was_cut_off_is_stored_whole(app):
    items = [{"id": str(uuid.uuid4())} | session_body() for _ in range(3)]
    with fault_at(SESSION_ROW, cut_the_connection):
        answer = app.post("/api/v1/sessions/batch", {"items": items}, format="json")
    assert [item["status"] for item in answer.json()["items"]] == [201, 201, 201]


def test_a_read_that_was_cut_off_is_answered(app):
    client = Client.objects.get()
    with fault_at('SELECT "coaching_session"', cut_the_connection):
        assert app.get(f"/api/v1/clients/{client.uid}/sessions").status_code == 200


def test_an_edit_whose_connection_was_lost_is_503_since_it_may_have_counted(app):
    uid = uuid.uuid4()
    stored = app.put(f"/api/v1/sessions/{uid}", session_body(), format="json")
    with fault_at('UPDATE "coaching_session"', cut_the_connection):
        answer = app.patch(
            f"/api/v1/sessions/{uid}", {"note": "Slow."}, format="json", HTTP_IF_MATCH=stored["ETag"]
        )
    assert answer.status_code == 503 and int(answer.headers["Retry-After"]) > 0
    assert Session.objects.get().version == 1


def test_an_edit_that_the_database_took_back_is_done_again(app):
    uid = uuid.uuid4()
    stored = app.put(f"/api/v1/sessions/{uid}", session_body(), format="json")
    with fault_at('UPDATE "coaching_session"', have_it_taken_back):
        answer = app.patch(
            f"/api/v1/sessions/{uid}", {"note": "Slow."}, format="json", HTTP_IF_MATCH=stored["ETag"]
        )
    assert answer.status_code == 200
    assert Session.objects.get().version == 2
