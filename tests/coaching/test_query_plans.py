"""How PostgreSQL finds the rows of the hot paths in tables that have grown: by an index."""

import json
from datetime import UTC, datetime, timedelta

import psycopg
import pytest

from coaching.speed.own_database import own_database
from coaching.speed.world import make_world

pytestmark = [pytest.mark.postgresql, pytest.mark.roles]
GROWING = {
    "session", "loggedset", "painreport", "jointday", "liftday", "scheduledsession", "score", "nightclient",
    "change", "auditevent",
}  # fmt: skip
NIGHTS = 8
# What each index of a growing table is for, where no plan of the hot paths has it.
NOT_OF_HOT_PATHS = {
    "auditevent_account_idx": "whom an account has read about, in `manage.py audit`",
    "auditevent_subject_idx": "who read about a client, in the trail of that client",
    "change_practice_idx": "the feed of a device that sees the whole practice, from an old mark on",
    "coaching_liftday_exercise_id_ee3c60e6": "whether an exercise is used before it is deleted",
    "coaching_loggedset_exercise_id_c39eb36c": "the same, and the sessions of a client with an exercise",
    "coaching_loggedset_prescription_id_b5b45797": "sets that lose a prescription which is deleted",
    "coaching_nightclient_client_id_16d54b15": "erasing a client",
    "coaching_nightclient_practice_id_d463b623": "deleting a closed practice",
    "coaching_scheduledsession_plan_day_id_8e72ae50": "whether a plan is used before it is deleted",
}


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    until = datetime.now(UTC).date()
    with own_database(tmp_path_factory.mktemp("plans")) as own:
        make_world(
            own, clients=600, practices=10, weeks=8, sets_per_session=10, seed=7,
            until=until, tell=lambda _: None,
        )  # fmt: skip
        for days_ago in range(NIGHTS, 0, -1):
            own.manage("night", "--on", str(until - timedelta(days=days_ago)))
        with psycopg.connect(own.owner, autocommit=True) as connection:
            connection.execute("VACUUM ANALYZE")
        yield own


@pytest.fixture(scope="module")
def plans(world):
    return [tuple(each) for each in json.loads(world.run("-m", "tests.explained_plans").said)]


def test_no_hot_path_reads_a_growing_table_whole(plans):
    whole = {
        (statement, table)
        for statement, table, node, _ in plans
        if node == "Seq Scan" and table.removeprefix("coaching_") in GROWING
    }
    assert whole == set()


def test_every_index_of_a_growing_table_is_used_or_explained(plans, world):
    used = {index for _, _, _, index in plans}
    with psycopg.connect(world.owner) as connection:
        rows = connection.execute(
            "SELECT indexrelid::regclass::text FROM pg_index WHERE NOT indisunique "
            "AND indrelid = ANY(%s::regclass[])",
            [[f"coaching_{name}" for name in sorted(GROWING)]],
        )
        there = {name for (name,) in rows}
    assert there - used == set(NOT_OF_HOT_PATHS)


def test_no_index_only_begins_another_one(world):
    """It would cost every write, and find nothing that the longer one does not."""
    with psycopg.connect(world.owner) as connection:
        rows = connection.execute(
            "SELECT short.indexrelid::regclass::text, long.indexrelid::regclass::text "
            "FROM pg_index AS short JOIN pg_index AS long ON short.indrelid = long.indrelid "
            "AND short.indexrelid <> long.indexrelid AND short.indnatts < long.indnatts "
            "WHERE NOT short.indisunique AND short.indpred IS NULL AND long.indpred IS NULL "
            "AND short.indexprs IS NULL AND long.indexprs IS NULL "
            "AND short.indrelid::regclass::text LIKE 'coaching%' "
            "AND (string_to_array(long.indkey::text, ' '))[1:short.indnatts] "
            "= string_to_array(short.indkey::text, ' ')"
        ).fetchall()
    assert rows == []
