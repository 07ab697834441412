"""A backup made while posts come in, put back into an empty database: all rows as they were, nothing sent."""

import json
import shutil
import stat
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from coaching.backups.archive import MANIFEST, close, whole_backup, write_dump
from coaching.backups.refusals import BackupRefusedError
from tests.loopback import Peer, listening
from tests.own_databases import ENGINES, OwnDatabase, own_database

ALL_ROWS = """
from django.db import connection
from tests.canaries import cells
import hashlib, json
lines = sorted(f"{table} {text}" for table, text in cells() if table != "coaching_installation")
print(json.dumps([len(lines), hashlib.sha256("\\n".join(lines).encode()).hexdigest()]))
"""
TICK = """
from django.utils import timezone
from coaching.models import MailRow, WebhookDelivery
from coaching.tick import tick
tick(now=timezone.now())
waiting = MailRow.objects.filter(state="waiting"), WebhookDelivery.objects.filter(state="waiting")
print([rows.count() for rows in waiting])
"""
WHERE = "from tests.canaries import where; print(sorted(where({'Zaphira'})))"
SESSIONS = (
    "from coaching.models import Session; print(*map(str, Session.objects.values_list('uid', flat=True)))"
)
ZAPHIRA = "from coaching.models import Client; print(Client.objects.get(name='Zaphira Lift').uid)"
N_POSTS = 40


@dataclass(frozen=True)
class BackedUp:
    """A database that went on meanwhile, and what was acknowledged before its backup began."""

    source: OwnDatabase
    file: Path
    told: dict[str, object]
    acknowledged: set[str]
    hook: Peer


@pytest.fixture(scope="module", params=ENGINES)
def backed_up(request, tmp_path_factory) -> Iterator[BackedUp]:
    engine = request.param
    with listening() as hook, own_database(engine, tmp_path_factory.mktemp("source")) as source:
        source.more["FORBEAR_WEBHOOK_TEST_ADDRESSES"] = hook.origin
        source.migrate()
        source.python(f"from tests.filled import fill; fill({hook.origin!r})")
        file = tmp_path_factory.mktemp("kept") / "night.backup"
        with source.start(f"from tests.filled import post; post({N_POSTS}, pause_s=0.05)") as writer:
            assert writer.stdout is not None
            acknowledged = {writer.stdout.readline().strip() for _ in range(3)}
            done = source.run("backup", "--to", str(file), "--json")
            later = {line.strip() for line in writer.stdout}
        assert len(acknowledged | later) == N_POSTS, "the service stood still meanwhile"
        yield BackedUp(source, file, done.told(), acknowledged, hook)


@pytest.fixture
def fresh(backed_up, tmp_path) -> Iterator[OwnDatabase]:
    with own_database(backed_up.source.engine, tmp_path / "var") as own:
        own.more.update(backed_up.source.more)
        yield own


@pytest.fixture
def restored(backed_up, fresh) -> OwnDatabase:
    done = fresh.run("restore", "--from", str(backed_up.file), "--json")
    told = done.told()
    assert (told["rows"], told["is_held"]) == (backed_up.told["rows"], True)
    return fresh


def test_the_backup_is_for_its_owner_alone_and_its_erasures_lie_beside_it(backed_up):
    assert stat.S_IMODE(backed_up.file.stat().st_mode) == 0o600
    assert sorted(path.name for path in backed_up.file.parent.iterdir()) == ["erasures.jsonl", "night.backup"]


def test_every_row_is_as_it_was_and_a_backup_of_it_counts_the_same(backed_up, restored, tmp_path):
    """The command has compared counts and checksums; here every value of every table is, by other code."""
    sessions = set(restored.python(SESSIONS).split())
    assert backed_up.acknowledged <= sessions < set(backed_up.source.python(SESSIONS).split())
    again = tmp_path / "again.backup"
    assert restored.run("backup", "--to", str(again)).code == 0
    first, second = manifest_of(backed_up.file), manifest_of(again)
    del first["tables"]["coaching_installation"], second["tables"]["coaching_installation"]
    assert first["tables"] == second["tables"]
    assert first["migrations"] == second["migrations"]


def test_what_nobody_wrote_meanwhile_is_the_same_by_a_reader_of_its_own(backed_up, restored, tmp_path):
    with own_database(backed_up.source.engine, tmp_path / "second") as second:
        file = tmp_path / "again.backup"
        assert restored.run("backup", "--to", str(file)).code == 0
        assert second.run("restore", "--from", str(file)).code == 0
        assert second.python(ALL_ROWS) == restored.python(ALL_ROWS)


def test_verify_finds_what_it_found_before(backed_up, restored):
    assert findings(restored) == findings(backed_up.source)


def findings(own: OwnDatabase) -> list[tuple[str, int]]:
    """A sum of the session's rows is left out where posts came in meanwhile."""
    told = json.loads(own.run("verify", "--json").said)
    assert told["constraints_missing"] == []
    return [(each["rule"], each["rows"]) for each in told["broken"]]


def test_posts_go_on_under_new_ids(restored):
    posted = restored.python("from tests.filled import post; post(2)").split()
    assert set(posted) <= set(restored.python(SESSIONS).split())


def test_neither_mail_nor_webhook_leaves_before_it_is_confirmed(backed_up, restored):
    waited = restored.python(TICK)
    outbox = restored.var / "outbox"
    assert restored.python(TICK) == waited
    assert json.loads(waited)[0] > 0 < json.loads(waited)[1]
    assert not outbox.exists() or not list(outbox.iterdir())
    hits = backed_up.hook.hits
    assert restored.run("confirm_restore").code == 0
    mails, webhooks = json.loads(restored.python(TICK))
    assert mails < json.loads(waited)[0] and webhooks < json.loads(waited)[1]
    assert backed_up.hook.hits > hits


def test_who_was_erased_since_does_not_come_back(backed_up, fresh, tmp_path):
    """The erasure happens in a copy, so that the other tests still have both."""
    with own_database(backed_up.source.engine, tmp_path / "lived_on") as lived_on:
        assert lived_on.run("restore", "--from", str(backed_up.file)).code == 0
        uid = lived_on.python(ZAPHIRA)
        assert lived_on.run("erase_client", "--client", uid, "--confirm", "Zaphira Lift").code == 0
        newer = tmp_path / "newer.jsonl"
        assert lived_on.run("erasures", "--export", str(newer)).code == 0
        done = fresh.run("restore", "--from", str(backed_up.file), "--erasures", str(newer), "--json")
        assert done.told()["erased_again"] == 1
        assert fresh.python(WHERE) == "[]"
        # And where the database that is replaced knows of an erasure that no file has.
        done = lived_on.run("restore", "--from", str(backed_up.file), "--replace", "--json")
        assert done.told()["erased_again"] == 1
        assert lived_on.python(WHERE) == "[]"


def test_without_the_erasures_nothing_is_restored_unless_that_is_said(backed_up, fresh, tmp_path):
    alone = tmp_path / "alone.backup"
    shutil.copy(backed_up.file, alone)
    done = fresh.run("restore", "--from", str(alone))
    assert (done.code, done.said) == (1, "")
    assert "--without-erasures" in done.warned
    assert fresh.run("restore", "--from", str(alone), "--without-erasures").code == 0


def test_what_is_there_is_replaced_only_if_that_is_said(backed_up, restored):
    rows = restored.python(ALL_ROWS)
    restored.python("from tests.filled import post; post(1)")
    done = restored.run("restore", "--from", str(backed_up.file))
    assert (done.code, done.said) == (1, "")
    assert "--replace" in done.warned
    assert restored.python(ALL_ROWS) != rows
    assert restored.run("restore", "--from", str(backed_up.file), "--replace").code == 0
    assert restored.python(ALL_ROWS) == rows


def test_a_file_that_is_not_whole_is_refused_before_anything_is_touched(backed_up, fresh, tmp_path):
    spoilt = tmp_path / "spoilt.backup"
    content = bytearray(backed_up.file.read_bytes())
    content[len(content) // 2] ^= 0b0000_0100
    spoilt.write_bytes(content)
    done = fresh.run("restore", "--from", str(spoilt), "--without-erasures")
    assert (done.code, done.said) == (2, "")
    assert "no whole backup" in done.warned
    assert_untouched(fresh)


def test_any_bit_that_is_flipped_cut_off_or_added_is_found(backed_up, tmp_path):
    spoilt = tmp_path / "spoilt.backup"
    content = backed_up.file.read_bytes()
    heads = [0, 257, 600, content.index(b'"key_check"'), content.index(b"manifest.json")]
    places = [*heads, *range(len(content) // 50, len(content), len(content) // 50), -2, -1]
    flipped = (content[:at] + bytes([content[at] ^ 1]) + content[at:][1:] for at in places)
    cut = (content[:size] for size in (0, 1, 65, 512, len(content) - 700, len(content) - 1))
    for bad in (*flipped, *cut, content + b"\n", content + content):
        spoilt.write_bytes(bad)
        with pytest.raises(BackupRefusedError), whole_backup(spoilt):
            pytest.fail("it was taken for whole")


def test_a_dump_that_ends_early_restores_nothing(backed_up, fresh, tmp_path):
    """A file whose digest is right and whose rows are not: nothing of it stays."""
    file = remade(backed_up.file, tmp_path / "less.backup", lose_a_row)
    done = fresh.run("restore", "--from", str(file), "--without-erasures")
    assert (done.code, done.said) == (1, "")
    assert "coaching_session" in done.warned and "not those of the backup" in done.warned
    assert_untouched(fresh)


def lose_a_row(manifest: dict) -> None:
    """The manifest knows of one that the dump has not."""
    manifest["tables"]["coaching_session"]["rows"] += 1


def test_a_backup_of_newer_code_or_of_another_kind_is_refused(backed_up, fresh, tmp_path):
    def newer(manifest: dict) -> None:
        manifest["migrations"].append(["coaching", "9999_of_tomorrow"])

    def other(manifest: dict) -> None:
        manifest["format"] = 2

    for change, told in ((newer, "newer than this code"), (other, "of the kind forbear 2")):
        file = remade(backed_up.file, tmp_path / "other.backup", change)
        done = fresh.run("restore", "--from", str(file), "--without-erasures")
        assert (done.code, done.said) == (2, "")
        assert told in done.warned
    assert_untouched(fresh)


def test_a_backup_that_is_older_than_the_code_is_migrated(backed_up, restored, tmp_path):
    """As made before an upgrade, by new code or old; it does not look into tables that it does not know."""
    expected = findings(restored)
    restored.migrate("coaching", "0012")
    file = tmp_path / "older.backup"
    told = restored.run("backup", "--to", str(file), "--json").told()
    assert (told["newest_migration"], told["erasures"]) == ("0012_erasure", None)
    with own_database(backed_up.source.engine, tmp_path / "second") as second:
        done = second.run("restore", "--from", str(file), "--without-erasures", "--json")
        assert done.told()["was_migrated"]
        assert findings(second) == expected


def test_under_another_secret_it_is_refused_unless_that_is_said(backed_up, fresh):
    words = ("restore", "--from", str(backed_up.file))
    done = fresh.run(*words, SECRET_KEY="another one " * 6)
    assert (done.code, done.said) == (2, "")
    assert "SECRET_KEY" in done.warned
    assert_untouched(fresh)
    former = fresh.env["SECRET_KEY"]
    assert fresh.run(*words, SECRET_KEY="another one " * 6, SECRET_KEY_FALLBACKS=former).code == 0
    assert fresh.run(*words, "--replace", "--another-secret-key", SECRET_KEY="another one " * 6).code == 0


def assert_untouched(own: OwnDatabase) -> None:
    tables = own.python("from django.db import connection; print(connection.introspection.table_names())")
    assert tables == "[]"


def manifest_of(file: Path) -> dict:
    with tarfile.open(file) as members:
        text = members.extractfile(MANIFEST)
        assert text is not None
        return json.load(text)


def remade(file: Path, path: Path, change) -> Path:
    """The same backup with another manifest, and a digest that is right for it."""
    plain = manifest_of(file)
    change(plain)

    class Said:
        def as_json(self) -> bytes:
            return json.dumps(plain).encode()

    with whole_backup(file) as backup, path.open("w+b") as copy:
        write_dump(copy, backup.manifest.engine, backup.dump())
        close(copy, Said())  # type: ignore[arg-type]
    return path
