"""What a checkout does with no environment at all."""

import os
import stat
import subprocess
import sys
from pathlib import Path

from django.core.checks import ERROR, run_checks

ROOT = Path(__file__).resolve().parents[2]
UNSET = ("DATABASE_URL", "MIGRATION_DATABASE_URL", "REDIS_URL", "EMAIL_URL", "SECRET_KEY")


def secret_with(var: Path, **environment: str) -> str:
    bare = {name: value for name, value in os.environ.items() if name not in UNSET}
    done = subprocess.run(
        [sys.executable, "-c", "from coaching import settings; print(settings.SECRET_KEY)"],
        cwd=ROOT,
        env=bare | {"FORBEAR_VAR_DIR": str(var)} | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_a_secret_is_made_once_and_kept_for_this_user_only(tmp_path):
    var = tmp_path / "var"
    first = secret_with(var)
    assert len(first) >= 50
    assert secret_with(var) == first
    assert stat.S_IMODE((var / "secret_key").stat().st_mode) == 0o600
    assert stat.S_IMODE(var.stat().st_mode) == 0o700


def test_a_secret_from_the_environment_wins_and_leaves_no_file(tmp_path):
    assert secret_with(tmp_path, SECRET_KEY="from-the-environment") == "from-the-environment"
    assert not (tmp_path / "secret_key").exists()


def errors_before_deployment() -> list[str | None]:
    found = run_checks(include_deployment_checks=True)
    return [message.id for message in found if message.level >= ERROR and not message.is_silenced()]


def test_addresses_for_tests_are_refused_before_deployment(settings):
    assert errors_before_deployment() == []
    settings.WEBHOOK_TEST_ADDRESSES = ["http://127.0.0.1:8123"]
    assert errors_before_deployment() == ["coaching.E001"]
