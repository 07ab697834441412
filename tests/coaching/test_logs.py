import json
import logging
import sys

import pytest
import structlog

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
    said = f"Using worker: /api/v1/calendar/{token}"
    record = logging.LogRecord("gunicorn.error", logging.INFO, __file__, 1, "%s by %s", (said, token), None)
    line = json.loads(line_formatter().format(record))
    assert line["event"] == "Using worker: /api/v1/calendar/... by ..."


def line_of(name, level, said, *args, **extra):
    record = logging.LogRecord(name, level, "/any/base.py", 273, said, args or None, None, "handle_error")
    vars(record).update(extra)
    return json.loads(line_formatter().format(record))


@pytest.mark.parametrize(
    ("said", "args", "told"),
    [
        ("Error handling request %s", ("/x?email=mira@example.org",), "Error handling request ..."),
        ("Worker (pid:%s) exited with code %s.", (7, 1), "Worker (pid:7) exited with code 1."),
        ("Invalid header 'X: mira@example.org'", (), "base.py:273 handle_error"),
        (ValueError("mira@example.org"), (), "base.py:273 handle_error"),
        ("%d of %s", ("mira@example.org", "sore"), "%d of %s"),
        (
            "Task %(name)s[%(id)s] raised: %(exc)s",
            ({"name": "tick", "id": "0190", "exc": "mira@example.org"},),
            "Task tick[0190] raised: ...",
        ),
    ],
)
def test_of_a_librarys_warning_only_what_it_had_written_beforehand_is_kept(said, args, told):
    assert line_of("gunicorn.error", logging.WARNING, said, *args)["event"] == told


def test_a_library_that_sees_requests_says_no_more_below_a_warning():
    assert line_of("django.server", logging.INFO, '"%s" %s', "GET /?pain=7", 200)["event"] == '"..." 200'


def test_of_our_own_lines_only_known_keys_are_kept(caplog):
    caplog.handler.setFormatter(line_formatter())
    with caplog.at_level(logging.INFO):
        structlog.get_logger("api").info("stored", status=201, note="Sore on stairs", pain=7)
    line = json.loads(caplog.text)
    assert (line["status"], line["left_out"]) == (201, ["note", "pain"])
    assert "Sore" not in caplog.text and "7" not in str(line["left_out"])


def test_a_line_that_cannot_be_written_tells_nothing_of_itself():
    class OddError(Exception):
        def __str__(self):
            raise RuntimeError

    line = line_of("celery", logging.INFO, "%s", OddError())
    assert line == {"event": "line_lost", "logger": "celery", "error": "RuntimeError"}


def test_a_line_break_in_what_is_logged_makes_no_second_line():
    record = logging.LogRecord("celery", logging.INFO, "/a.py", 1, 'a\r\n{"event": "forged"}', None, None)
    assert "\n" not in line_formatter().format(record)
