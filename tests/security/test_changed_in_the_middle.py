"""Rights that end while a request is on its way: it may end as it began, and the next one obeys.

Each request stops at a place of its own, until another connection has taken the right away and committed.
"""

import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from threading import Event
from typing import Any

import pytest
from django.db import connection
from rest_framework.test import APIClient

from api import memberships, sessions
from coaching.models import DeviceToken, Membership, Session
from coaching.operations import rollups
from tests.bodies import session_body
from tests.conftest import token_for

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]
WAIT_S = 30


@dataclass(frozen=True)
class Halfway:
    """A place in the code at which whoever comes first waits to be let on."""

    reached: Event
    let_on: Event

    def stop_at(self, patch: pytest.MonkeyPatch, owner: Any, name: str) -> None:
        original = getattr(owner, name)

        def stopping(*args: Any, **kwargs: Any) -> Any:
            if not self.reached.is_set():
                self.reached.set()
                assert self.let_on.wait(WAIT_S)
            return original(*args, **kwargs)

        patch.setattr(owner, name, stopping)


@pytest.fixture
def halfway() -> Iterator[Halfway]:
    made = Halfway(Event(), Event())
    yield made
    made.let_on.set()


@pytest.fixture
def begin() -> Iterator[Callable[[Callable[[], Any]], "Future[Any]"]]:
    """Another thread, and so a connection of its own."""
    with ThreadPoolExecutor(1) as pool:

        def run(call: Callable[[], Any]) -> Any:
            try:
                return call()
            finally:
                connection.close()

        yield lambda call: pool.submit(run, call)


def device(who: Any) -> tuple[APIClient, str]:
    token = token_for(who)
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api, str(DeviceToken.objects.filter(user=who.account).latest("created").uid)


def put_one(api: APIClient, **more: Any) -> Callable[[], Any]:
    return lambda: api.put(f"/api/v1/sessions/{uuid.uuid4()}", session_body(**more), format="json")


def put_many(api: APIClient, **more: Any) -> Callable[[], Any]:
    items = [session_body(id=str(uuid.uuid4())) for _ in range(3)]
    return lambda: api.post("/api/v1/sessions/batch", {"items": items} | more, format="json")


PLACES = {
    "one, before anything is written": (put_one, sessions, "record_session"),
    "one, within its transaction": (put_one, rollups, "rebuild_days"),
    "a batch, before anything is written": (put_many, sessions, "record_batch"),
    "a batch, within its transaction": (put_many, rollups, "rebuild_days"),
}


@pytest.mark.parametrize("place", PLACES)
def test_a_device_that_is_signed_out_halfway_ends_that_post_and_no_other(
    cast, begin, halfway, monkeypatch, place
):
    put, owner, name = PLACES[place]
    (phone, phone_id), (tablet, _) = device(cast.client), device(cast.client)
    halfway.stop_at(monkeypatch, owner, name)
    going = begin(put(phone))
    assert halfway.reached.wait(WAIT_S)
    assert tablet.delete(f"/api/v1/devices/{phone_id}").status_code == 204
    assert put(phone)().status_code == 401
    halfway.let_on.set()
    assert going.result(WAIT_S).status_code in (200, 201)
    assert Session.objects.count() == (1 if put is put_one else 3)
    assert [put(phone)().status_code, phone.get("/api/v1/me").status_code] == [401, 401]
    assert tablet.get("/api/v1/me").status_code == 200


@pytest.mark.parametrize("put", [put_one, put_many])
def test_whose_membership_ends_halfway_is_out_with_the_next_request(cast, begin, halfway, monkeypatch, put):
    (coach, _), (owner, _) = device(cast.coach), device(cast.owner)
    of_client = {"client": str(cast.client.uid)}
    halfway.stop_at(monkeypatch, sessions, "record_session" if put is put_one else "record_batch")
    going = begin(put(coach, **of_client))
    assert halfway.reached.wait(WAIT_S)
    address = f"/api/v1/memberships/{cast.coach.uid}?hand_over_to=owner"
    assert owner.delete(address, HTTP_IF_MATCH='"1"').status_code == 204
    assert put(coach, **of_client)().status_code == 401
    halfway.let_on.set()
    # The client is somebody else's by then, which the post may see or not.
    assert going.result(WAIT_S).status_code in (200, 201, 404)
    assert coach.get(f"/api/v1/clients/{cast.client.uid}").status_code == 401
    assert owner.get(f"/api/v1/clients/{cast.client.uid}").status_code == 200


def test_an_owner_who_becomes_a_coach_halfway_has_a_coachs_rights_in_the_next_request(
    cast, begin, halfway, monkeypatch
):
    owner, _ = device(cast.owner)
    hidden = f"/api/v1/clients/{cast.client.uid}"
    halfway.stop_at(monkeypatch, memberships, "update_membership")
    mine = f"/api/v1/memberships/{cast.coach.uid}"

    def change(version: int) -> Any:
        return owner.patch(mine, {"wants_digest": False}, format="json", HTTP_IF_MATCH=f'"{version}"')

    assert owner.get(hidden).status_code == 200
    going = begin(lambda: change(1))
    assert halfway.reached.wait(WAIT_S)
    Membership.objects.filter(id=cast.owner.id).update(role="coach")
    assert owner.get(hidden).status_code == 404
    halfway.let_on.set()
    assert going.result(WAIT_S).status_code == 200
    assert change(2).status_code == 403
    assert owner.post("/api/v1/invitations", {"role": "coach", "email": "new@example.org"}).status_code == 403


def test_a_client_who_is_archived_halfway_is_out_with_the_next_request(cast, begin, halfway, monkeypatch):
    (app, _), (coach, _) = device(cast.client), device(cast.coach)
    halfway.stop_at(monkeypatch, sessions, "record_session")
    going = begin(put_one(app))
    assert halfway.reached.wait(WAIT_S)
    address = f"/api/v1/clients/{cast.client.uid}"
    archived = coach.patch(address, {"archived": True}, format="json", HTTP_IF_MATCH='"1"')
    assert archived.status_code == 200
    assert put_one(app)().status_code == 401
    halfway.let_on.set()
    assert going.result(WAIT_S).status_code in (200, 201, 403, 404)
    assert app.get("/api/v1/me").status_code == 401
