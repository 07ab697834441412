"""Every command as a stranger types it: its help, its codes, what it prints where, and how it is stopped."""

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command, load_command_class
from django.core.management.base import OutputWrapper

from coaching import management
from coaching.management import telling
from coaching.management.by_hand import CommandByHand
from coaching.management.telling import progress
from coaching.management.whole_file import check_folder, whole_file
from coaching.models import Night, NightClient
from coaching.operations import nights
from coaching.operations.scoring import score_chunk
from tests.factories import NOW, PracticeFactory
from tests.journeys.processes import ROOT, environment

PAIN = "client,joint,side,day,pain,joint_reps\nMira,knee,left,2025-01-06,2,30\n"
SETS = "client,performed_at,exercise,reps\n"
NOBODY = "0190a7c4-2f1e-7b3a-9c55-d2e8f4a61b07"


@dataclass(frozen=True)
class Row:
    """How a command is typed: rightly, if it then ends by itself; wrongly, with words of its sentence."""

    right: tuple[str, ...] | None
    wrong: tuple[tuple[tuple[str, ...], int, str], ...] = ()
    has_json: bool = True
    keys: tuple[str, ...] = ()


NO_ONE = ("--client", NOBODY, "--confirm", "Nobody")
PRACTICE = ("--zone", "Europe/Berlin", "--country", "de", "--owner-email", "olga@example.org")
REVIEW = ("--profession", "physician", "--country", "de")
ROWS = {
    "alarm_quality": Row(
        ("--size", "10"),
        ((("--picture", "nowhere/x.png"), 1, "no folder nowhere"), (("--size", "3"), 2, "from 10 to 2000")),
        keys=("seed", "size", "pain", "lifts", "adherence"),
    ),
    "audit": Row(
        ("--action", "read"),
        (
            (("--client", "12"), 2, "is not an id like"),
            (("--client", NOBODY), 1, "no such client"),
            (("--account", "nobody@example.org"), 1, "no such account"),
            (("--from", "2026-03-03", "--until", "2026-03-02"), 2, "--until: "),
            (("--json", "--csv"), 2, "not allowed with"),
        ),
        keys=("events",),
    ),
    "backup": Row(
        None,  # of the suite's own database nobody outside of the test's transaction sees a row
        (((), 2, "--to"), (("--to", "nowhere/x"), 1, "no folder nowhere")),
        keys=("file", "rows"),
    ),
    # Minutes long; tests/coaching/test_bench_world.py runs it.
    "bench": Row(
        None,
        (
            ((), 2, "WHAT"),
            (("breakfast",), 2, "invalid choice"),
            (("night", "--clients", "0"), 2, "of 1 or more"),
        ),
    ),
    "confirm_restore": Row((), (((("--hold", "now"), 2, "now"),)), keys=("was_restored", "dropped")),
    "create_practice": Row(
        ("--name", "Harbour, Strength; 🏋️", *PRACTICE),
        ((("--name", "Harbour", *PRACTICE, "--zone", "Europe/Bern"), 2, "--zone: "), ((), 2, "--name")),
        keys=("practice", "name", "token", "accept_at", "expires_at"),
    ),
    "erase_client": Row(
        None, ((NO_ONE, 1, "no such client"), (("--client", "12", "--confirm", "x"), 2, "is not an id like"))
    ),
    "erasures": Row(
        ("--export", "{out}"),
        (
            (("--export", "nowhere/x"), 1, "no folder nowhere"),
            (("--apply", "none"), 1, "none cannot be read"),
            (("--apply", "{sets}"), 2, "this is no erasure"),
            ((), 2, "--export"),
        ),
        keys=("erasures",),
    ),
    "import_person": Row(
        None,
        (
            (("{sets}", "--practice", NOBODY), 2, "no archive of a person"),
            (("none.zip", "--practice", NOBODY), 1, "none.zip cannot be read"),
            (("{sets}", "--practice", "12"), 2, "is not an id like"),
        ),
    ),
    "retention": Row(
        ("--dry-run",),
        ((("--practice", NOBODY), 1, "no such practice"), (("--practice", "12"), 2, "is not an id like")),
        keys=("is_dry_run", "practices"),
    ),
    "delete_closed_practices": Row(
        ("--dry-run",), ((("--on", "2026-03-02"), 2, "--on"),), keys=("practices",)
    ),
    "demo": Row(None, ((("--on", "yesterday"), 2, "is not a date like 2026-03-02"),), has_json=False),
    "doctor": Row(None, has_json=False),  # what it finds depends on the machine; see test_doctor.py
    "grant_service_role": Row(None, has_json=False),
    **{
        name: Row(
            None,
            (
                (("{sets}", "--practice", "12"), 2, "is not an id like"),
                (("{sets}", "--practice", NOBODY), 1, "no such practice"),
            ),
        )
        for name in ("import_pain_reports", "import_plans", "import_sets")
    },
    "night": Row(
        ("--on", "2026-03-02"),
        (
            (("--on", "2026-02-30"), 2, "is not a date like 2026-03-02"),
            (("--on", "2026-03-02", "--practice", "12"), 2, "is not an id like"),
            (("--on", "2026-03-02", "--practice", NOBODY), 1, "no such practice"),
            (("--on", "2999-03-02"), 2, "no night is run ahead"),
            (("--on", "2026-03-02", "--processes", "0"), 2, "from 1 to 32"),
        ),
        keys=("nights",),
    ),
    "recompute": Row(
        ("--verbosity", "1"),
        (
            (("--practice", "12"), 2, "is not an id like"),
            (("--practice", NOBODY), 1, "no such practice"),
        ),
        keys=("rows", "written", "differences"),
    ),
    "replay": Row(
        ("pain", "{pain}", "--out", "{out}"),
        (
            (("pain", "none.csv", "--out", "{out}"), 1, "none.csv cannot be read: No such file"),
            (("pain", "{pain}", "--out", "nowhere/x.csv"), 1, "no folder nowhere"),
            (("pain", "{sets}", "--out", "{out}"), 2, "column"),
            (("sleep", "{pain}", "--out", "{out}"), 2, "sleep"),
        ),
        keys=("alerts", "out", "problems"),
    ),
    "restore": Row(
        None,
        (
            ((), 2, "--from"),
            (("--from", "none"), 1, "none: No such file"),
            (("--from", "{sets}"), 2, "no whole backup"),
            (("--from", "{sets}", "--erasures", "x", "--without-erasures"), 2, "not allowed with"),
        ),
    ),
    "serve": Row(
        None,
        ((("--port", "70000"), 2, "from 1 to 65535"), (("--host", "300.1.1.1"), 1, "Cannot listen")),
        has_json=False,
    ),
    "sign_off_urgency": Row(
        ("--name", "Dana Doctor", "--on", "2026-03-02", *REVIEW),
        (
            (("--name", "Dana Doctor", "--on", "2.3.2026", *REVIEW), 2, "is not a date like 2026-03-02"),
            (("--name", "Dana Doctor", "--on", "2999-03-02", *REVIEW), 2, "--on: "),
        ),
        keys=("clinician_name", "signed_on", "table_version", "note"),
    ),
    "verify": Row(
        ("--verbosity", "1"),
        (
            (("--practice", "12"), 2, "is not an id like"),
            (("--practice", NOBODY), 1, "no such practice"),
        ),
        keys=("rules_looked_at", "constraints_missing", "broken"),
    ),
}  # fmt: skip
DJANGOS_OWN = ("migrate",)  # ours adds nothing to type
WRONG = [(name, *wrong) for name, row in ROWS.items() for wrong in row.wrong]


@dataclass(frozen=True)
class Ended:
    code: int
    said: str
    warned: str


@pytest.fixture
def typed(tmp_path, capfd, monkeypatch, db) -> Callable[..., Ended]:
    """Type a command in this process, as from a command line."""
    (tmp_path / "pain.csv").write_text(PAIN)
    (tmp_path / "sets.csv").write_text(SETS)
    places = {"pain": tmp_path / "pain.csv", "sets": tmp_path / "sets.csv", "out": tmp_path / "flags.csv"}
    monkeypatch.setattr(telling, "QUIET_S", 600.0)  # also on a busy machine
    monkeypatch.setattr("logging.disable", lambda level: None)
    monkeypatch.setattr("django.db.connections.close_all", lambda: None)

    def run(name: str, *words: str) -> Ended:
        command = load_command_class("coaching", name)
        try:
            command.run_from_argv(["manage.py", name, *(word.format(**places) for word in words)])
        except SystemExit as ended:
            return Ended(int(ended.code or 0), *capfd.readouterr())
        return Ended(0, *capfd.readouterr())

    return run


def names() -> list[str]:
    folder = Path(management.__file__).parent / "commands"
    return sorted(path.stem for path in folder.glob("*.py") if path.stem not in ("__init__", *DJANGOS_OWN))


def test_every_command_has_its_row():
    assert sorted(ROWS) == names()


@pytest.mark.parametrize("name", names())
def test_its_help_says_what_it_does_and_writes_and_how_it_ends(typed, name):
    done = typed(name, "--help")
    told = " ".join(done.said.split())
    assert done.code == 0
    assert isinstance(load_command_class("coaching", name), CommandByHand)
    assert "rite" in told  # writes, writes nothing, is written
    ends = told[told.index(" with 0") :]
    assert all(f" with {code}" in ends for code in (0, 1, 2, 130))


@pytest.mark.parametrize("name", names())
def test_an_unknown_option_is_asked_wrongly(typed, name):
    done = typed(name, *(ROWS[name].right or ()), "--colour-of-the-gym")
    assert (done.code, done.said) == (2, "")
    assert "Traceback" not in done.warned


@pytest.mark.parametrize(("name", "words", "code", "told"), WRONG, ids=lambda part: str(part)[:40])
def test_what_cannot_be_done_is_one_sentence(typed, name, words, code, told):
    PracticeFactory()
    done = typed(name, *words)
    assert (done.code, done.said) == (code, "")
    last = done.warned.strip().splitlines()[-1]
    assert told in last
    assert "Traceback" not in done.warned and "CommandError" not in done.warned
    assert code == 2 or done.warned.count("\n") == 1


@pytest.mark.parametrize("name", ["create_practice", "night", "replay", "sign_off_urgency"])
def test_done_it_ends_with_0_and_keeps_the_error_stream_for_errors(typed, name):
    done = typed(name, *ROWS[name].right)
    assert (done.code, done.warned) == (0, "")
    assert done.said.endswith("\n")


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if row.right and row.has_json])
def test_with_json_it_prints_one_object_and_nothing_else(typed, name):
    done = typed(name, *ROWS[name].right, "--json")
    assert (done.code, done.warned) == (0, "")
    told = json.loads(done.said)
    assert set(ROWS[name].keys) <= set(told)


def test_bad_rows_are_told_as_json_too(typed, tmp_path):
    (tmp_path / "pain.csv").write_text(PAIN.replace(",2,", ",eleven,"))
    done = typed("replay", "pain", "{pain}", "--out", "{out}", "--json")
    assert done.code == 2
    told = json.loads(done.said)
    assert (told["out"], told["problems"][0]["line"]) == (None, 2)
    assert done.warned == "1 problems; nothing was written.\n"


def test_each_night_is_told_with_who_could_not_be_scored(typed, cast, monkeypatch):
    monkeypatch.setattr("coaching.nightly.score_chunk", _fails_for(cast.client))
    done = typed("night", "--on", str(NOW.date()), "--practice", str(cast.practice.uid), "--json")
    (night,) = json.loads(done.said)["nights"]
    assert done.code == 1
    assert (night["status"], night["clients_scored"], night["clients_failed"]) == ("done", 1, 1)
    assert night["failed"] == [{"client": str(cast.client.uid), "reason": "ZeroDivisionError"}]
    assert done.warned == "Nights that are not whole: 1.\n"


def _fails_for(client: Any) -> Callable[..., Any]:
    def score(*, items: Any, **more: Any) -> Any:
        if any(item.client_id == client.id for item in items):
            raise ZeroDivisionError
        return score_chunk(items=items, **more)

    return score


def test_no_night_is_run_if_one_of_them_would_be_ahead(typed):
    for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):
        PracticeFactory(zone=zone)
    assert typed("night", "--on", "2999-01-01").code == 2
    assert not Night.objects.exists()


def test_a_night_tells_how_far_it_is(typed, cast, monkeypatch):
    monkeypatch.setattr(telling, "QUIET_S", 0.0)
    done = typed("night", "--on", str(NOW.date()), "--practice", str(cast.practice.uid))
    assert done.warned == f"Harbour Strength, night of {NOW.date()}: 2 of 2 clients scored\n"


def test_who_stops_a_night_does_not_wear_out_its_clients(typed, cast, monkeypatch):
    def stop(**options: Any) -> None:
        raise KeyboardInterrupt

    words = ("night", "--on", str(NOW.date()), "--practice", str(cast.practice.uid))
    with monkeypatch.context() as patched:
        patched.setattr("coaching.nightly.score_chunk", stop)
        for _ in range(nights.MAX_ATTEMPTS):
            done = typed(*words)
            assert (done.code, done.said) == (130, "")
            assert done.warned == "Interrupted. What was scored stays; run it again to go on with the rest.\n"
    assert set(NightClient.objects.values_list("state", "attempts")) == {("todo", 0)}
    assert typed(*words).code == 0
    assert Night.objects.get().clients_scored == 2


def test_a_failure_is_an_error_for_who_calls_from_code(db):
    with pytest.raises(CommandError, match=r"no such practice") as refusal:
        call_command("night", on=NOW.date(), practice=NOBODY)
    assert refusal.value.returncode == 1


def test_work_of_two_seconds_is_silent_and_longer_work_is_not(time_machine, tmp_path):
    told = (tmp_path / "told").open("w+")
    moments = iter([0.0, 1.9, 2.1, 3.0, 4.2])
    with told, pytest.MonkeyPatch.context() as patched:
        patched.setattr("coaching.management.telling.time.monotonic", lambda: next(moments))
        tell = progress(OutputWrapper(told))
        for words in ("at 1.9 s", "at 2.1 s"):
            tell(words)
        told.seek(0)
        assert told.read() == "at 2.1 s\n"


def test_a_file_is_whole_or_as_it_was(tmp_path):
    path = tmp_path / "flags.csv"
    path.write_text("before")
    with pytest.raises(KeyboardInterrupt), whole_file(path) as file:
        file.write(b"half")
        raise KeyboardInterrupt
    assert [each.read_text() for each in tmp_path.iterdir()] == ["before"]
    with whole_file(path) as file:
        file.write(b"whole")
    assert [each.read_text() for each in tmp_path.iterdir()] == ["whole"]


def test_what_is_no_plain_file_is_not_replaced(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(CommandError, match="no plain file"):
            check_folder(path)


def start(var: Path, *words: str, **env: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), *words],
        cwd=ROOT,
        env=environment(var, **env),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A shell's background job has it ignored, and hands that on.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def run(var: Path, *words: str, **env: str) -> Ended:
    process = start(var, *words, **env)
    said, warned = process.communicate(timeout=60)
    return Ended(process.returncode, said, warned)


def test_without_a_database_it_says_so_and_makes_none(tmp_path):
    done = run(tmp_path, "night", "--on", "2026-03-02")
    assert (done.code, done.said) == (1, "")
    assert done.warned == f"There is no database {tmp_path}/forbear.sqlite3 yet: run manage.py migrate.\n"
    assert not (tmp_path / "forbear.sqlite3").exists()


def test_a_database_that_is_behind_is_not_touched(tmp_path):
    (tmp_path / "forbear.sqlite3").touch()
    done = run(tmp_path, "create_practice", "--name", "Harbour", *PRACTICE)
    assert (done.code, done.said) == (1, "")
    assert done.warned == "The database is behind this code: run manage.py migrate.\n"


def test_a_database_server_that_does_not_answer_is_one_sentence(tmp_path):
    done = run(tmp_path, "night", "--on", "2026-03-02", DATABASE_URL="postgres://nobody@127.0.0.1:1/none")
    assert (done.code, done.said) == (1, "")
    assert done.warned.startswith("The database cannot be used: ") and done.warned.count("\n") == 1


def test_a_folder_that_cannot_be_is_one_sentence(tmp_path):
    (tmp_path / "var").write_text("a file")
    done = run(tmp_path / "var", "night", "--on", "2026-03-02")
    assert (done.code, done.said) == (1, "")
    assert done.warned == f"{tmp_path}/var: File exists.\n"


def test_an_environment_that_does_not_fit_is_one_sentence(tmp_path):
    done = run(tmp_path, "night", "--on", "2026-03-02", DEBUG="perhaps")
    assert (done.code, done.said) == (1, "")
    assert '"DEBUG"' in done.warned and done.warned.count("\n") == 1


def test_stopped_it_ends_with_130_and_leaves_nothing_half_done(tmp_path):
    picture = tmp_path / "trade_off.png"
    process = start(tmp_path, "alarm_quality", "--size", "2000", "--picture", str(picture))
    assert process.stderr is not None
    assert process.stderr.readline().startswith("nights of 2000 clients")
    process.send_signal(signal.SIGINT)
    said, warned = process.communicate(timeout=30)
    assert (process.returncode, said) == (130, "")
    assert warned.splitlines()[-1] == "Interrupted. Nothing was written."
    assert "Traceback" not in warned
    assert not picture.exists()


def test_a_demo_that_is_stopped_leaves_no_server_behind(tmp_path):
    process = start(tmp_path, "demo")
    assert process.stderr is not None
    first = process.stderr.readline()
    assert "The server answers at" in first
    port = int(first.partition("127.0.0.1:")[2].split(";")[0])
    process.send_signal(signal.SIGINT)
    said, warned = process.communicate(timeout=30)
    assert (process.returncode, said) == (130, "")
    assert warned.splitlines()[-1].startswith("Interrupted. Its server is stopped")
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=5)
