"""The second belt: PostgreSQL itself, under the service's role, with the code's own belt taken off."""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.core import checks
from django.db import ProgrammingError, connection, transaction
from rest_framework.response import Response

from api import endpoint
from coaching.models import Alert, Client, Night, Practice, scoped
from coaching.models.scope import across_practices, outside_of_practices, within_practice
from coaching.models.scoped import ScopedQuerySet
from coaching.operations.database_roles import as_owner
from coaching.reads.database_role import role_faults
from tests.constraint_rows import SMALLEST, World, insert, world
from tests.factories import AlertFactory, ClientFactory, MembershipFactory, PracticeFactory
from tests.security.walk import OF_PRACTICES, found_elsewhere, make_elsewhere, readable, without_filters

pytestmark = [pytest.mark.roles, pytest.mark.django_db]


@pytest.fixture
def no_first_belt(monkeypatch):
    """The code binds nothing and checks nothing any more; what is left is the server's."""
    monkeypatch.setattr(scoped, "_bind", lambda query, practice_id: None)
    monkeypatch.setattr(scoped, "_check_practice", lambda model, practice: None)
    monkeypatch.setattr(ScopedQuerySet, "_check_scope", lambda rows: None)


def ask(statement: str, *values: object) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


def test_the_tests_run_under_a_role_that_the_policies_hold_for():
    assert role_faults() == ()


def test_every_table_of_a_practice_is_secured_against_its_owner_too():
    rows = ask(
        "SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity"
        " AND EXISTS (SELECT 1 FROM pg_policy WHERE polrelid = pg_class.oid)"
    )
    tables = {kind._meta.db_table for kind in OF_PRACTICES} | {"coaching_account", "coaching_secondfactor"}
    assert {name for (name,) in rows} == tables


def of_its_own(kind: Any, rows: World) -> dict[str, Any]:
    """Changes that make the smallest row one of the practice itself."""
    kept = {"practice": rows.practice} if "practice" in [field.name for field in kind._meta.fields] else {}
    return kept | ({"night_on": date(2026, 3, 3)} if kind is Night else {})


@pytest.mark.parametrize("kind", [kind for kind in OF_PRACTICES if kind in SMALLEST])
def test_a_row_is_there_within_its_practice_only(kind, no_first_belt):
    there, here = world(), PracticeFactory()
    kept = of_its_own(kind, there)
    row = there.practice if kind is Practice else insert(kind, there, **kept)
    table, key = kind._meta.db_table, kind._meta.pk.column
    find = f'SELECT count(*) FROM "{table}" WHERE "{key}" = %s'
    is_shared = kind.practice_by == "exercise"
    with within_practice(there.practice.id):
        assert ask(find, row.pk) == [(1,)]
    with within_practice(here.id):
        assert ask(find, row.pk) == [(1 if is_shared else 0,)]
        with connection.cursor() as cursor:
            cursor.execute(f'DELETE FROM "{table}" WHERE "{key}" = %s', [row.pk])
            assert cursor.rowcount == 0
    with outside_of_practices():
        assert ask(find, row.pk) == [(1 if is_shared else 0,)]


@pytest.mark.parametrize("kind", [kind for kind in OF_PRACTICES if kind in SMALLEST])
def test_a_row_cannot_be_made_in_another_practice(kind, no_first_belt):
    there, here = world(), PracticeFactory()
    kept = of_its_own(kind, there)
    with (
        within_practice(here.id),
        pytest.raises(ProgrammingError, match="row-level security"),
        transaction.atomic(),
    ):
        insert(kind, there, **kept)


def test_a_row_cannot_be_moved_to_another_practice(cast, no_first_belt):
    alert = AlertFactory(client=cast.client)
    with (
        within_practice(cast.practice.id),
        pytest.raises(ProgrammingError, match="row-level security"),
        transaction.atomic(),
    ):
        Alert.objects.filter(id=alert.id).update(practice=cast.stranger.practice)


def test_what_is_joined_is_held_as_well(cast, no_first_belt):
    alert = AlertFactory(client=cast.client)
    with across_practices("to spoil a row"):
        Alert.objects.filter(id=alert.id).update(client=cast.strangers_client)
    with within_practice(cast.practice.id):
        assert list(Alert.objects.filter(id=alert.id).values_list("client__name")) == []


def test_with_filters_and_scope_gone_a_stranger_still_reads_nothing(
    cast, signed_in, monkeypatch, no_first_belt
):
    there, api = make_elsewhere(), signed_in(cast.owner)
    without_filters(monkeypatch)
    found = {route: found_elsewhere(api, route, there) for route in readable()}
    assert {route: given_away for route, given_away in found.items() if given_away} == {}


def test_without_the_policies_too_the_same_walk_would_tell(cast, signed_in, monkeypatch, no_first_belt):
    there, api = make_elsewhere(), signed_in(cast.owner)
    without_filters(monkeypatch)
    monkeypatch.setattr(endpoint, "within_practice", lambda practice_id: across_practices("a mutant"))
    assert len([route for route in readable() if found_elsewhere(api, route, there)]) > 30


def told() -> object:
    return ask("SELECT coalesce(current_setting('forbear.practice', true), '')")[0][0]


def test_the_server_follows_the_scope_through_savepoints(cast):
    with within_practice(cast.practice.id), transaction.atomic():
        with across_practices("a test"):
            assert told() == "*"
        assert told() == str(cast.practice.id)
        with pytest.raises(ZeroDivisionError), transaction.atomic():
            with across_practices("a test"):
                assert told() == "*"
            assert told() == str(cast.practice.id)
            raise ZeroDivisionError
        assert told() == str(cast.practice.id)
        with pytest.raises(ZeroDivisionError), across_practices("a test"), transaction.atomic():
            assert told() == "*"
            raise ZeroDivisionError
        assert told() == str(cast.practice.id)


@pytest.mark.django_db(transaction=True)
def test_what_the_server_is_told_ends_with_the_transaction():
    with within_practice(7):
        assert told() == "7"
        with transaction.atomic():
            assert told() == "7"
        connection.connection.execute("SELECT 1")
        left = connection.connection.execute("SELECT current_setting('forbear.practice', true)")
        assert left.fetchone()[0] in ("", None)


@pytest.mark.django_db(transaction=True)
def test_a_failed_transaction_leaves_nothing_told():
    client = ClientFactory(coach=MembershipFactory())
    with within_practice(client.practice_id):
        with pytest.raises(ProgrammingError), transaction.atomic():
            ask("SELECT nothing FROM nowhere")
        assert Client.objects.get() == client
        with transaction.atomic():
            assert Client.objects.get() == client


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("method", "is_one"), [("get", True), ("put", False)])
def test_a_read_is_one_transaction_and_a_write_is_as_many_as_it_says(signed_in, monkeypatch, method, is_one):
    seen: list[bool] = []

    def look(*args, **kwargs):
        seen.append(connection.in_atomic_block)
        return Response({})

    monkeypatch.setattr(f"api.sign_in.PasswordView.{method}", look, raising=False)
    getattr(signed_in(MembershipFactory()), method)("/api/v1/me/password")
    assert seen == [is_one]


FORBIDDEN = {
    "make a table": "CREATE TABLE anything (id integer)",
    "change a table": "ALTER TABLE coaching_client ADD COLUMN anything integer",
    "drop a table": "DROP TABLE coaching_client",
    "switch the policies off": "ALTER TABLE coaching_client DISABLE ROW LEVEL SECURITY",
    "drop a policy": "DROP POLICY of_practice ON coaching_client",
    "add a policy": "CREATE POLICY open ON coaching_client USING (true)",
    "become the owner": "SET ROLE postgres",
    "make a role": "CREATE ROLE anybody",
    "give itself the right": "ALTER ROLE CURRENT_USER BYPASSRLS",
}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_the_services_role_cannot(what):
    with pytest.raises(ProgrammingError, match=r"permission|must be|denied"), transaction.atomic():
        ask(FORBIDDEN[what])


def test_asking_without_policies_is_refused_and_not_answered(cast):
    with outside_of_practices(), pytest.raises(ProgrammingError), transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL row_security = off")
        ask("SELECT count(*) FROM coaching_client")


@pytest.mark.django_db(transaction=True)
def test_the_deploy_check_refuses_the_owner_and_takes_the_service():
    def faults() -> Iterator[str]:
        for found in checks.run_checks(tags=[checks.Tags.security], include_deployment_checks=True):
            if found.id == "coaching.E002":
                yield str(found.msg)

    assert list(faults()) == []
    with as_owner():
        assert any("superuser" in fault or "owns the tables" in fault for fault in faults())
