"""The two roles of a PostgreSQL database: the owner, who changes tables, and the service's, which cannot."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connection
from psycopg import sql

from coaching.errors import InvalidError

OWNERS_OWN = ("USER", "PASSWORD", "HOST", "PORT")
NEEDED = "Set DATABASE_URL to the service's role, MIGRATION_DATABASE_URL to the owner of the same database."


@contextmanager
def as_owner() -> Iterator[None]:
    """The default connection is the owner's until the block ends, where MIGRATION_DATABASE_URL names one.

    For commands and the suite's set-up, which run alone in their process: all connections are closed.
    """
    if settings.DATABASE_OWNER is None:
        yield
        return
    service = {name: connection.settings_dict[name] for name in OWNERS_OWN}
    _connect_as({name: settings.DATABASE_OWNER[name] for name in OWNERS_OWN})
    try:
        yield
    finally:
        _connect_as(service)


def _connect_as(role: dict[str, str]) -> None:
    connection.close()
    if connection.vendor == "postgresql":
        connection.close_pool()  # type: ignore[attr-defined]  # of this backend alone
    connection.settings_dict.update(role)


def grant_service_role() -> bool:
    """Make the role of DATABASE_URL if it is not there, and grant it rows, not tables; safe to repeat.

    True if the role is new. Raises InvalidError where the two roles are not named, or are one.
    """
    service, owner = connection.settings_dict["USER"], (settings.DATABASE_OWNER or {}).get("USER")
    if connection.vendor != "postgresql" or not owner or not service:
        raise InvalidError(NEEDED)
    if owner == service:
        raise InvalidError(f"The service's role is the owner, {owner}. {NEEDED}")
    password = connection.settings_dict["PASSWORD"]
    role = sql.Identifier(service)
    with as_owner(), connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [service])
        is_new = cursor.fetchone() is None
        if is_new:
            secret = sql.SQL(" PASSWORD {}").format(sql.Literal(password)) if password else sql.SQL("")
            cursor.execute(_text(sql.SQL(MAKE).format(role=role) + secret))
        for statement in GRANTS:
            cursor.execute(_text(sql.SQL(statement).format(role=role)))
    return is_new


def _text(statement: sql.Composable) -> str:
    return statement.as_string(connection.connection)


MAKE = "CREATE ROLE {role} LOGIN NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE NOINHERIT"
GRANTS = (
    "GRANT USAGE ON SCHEMA public TO {role}",
    "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {role}",
    "GRANT SELECT, USAGE ON ALL SEQUENCES IN SCHEMA public TO {role}",
    "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {role}",
    "ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, USAGE ON SEQUENCES TO {role}",
)
