"""The demo, as a stranger would run it, and whether its sheet tells every story rightly."""

import email
import json
import os
import stat
import subprocess
import sys
from datetime import date
from email import policy
from pathlib import Path

import pytest

from coaching.demo.stories import STORIES

ROOT = Path(__file__).resolve().parents[2]
TEXT_OF_KIND = {kind: kind.replace("_", " ") for story in STORIES for kind in story.expected_kinds}


def run_demo(var: Path, *options: str) -> str:
    environment = {
        k: v
        for k, v in os.environ.items()
        if k not in ("DATABASE_URL", "MIGRATION_DATABASE_URL", "REDIS_URL", "EMAIL_URL")
    }
    environment["FORBEAR_VAR_DIR"] = str(var)
    command = [sys.executable, str(ROOT / "manage.py"), "demo", *options]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=300)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    var = tmp_path_factory.mktemp("var")
    return var, run_demo(var)


def sheet_of(output: str) -> str:
    return output[output.index("Morning sheet of") : output.index("Posted:")]


def entry_of(sheet: str, name: str) -> str:
    """What the sheet says under a client's numbered heading, up to the next one."""
    lines = sheet.splitlines()
    start = next((index for index, line in enumerate(lines) if line.endswith(f". {name}")), None)
    if start is None:
        return ""
    end = next((i for i in range(start + 1, len(lines)) if not lines[i].startswith(" ")), len(lines))
    return "\n".join(lines[start:end])


@pytest.mark.parametrize("story", [story for story in STORIES if story.expected_kinds], ids=lambda s: s.key)
def test_a_story_that_needs_attention_is_told(demo, story):
    entry = entry_of(sheet_of(demo[1]), story.name)
    for kind in story.expected_kinds:
        assert f"[{TEXT_OF_KIND[kind]}, " in entry


@pytest.mark.parametrize("story", [story for story in STORIES if not story.is_on_sheet], ids=lambda s: s.key)
def test_a_story_without_news_is_not_an_entry(demo, story):
    assert entry_of(sheet_of(demo[1]), story.name) == ""


def test_a_typing_error_is_held_back_for_confirmation(demo):
    assert "To confirm: Bruno Acker, Dumbbell curl" in demo[1]
    assert "200 kg" in demo[1]


def test_a_newcomer_is_named_as_not_to_be_judged_yet(demo):
    assert "Too little history yet: Cosima Wyler" in demo[1]


def test_steady_good_progress_is_not_mentioned_at_all(demo):
    assert "Emil Sand" not in sheet_of(demo[1])


def test_the_red_flag_comes_first_and_every_pain_alert_carries_the_caution(demo):
    second_sheet = sheet_of(demo[1]).split("Morning sheet of")[2]
    assert second_sheet.index("[red flag") < second_sheet.index("[off plan")
    assert sheet_of(demo[1]).count("not a medical device") >= 4


def test_each_sheet_says_how_its_trends_were_held_against_chance_and_what_may_be_asked(demo):
    sheet = " ".join(sheet_of(demo[1]).split())
    assert sheet.count("false-discovery rate q = 0.10, m = ") == 2
    assert "should weekly joint reps of the right shoulder go back to about" in sheet
    assert "has the client reached a licensed clinician" in entry_of(sheet_of(demo[1]), "Ossian Brandt")


def test_the_mails_are_files_that_a_mail_program_reads(demo):
    mails = sorted((demo[0] / "outbox").glob("*.eml"))
    subjects = [
        email.message_from_bytes(path.read_bytes(), policy=policy.default)["Subject"] for path in mails
    ]
    assert len(mails) == 3
    assert sum(subject.startswith("Urgent:") for subject in subjects) == 1
    assert sum(subject.startswith("Morning sheet") for subject in subjects) == 2


def test_the_tokens_and_the_secret_are_for_this_user_only(demo):
    for name in ("demo.json", "secret_key"):
        assert stat.S_IMODE((demo[0] / name).stat().st_mode) == 0o600
    assert set(json.loads((demo[0] / "demo.json").read_text())) == {"owner", "coach", "clients"}


def test_every_pain_alert_has_its_picture(demo):
    names = {path.stem for path in (demo[0] / "pictures").glob("*.png")}
    assert {"maren-holt-right-shoulder", "tilda-frey-right-knee", "ossian-brandt-left-ankle"} <= names


def test_a_second_run_starts_from_scratch_and_tells_the_same(demo):
    again = run_demo(demo[0])
    assert sheet_of(again) == sheet_of(demo[1])


def test_it_touches_no_data_but_a_demos_own(tmp_path):
    (tmp_path / "forbear.sqlite3").write_bytes(b"")
    environment = os.environ | {"FORBEAR_VAR_DIR": str(tmp_path)}
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "demo"], capture_output=True, text=True, env=environment
    )
    assert done.returncode == 2
    assert "no demo made" in done.stderr


@pytest.mark.long
@pytest.mark.parametrize("on", [date(2026, 3, day) for day in range(2, 9)], ids=str)
def test_the_stories_are_told_rightly_on_every_weekday(tmp_path, on):
    sheet = sheet_of(run_demo(tmp_path, "--on", str(on)))
    told = {story.key: entry_of(sheet, story.name) for story in STORIES}
    for story in STORIES:
        assert all(f"[{TEXT_OF_KIND[kind]}, " in told[story.key] for kind in story.expected_kinds), story.key
        assert bool(told[story.key]) == bool(story.expected_kinds), (story.key, told[story.key])
