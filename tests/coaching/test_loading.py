"""What a process loads before it has anything to do: what takes long to load waits until it is needed."""

import subprocess
import sys

import pytest
from django.core import checks
from django.core.management.base import SystemCheckError

from coaching.celery import check_models

LATE = {"matplotlib", "fpdf", "icalendar", "httpx", "PIL", "fontTools", "scipy"}


def loaded_after(code):
    """Names of the packages, and of our own modules, that a fresh interpreter has loaded."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    names = done.stdout.split()
    return {name.partition(".")[0] for name in names} | {
        name for name in names if name.startswith("coaching")
    }


def test_a_worker_loads_its_tasks_and_no_address_of_the_api():
    ready = "from coaching.celery import app; app.loader.import_default_modules(); app.finalize()"
    loaded = loaded_after(ready)
    assert "coaching.tasks" in loaded
    assert loaded & (LATE | {"api"}) == set()


def test_the_web_process_draws_and_prints_nothing_before_it_is_asked():
    loaded = loaded_after(
        "import api.wsgi; from django.urls import get_resolver; get_resolver().url_patterns"
    )
    assert {"api", "coaching.reads.sheet"} <= loaded
    assert loaded & LATE == set()


def test_a_worker_whose_models_are_faulty_does_not_start(monkeypatch):
    assert check_models() is None
    fault = checks.Error("Two fields of one name.", id="models.E999")
    monkeypatch.setattr("django.core.checks.run_checks", lambda tags: [fault])
    with pytest.raises(SystemCheckError):
        check_models()
