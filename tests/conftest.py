"""The cast that every test knows: owner, coach, colleague, client, and a stranger from another practice."""

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.db import connection
from django.test.client import ClientHandler
from hypothesis import settings as property_settings
from rest_framework.test import APIClient

from coaching.models import Account, AuditEvent, Client, DeviceToken, Membership, Practice
from coaching.operations.audit_door import open_door
from tests.factories import ClientFactory, ConsentFactory, MembershipFactory, PracticeFactory

pytest_plugins = ["tests.services", "tests.scopes"]

# A busy machine is no counterexample, and the same examples come every time.
property_settings.register_profile("untimed", deadline=None, derandomize=True)
property_settings.load_profile("untimed")


@pytest.fixture(scope="session")
def django_db_setup(owner_of_the_database, django_db_setup, django_db_blocker):
    """Made by the owner, used by the service's role, dropped by the owner again."""
    if pool := connection.settings_dict["OPTIONS"].get("pool"):
        pool["timeout"] = 20  # tests begin more threads than there are connections, on machines that are busy
    with django_db_blocker.unblock():
        owner_of_the_database.hand_over()
    yield
    with django_db_blocker.unblock():
        owner_of_the_database.take_over()


@pytest.fixture(scope="session")
def metrics_dir(tmp_path_factory):
    """The folder of the posts counted by this process of tests; a file in it is opened once."""
    folder = tmp_path_factory.mktemp("metrics")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PROMETHEUS_MULTIPROC_DIR", str(folder))
        yield folder


@pytest.fixture(autouse=True)
def quick_settings(settings, tmp_path, metrics_dir):
    """Cheap password hashes, and a var folder of the test's own."""
    settings.METRICS_DIR = metrics_dir
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.VAR_DIR = tmp_path
    settings.OUTBOX_DIR = tmp_path / "outbox"


@pytest.fixture(autouse=True)
def streams_closed(monkeypatch):
    """A server closes what it has sent; the test client leaves that to whoever reads to the end."""
    streams = []
    handle = ClientHandler.__call__

    def noted(self, environ):
        answer = handle(self, environ)
        if answer.streaming:
            streams.append(answer)
        return answer

    monkeypatch.setattr(ClientHandler, "__call__", noted)
    yield
    for answer in streams:
        answer.close()


TRANSACTIONAL = {"transactional_db", "live_server", "django_db_reset_sequences"}


@pytest.fixture(autouse=True)
def flushable_trail(request, _django_db_helper):
    """A test that commits is cleared up by a flush, which the guard of the audit trail would refuse."""
    yield
    mark = request.node.get_closest_marker("django_db")
    if (mark and mark.kwargs.get("transaction")) or TRANSACTIONAL & set(request.fixturenames):
        _let_flush()


def _let_flush() -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET forbear.audit_door = 'flush'")
    else:
        with open_door("retention"):
            AuditEvent.objects.all().delete()


@dataclass(frozen=True)
class Cast:
    practice: Practice
    owner: Membership
    coach: Membership
    colleague: Membership
    client: Client
    colleagues_client: Client
    stranger: Membership
    strangers_client: Client


@pytest.fixture
def cast(db) -> Cast:
    practice = PracticeFactory(name="Harbour Strength")
    elsewhere = PracticeFactory(name="Hillside Strength")
    owner = MembershipFactory(practice=practice, role="owner", account__name="Olga Owner")
    coach = MembershipFactory(practice=practice, account__name="Carl Coach")
    colleague = MembershipFactory(practice=practice, account__name="Cleo Colleague")
    stranger = MembershipFactory(practice=elsewhere, role="owner", account__name="Sten Stranger")
    client = ClientFactory(coach=coach, name="Mira Lift")
    colleagues_client = ClientFactory(coach=colleague, name="Noel Hinge")
    strangers_client = ClientFactory(coach=stranger, name="Edda Press")
    for each in (client, colleagues_client, strangers_client):
        ConsentFactory(client=each)
    return Cast(practice, owner, coach, colleague, client, colleagues_client, stranger, strangers_client)


def token_for(who: Membership | Client) -> str:
    account = who.account
    assert isinstance(account, Account)
    place = {"membership": who} if isinstance(who, Membership) else {"client": who}
    _, token = DeviceToken.objects.create(
        user=account, practice=who.practice, device_name="test device", **place
    )
    return token


@pytest.fixture
def signed_in() -> Callable[[Membership | Client], APIClient]:
    """An API client that carries the token of `who`."""

    def sign(who: Membership | Client) -> APIClient:
        api = APIClient(raise_request_exception=False)
        api.credentials(HTTP_AUTHORIZATION=f"Bearer {token_for(who)}")
        return api

    return sign
