"""A real PostgreSQL made to fail at a chosen statement: connections cut, transactions taken back."""

from contextlib import contextmanager

import psycopg
from django.db import connection

DEADLOCK = "DO $$ BEGIN RAISE EXCEPTION 'as if' USING ERRCODE = 'deadlock_detected'; END $$"


def cut_the_connection(server):
    """As an operator's command does, from a session of its own; it has ended when this returns."""
    with psycopg.connect(**connection.get_connection_params()) as other:
        other.execute("SELECT pg_terminate_backend(%s, 5000)", [server.info.backend_pid])


def have_it_taken_back(server):
    server.execute(DEADLOCK)


@contextmanager
def fault_at(where, fault, times=1):
    """The first `times` statements that begin with `where` meet the fault before they are asked."""
    left = times

    def meet(execute, sql, params, many, context):
        nonlocal left
        if left and str(sql).lstrip().startswith(where):
            left -= 1
            with context["connection"].wrap_database_errors:
                fault(context["connection"].connection)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(meet):
        yield
    assert left == 0, "the fault was not met"
