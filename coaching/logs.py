"""Structured log lines: an event and an allow-list of ids, never a body, a pain value or a name."""

import json
import logging
import re
import sys
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import structlog
from structlog.typing import EventDict

# What a line of ours may hold: ids of rows, counts, codes. Anything else is left out, and named as left out.
ALLOWED = {
    *("event", "level", "logger", "timestamp", "request_id", "exc_info", "error", "at"),
    *("account", "device", "practice", "night", "night_on", "mail", "kind", "delivery", "holder"),
    *("method", "route", "status", "code", "state", "attempts"),
    *("clients", "mails", "webhooks", "files", "took_s"),
}
# Below a warning these tell of processes and of tasks, never of a request.
OF_PROCESSES = ("gunicorn", "celery")
OF_TASKS = ("id", "name", "runtime")
# A calendar program can only send its token as a part of the address, and others log addresses.
TOKENS = re.compile(r"\bfbr[a-z]*_[\w-]+|(?<=/calendar/)[^\s\"'/]+")


def keep_what_may_be_told(_: Any, __: str, event: EventDict) -> EventDict:
    """Ours by a list of keys; of what libraries say only what they had written before they saw any data."""
    record = event.pop("_record")
    if event.pop("_from_structlog"):
        left_out = sorted(event.keys() - ALLOWED)
        kept = {key: event[key] for key in event if key in ALLOWED}
        return kept | {"left_out": left_out} if left_out else kept
    kept = {key: event[key] for key in ("level", "logger", "timestamp", "exc_info") if key in event}
    return {**kept, "event": _said(record, event["positional_args"]), **_asked(record)}


def _said(record: logging.LogRecord, args: Any) -> str:
    if record.name.startswith(OF_PROCESSES) and record.levelno < logging.WARNING:
        return str(record.msg) % args if args else str(record.msg)
    if not args or not isinstance(record.msg, str):
        return f"{record.filename}:{record.lineno} {record.funcName}"  # perhaps put together beforehand
    try:
        return str(record.msg % _without_words(args))
    except (TypeError, ValueError, KeyError):
        return record.msg


def _without_words(args: Any) -> Any:
    if isinstance(args, Mapping):
        return {key: value if key in OF_TASKS else "..." for key, value in args.items()}
    return tuple(value if isinstance(value, int | float) else "..." for value in args)


def _asked(record: logging.LogRecord) -> EventDict:
    """The route of a request, never its address, in which anything may stand."""
    request: Any = getattr(record, "request", None)
    if not hasattr(request, "resolver_match"):
        return {}
    status = getattr(record, "status_code", None)
    return {"event": "request_failed", "method": request.method, "route": route_of(request), "status": status}


def route_of(request: Any) -> str | None:
    """The pattern that the address fits; None for an address that is not ours."""
    return request.resolver_match.route if request.resolver_match else None


def hide_tokens(_: Any, __: str, event: EventDict) -> EventDict:
    """No token in any line, whoever wrote it."""
    return {key: _without_tokens(value) for key, value in event.items()}


def _without_tokens(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return [_without_tokens(part) for part in value]
    return TOKENS.sub("...", value) if isinstance(value, str) else value


def name_exceptions(_: Any, __: str, event: EventDict) -> EventDict:
    """Keep what went wrong and where, never the exception's text: it may carry row data."""
    exc_info = event.pop("exc_info", None)
    if exc_info is True:
        exc_info = sys.exc_info()
    if isinstance(exc_info, BaseException):
        exc_info = (type(exc_info), exc_info, exc_info.__traceback__)
    if exc_info and exc_info[0] is not None:
        event["error"] = exc_info[0].__name__
        frames = traceback.extract_tb(exc_info[2])
        event["at"] = [f"{Path(frame.filename).name}:{frame.lineno} {frame.name}" for frame in frames[-6:]]
    return event


class LineFormatter(structlog.stdlib.ProcessorFormatter):
    """A line that cannot be written is told by its logger; logging itself would print all of its data."""

    def format(self, record: logging.LogRecord) -> str:
        try:
            return super().format(record)
        except Exception as error:
            return json.dumps({"event": "line_lost", "logger": record.name, "error": type(error).__name__})


def line_formatter() -> logging.Formatter:
    """One JSON object a line, for our events and for the libraries' alike."""
    return LineFormatter(
        processors=[
            keep_what_may_be_told,
            name_exceptions,
            hide_tokens,
            structlog.processors.JSONRenderer(),
        ],
        foreign_pre_chain=[
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
        ],
        pass_foreign_args=True,
        use_get_message=False,
    )


structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
    wrapper_class=structlog.stdlib.BoundLogger,
    cache_logger_on_first_use=True,
)
