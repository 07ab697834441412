import json
import logging
import sys

import pytest

from coaching.logs import line_formatter


def test_an_exception_is_named_and_placed_but_its_text_stays_out():
    try:
        raise ValueError("DETAIL: Failing row contains (Mira Lift, pain 7)")
    except ValueError:
        record = logging.LogRecord("db", logging.ERROR, __file__, 1, "insert failed", None, sys.exc_info())
    line = line_formatter().format(record)
    assert "Mira" not in line
    assert json.loads(line)["error"] == "ValueError"


@pytest.mark.parametrize("token", ["fbr_device0123", "fbrcal_feed-01_2"])
def test_no_token_is_written_whoever_logs_it(token):
    said = f"Error handling request /api/v1/calendar/{token}"
    record = logging.LogRecord("gunicorn.error", logging.ERROR, __file__, 1, "%s by %s", (said, token), None)
    line = json.loads(line_formatter().format(record))
    assert line["event"] == "Error handling request /api/v1/calendar/... by ..."


def test_what_is_no_token_stays_readable():
    record = logging.LogRecord("any", logging.INFO, __file__, 1, "at /api/v1/calendar", None, None)
    assert json.loads(line_formatter().format(record))["event"] == "at /api/v1/calendar"
