"""How many queries each GET makes: as many with many rows as with few, and as many as the page says."""

import json
from pathlib import Path

import pytest
import zeal
from django.db import connection
from zeal.apps import ZealConfig

from tests.api.rows_of_routes import MADE_ANEW, OWNERS, QUERIES, add_rows, address_of, furnish, get_routes
from tests.factories import NOW

PAGE = Path(__file__).parents[2] / "api" / "QUERY_COUNTS.md"
WORDS = ("SELECT", "INSERT", "UPDATE", "DELETE")
FEW, MANY = 2, 8
# Neither asks a database, or not of our making: the document and its page are made once, from the code.
WITHOUT_ROWS = {"healthz", "readyz", "metrics", "problems/<slug:code>", "api/v1/schema", "api/v1/docs"}
INTRODUCTION = """# Queries of each GET

`tests/api/test_query_counts.py` fails where a count differs, where it grows with the rows, where a route is
missing, and where rows are asked for one by one (django-zeal). Counted are the statements that read or write
rows, on a coach's second read within an hour, who they are included. The test prints this page:
`.venv/bin/python -m pytest -s tests/api/test_query_counts.py`. Read the difference before you keep it.

| route | queries |
| --- | --- |
"""


@pytest.fixture(scope="session")
def patched():
    """django-zeal looks only within its context, so that other tests do not notice."""
    ZealConfig("zeal", zeal).ready()


@pytest.fixture
def zealous(patched, settings):
    """Three of a kind are one too many; two are the left and the right side."""
    settings.ZEAL_NPLUSONE_THRESHOLD = 3


def queries_of(api, address, status):
    """The statements of the second read of an address; nothing is drawn for who holds it already."""
    assert read(api, address) == status, address
    asked = []

    def asking(execute, sql, *args):
        asked.append(str(sql))
        return execute(sql, *args)

    # Django's own list leaves out what is not asked through its own cursors.
    with zeal.zeal_context(), connection.execute_wrapper(asking):
        assert read(api, address) == status, address
    return [sql for sql in asked if sql.lstrip(" (").startswith(WORDS)]


def read(api, address):
    answer = api.get(address, HTTP_IF_NONE_MATCH="*")
    assert answer.getvalue() is not None  # to its end, where a file is closed
    return answer.status_code


@pytest.fixture
def counted(cast, signed_in, zealous, time_machine, monkeypatch):
    """Route -> statements with few rows, and with many."""
    # Django captures no statement of a server-side cursor, of which the CSV files are read on PostgreSQL.
    monkeypatch.setitem(connection.settings_dict, "DISABLE_SERVER_SIDE_CURSORS", True)
    time_machine.move_to(NOW, tick=False)
    api, owner, place = signed_in(cast.coach), signed_in(cast.owner), furnish(cast)
    routes = sorted(set(get_routes()) - WITHOUT_ROWS)
    found = {route: [] for route in routes}
    for first, count in ((0, FEW), (FEW, MANY)):
        add_rows(place, api, first, count)
        for route in routes:
            reader = owner if route.startswith(OWNERS) else api
            status = 200 if route in MADE_ANEW else 304
            found[route].append(queries_of(reader, address_of(route, place), status))
    return found


def page_of(counted):
    return INTRODUCTION + "".join(
        f"| `/{route}{QUERIES.get(route, '')}` | {len(few)} |\n" for route, (few, _) in counted.items()
    )


def test_no_route_asks_more_of_the_database_for_more_rows_and_each_as_often_as_its_page_says(counted):
    grown = {route: (len(few), len(many)) for route, (few, many) in counted.items() if len(few) != len(many)}
    print(page_of(counted))  # noqa: T201 - to be looked at, and kept
    assert grown == {}
    assert PAGE.read_text() == page_of(counted)


def test_every_list_shows_more_rows_where_there_are_more(cast, signed_in, time_machine):
    """Otherwise equal counts would say nothing."""
    time_machine.move_to(NOW, tick=False)
    api, owner, place = signed_in(cast.coach), signed_in(cast.owner), furnish(cast)
    add_rows(place, api, 0, FEW)
    routes = [route for route in get_routes() if route not in WITHOUT_ROWS and "." not in route]
    readers = {route: owner if route.startswith(OWNERS) else api for route in routes}
    before = {route: shown(readers[route], address_of(route, place)) for route in routes}
    add_rows(place, api, FEW, 2)
    same = {
        route
        for route in routes
        if before[route] is not None and shown(readers[route], address_of(route, place)) <= before[route]
    }
    assert same == {
        "api/v1/clients/<uuid:client_id>/scheduled-sessions",  # more of each: what was logged for it
        "api/v1/exercises",  # its first page is full from the catalogue alone
    }


def shown(api, address):
    """How many items are on the first page; None for what is no list."""
    answer = api.get(address)
    assert answer.status_code == 200, address
    content = answer.getvalue()
    body = json.loads(content) if answer["Content-Type"] == "application/json" else {}
    return len(body["items"]) if "items" in body else None
