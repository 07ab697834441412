import json
import logging
import sys

from coaching.logs import line_formatter


def test_an_exception_is_named_and_placed_but_its_text_stays_out():
    try:
        raise ValueError("DETAIL: Failing row contains (Mira Lift, pain 7)")
    except ValueError:
        record = logging.LogRecord("db", logging.ERROR, __file__, 1, "insert failed", None, sys.exc_info())
    line = line_formatter().format(record)
    assert "Mira" not in line
    assert json.loads(line)["error"] == "ValueError"
