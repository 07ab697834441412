"""What all of the fuzzing shares: a quiet log."""

import logging

import pytest


@pytest.fixture(autouse=True)
def quiet_log():
    """A refusal is what is asked for here; thousands of lines about it would only cost time."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)
