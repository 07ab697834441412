"""Migrations go back as well as forward, on a database of their own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def migrate(var: Path, *target: str) -> None:
    environment = {
        k: v
        for k, v in os.environ.items()
        if k not in ("DATABASE_URL", "MIGRATION_DATABASE_URL", "REDIS_URL")
    }
    command = [sys.executable, str(ROOT / "manage.py"), "migrate", "coaching", *target]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        env=environment | {"FORBEAR_VAR_DIR": str(var)},
        timeout=120,
    )
    assert done.returncode == 0, done.stdout[-1000:] + done.stderr[-1000:]


def test_schema_goes_back_to_the_first_migration_and_forward_again(tmp_path):
    migrate(tmp_path)
    migrate(tmp_path, "0001")
    migrate(tmp_path)
