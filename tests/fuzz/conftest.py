"""What all of the fuzzing shares: a quiet log, and one database for what does not depend on it."""

import logging
from pathlib import Path

import pytest

from tests.services import is_given


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """The document is held against the answers on SQLite; on PostgreSQL only where minutes do not matter."""
    if collection_path.name != "test_api_document.py" or "long" in config.option.markexpr:
        return None
    return True if is_given("postgresql") else None


@pytest.fixture(autouse=True)
def quiet_log():
    """A refusal is what is asked for here; thousands of lines about it would only cost time."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)
