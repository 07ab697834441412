"""Migrations beside a service in use: forwards, back, stopped half way, and behind somebody's lock."""

import threading
import time
from collections.abc import Callable, Iterator

import psycopg
import pytest

from tests.own_databases import ENGINES, OwnDatabase, own_database

ROWS = """
from tests.trial.models import Lift
Lift.objects.bulk_create([Lift(name=str(n), reps=n) for n in range(50)])
"""
COLUMNS = """
from django.db import connection
with connection.cursor() as cursor:
    print([each.name for each in connection.introspection.get_table_description(cursor, "trial_lift")])
"""
SECONDS = "from tests.trial.models import Lift; print(set(Lift.objects.values_list('seconds', flat=True)))"
INDEX = "SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass('trial_lift_reps_idx')"
INSERT = "INSERT INTO trial_lift (name, reps) SELECT n::text, n FROM generate_series(1, 50) AS n"
NEEDED = "Others hold a lock that the migration needs"


@pytest.fixture(params=ENGINES)
def own(request, tmp_path) -> Iterator[OwnDatabase]:
    with own_database(request.param, tmp_path / "var") as own:
        own.more["DJANGO_SETTINGS_MODULE"] = "tests.trial.settings"
        yield own


@pytest.fixture
def busy(tmp_path) -> Iterator[OwnDatabase]:
    """On PostgreSQL, up to before the first change of a table in use."""
    with own_database("postgresql", tmp_path / "var") as own:
        own.more["DJANGO_SETTINGS_MODULE"] = "tests.trial.settings"
        own.migrate("trial", "0001")
        with psycopg.connect(own.owner) as owner:
            owner.execute(INSERT)
        yield own


def wait_until(is_so: Callable[[], bool], within_s: float = 60) -> None:
    until = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < until
        time.sleep(0.05)


def test_every_change_goes_forwards_back_and_forwards_with_its_rows(own):
    own.migrate("trial")
    own.python(ROWS)
    columns = own.python(COLUMNS)
    own.migrate("trial", "0001")
    assert "old_note" in own.python(COLUMNS) and "rir" not in own.python(COLUMNS)
    own.migrate("trial")
    assert sorted(own.python(COLUMNS)) == sorted(columns)
    assert own.python("from tests.trial.models import Lift; print(Lift.objects.count())") == "50"
    assert own.run("makemigrations", "trial", "--check", "--dry-run").code == 0


def test_a_key_loses_its_index_and_gets_it_back(own):
    script = """
from django.db import connection
with connection.cursor() as cursor:
    found = connection.introspection.get_constraints(cursor, "trial_lift").values()
print(sum(each["columns"] == ["gym_id"] and each["index"] for each in found))
"""
    own.migrate("trial")
    assert own.python(script) == "0"
    own.migrate("trial", "0011")
    assert own.python(script) == "1"


def test_the_changes_hold_what_they_say(own):
    own.migrate("trial")
    own.python(ROWS)
    for broken in ("name='3', reps=1", "name='x', reps=-1", "name='y', reps=1, gym_id=9"):
        script = f"""
from django.db import IntegrityError
from tests.trial.models import Lift
try:
    Lift.objects.create({broken})
except IntegrityError:
    print("refused")
"""
        assert own.python(script) == "refused", broken


@pytest.mark.postgresql
@pytest.mark.roles
def test_an_index_whose_making_was_killed_is_made_anew(busy):
    """Made concurrently, it waits for every older transaction; killed there, it stays behind invalid."""
    with psycopg.connect(busy.owner) as older, psycopg.connect(busy.owner, autocommit=True) as watcher:
        older.execute("LOCK TABLE trial_lift IN ROW EXCLUSIVE MODE")
        process = busy.start(
            "from django.core.management import call_command; call_command('migrate', 'trial')"
        )
        with process:
            wait_until(lambda: watcher.execute(INDEX).fetchone() is not None)
            process.kill()
        watcher.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND query LIKE 'CREATE INDEX CONCURRENTLY%'"
        )
        older.rollback()
        assert watcher.execute(INDEX).fetchone() == (False,)
        busy.migrate("trial")
        assert watcher.execute(INDEX).fetchone() == (True,)


@pytest.mark.postgresql
@pytest.mark.roles
def test_a_migration_behind_an_idle_transaction_lets_readers_through_and_comes_to_its_end(busy):
    busy.migrate("trial", "0002")
    with psycopg.connect(busy.owner) as idle, psycopg.connect(busy.owner, autocommit=True) as reader:
        idle.execute("SELECT count(*) FROM trial_lift")
        ended = []
        running = threading.Thread(target=lambda: ended.append(busy.run("migrate", "trial", "0003")))
        running.start()
        waits = "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'trial_lift'::regclass"
        wait_until(lambda: reader.execute(waits).fetchone() == (1,))
        # Behind the waiting ALTER; answered although the idle transaction goes on.
        assert reader.execute("SELECT count(*) FROM trial_lift").fetchone() == (50,)
        assert idle.info.transaction_status == psycopg.pq.TransactionStatus.INTRANS
        idle.rollback()
        running.join()
    (done,) = ended
    assert done.code == 0, done.warned
    assert done.warned.count(NEEDED) >= 1
    assert "rir" in busy.python(COLUMNS)


@pytest.mark.postgresql
@pytest.mark.roles
def test_who_never_gets_the_lock_says_so_and_has_changed_nothing(busy):
    script = """
from django.core.management import CommandError, call_command
from coaching.management import giving_way
giving_way.TRIES, giving_way.PAUSE_S = 2, 0.1
try:
    call_command("migrate", "trial", verbosity=0)
except CommandError as error:
    print(error.returncode, error)
"""
    busy.migrate("trial", "0002")
    with psycopg.connect(busy.owner) as idle:
        idle.execute("SELECT count(*) FROM trial_lift")
        told = busy.python(script)
    assert told.startswith("1 A lock that the migration needs was held by others at each of 2 tries.")
    assert "rir" not in busy.python(COLUMNS)


def test_a_migration_killed_half_way_has_changed_nothing_and_runs_again(own, tmp_path):
    own.migrate("trial", "0010")
    own.python(ROWS)
    stands_still = tmp_path / "stands_still"
    own.more["TRIAL_STANDS_STILL"] = str(stands_still)
    with own.start(
        "from django.core.management import call_command; call_command('migrate', 'trial')"
    ) as process:
        wait_until(stands_still.exists)
        process.kill()
    del own.more["TRIAL_STANDS_STILL"]
    assert own.python(SECONDS) == "{None}"
    own.migrate("trial")
    assert own.python(SECONDS) == "{30}"
