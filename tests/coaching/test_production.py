"""What the service refuses to start with once PRODUCTION is on."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAFE = {
    "PRODUCTION": "true",
    "SECRET_KEY": "an-invented-secret-that-is-long-enough-for-a-test-0123456789",
    "ALLOWED_HOSTS": "forbear.example",
    "PUBLIC_URL": "https://forbear.example",
}
UNSET = ("DATABASE_URL", "REDIS_URL", "EMAIL_URL", "DEBUG", "METRICS_TOKEN")


def checked(var: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    bare = {name: value for name, value in os.environ.items() if name not in (*UNSET, *SAFE)}
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=bare | {"FORBEAR_VAR_DIR": str(var)} | environment,
        capture_output=True,
        text=True,
    )


def test_the_deploy_check_is_clean_in_production(tmp_path):
    done = checked(tmp_path, **SAFE)
    assert (done.returncode, "no issues" in done.stdout + done.stderr) == (0, True)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("DEBUG", "true", "DEBUG must be off"),
        ("SECRET_KEY", "short", "SECRET_KEY must be"),
        ("SECRET_KEY", "", "SECRET_KEY must be"),
        ("ALLOWED_HOSTS", "*", "ALLOWED_HOSTS must name"),
        ("PUBLIC_URL", "http://forbear.example", "PUBLIC_URL must begin"),
        ("METRICS_TOKEN", "short", "METRICS_TOKEN must have 32 characters"),
    ],
)
def test_it_does_not_start_with_an_unsafe_setting_and_says_so_in_one_line(tmp_path, name, value, said):
    done = checked(tmp_path, **(SAFE | {name: value}))
    assert done.returncode == 1
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_hosts_that_were_not_named_are_no_hosts_of_production(tmp_path):
    unnamed = {name: value for name, value in SAFE.items() if name != "ALLOWED_HOSTS"}
    assert "ALLOWED_HOSTS" in checked(tmp_path, **unnamed).stderr


def test_no_secret_is_made_in_the_folder_in_production(tmp_path):
    checked(tmp_path, **(SAFE | {"SECRET_KEY": ""}))
    assert not (tmp_path / "secret_key").exists()
