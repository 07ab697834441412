"""Whoever takes mail and webhooks at the other end, and remembers each hand-over whatever dies here."""

import json
import os
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from coaching.exchange.guarded_post import Answer
from coaching.outbox import EmlFileBackend

BOOK = "taken.jsonl"


def book() -> Path:
    return Path(settings.VAR_DIR) / BOOK


def taken(what: str) -> Counter[str]:
    """How often each mail, or each webhook's message, was handed over."""
    if not book().exists():
        return Counter()
    lines = (json.loads(line) for line in book().read_text().splitlines())
    return Counter(key for kind, key in lines if kind == what)


def _note(what: str, key: str) -> None:
    descriptor = os.open(book(), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.write(descriptor, (json.dumps([what, key]) + "\n").encode())
    os.close(descriptor)


class Postbox(BaseEmailBackend):
    """A mail server that takes everything."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for message in email_messages:
            _note("mail", str(message.message()["Message-ID"]))
        return len(email_messages)


class Folder(EmlFileBackend):
    """The folder of files in place of a mail server; whoever looks into it has been handed the mail."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for message in email_messages:
            super().send_messages([message])
            _note("mail", str(message.message()["Message-ID"]))
        return len(email_messages)


def take_post(place: Any, *, headers: Mapping[bytes | str, bytes | str], body: bytes, **rest: Any) -> Answer:
    """An address that takes every webhook."""
    _note("webhook", str(headers["webhook-id"]))
    return Answer(200, "")
