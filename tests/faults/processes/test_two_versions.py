"""Old and new code at once around a migration: posts and a night go on while the new one is rolled out."""

import shutil

import pytest

from tests.journeys.processes import ROOT

pytestmark = [pytest.mark.servers, pytest.mark.faults]

NEWER = """
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("coaching", "{newest}")]
    operations = [
        migrations.AddField("{model}", "weather", models.CharField(max_length=20, default="", db_default=""))
    ]
"""
# A table that the night writes and one that posts do; the old code knows neither column.
FIELDS = {"score": ("night.py", "    method = models"), "session": ("session.py", "    work_sets = models")}
NEW_FIELD = '    weather = models.CharField(max_length=20, default="", db_default="")\n'


def newer_code(folder):
    """A copy of the code with a version more: a column in each of two tables, and its migrations."""
    for name in ("coaching", "api", "fixtures"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "manage.py", folder)
    migrations = folder / "coaching" / "migrations"
    newest = max(path.stem for path in migrations.glob("0*.py"))
    for model, (file, before) in FIELDS.items():
        name = f"{int(newest[:4]) + 1:04d}_{model}_weather"
        (migrations / f"{name}.py").write_text(NEWER.format(newest=newest, model=model))
        newest = name
        source = folder / "coaching" / "models" / file
        assert before in source.read_text(), f"{file} has changed"
        source.write_text(source.read_text().replace(before, NEW_FIELD + before, 1))
    return folder


def test_a_roll_out_under_a_night_and_posts_loses_and_doubles_nothing(bench, ledger, tmp_path):
    code = newer_code(tmp_path)
    with bench.round() as night:
        night.start()
        night.wait_for_progress()
        night.strike("two versions around a migration", lambda: None)
        migrated = night.service.by_hand("migrate", "--no-input", code=code)
        assert migrated.returncode == 0, migrated.stderr
        night.service.start_beside("worker", code)
        night.wait_for_progress()
        for name in ("web", "worker", "beat"):
            night.service.roll_over(name, code)
        night.settle(ledger)
        assert night.rows("SELECT DISTINCT weather FROM coaching_score") == [("",)]
