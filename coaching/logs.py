"""Structured log lines: an event and an allow-list of ids, never a body, a pain value or a name."""

import logging
import re
import sys
import traceback
from pathlib import Path
from typing import Any

import structlog
from structlog.typing import EventDict

# A calendar program can only send its token as a part of the address, and others log addresses.
TOKENS = re.compile(r"\bfbr[a-z]*_[\w-]+|(?<=/calendar/)[^\s\"'/]+")


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


def line_formatter() -> logging.Formatter:
    """One JSON object a line, for our events and for the libraries' alike."""
    return structlog.stdlib.ProcessorFormatter(
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            name_exceptions,
            hide_tokens,
            structlog.processors.JSONRenderer(),
        ],
        foreign_pre_chain=[
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
        ],
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
