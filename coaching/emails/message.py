"""What all e-mails share: a stable Message-ID, a text and a page from templates, pictures inside the page."""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from email.mime.image import MIMEImage
from email.utils import format_datetime, parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string

from coaching.models import MailRow
from coaching.outbox import KIND_HEADER

BLANK_LINES = re.compile(r"\n[ \t]*(?:\n[ \t]*)+\n")


class NothingToTellError(Exception):
    """There is nobody, or nothing, to tell any more; `code` says which."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that the page shows by its content id, with its words for those who do not see it."""

    cid: str
    alt: str
    png: bytes


def compose(
    row: MailRow,
    *,
    subject: str,
    template: str,
    context: dict[str, Any],
    pictures: Sequence[Picture] = (),
    headers: dict[str, str] | None = None,
) -> EmailMultiAlternatives:
    """The message of a row; sent twice, it carries the same Message-ID and the same date."""
    context = context | {"docs_url": f"{settings.PUBLIC_URL.rstrip('/')}/api/v1/docs"}
    text = render_to_string(f"emails/{template}.txt", context)
    message = EmailMultiAlternatives(
        subject=subject,
        body=BLANK_LINES.sub("\n\n", text).strip() + "\n",
        to=[row.recipient],
        headers={
            "Message-ID": message_id(row.key),
            "Date": format_datetime(row.created_at),
            "Auto-Submitted": "auto-generated",
            KIND_HEADER: row.kind,
            **(headers or {}),
        },
    )
    message.attach_alternative(render_to_string(f"emails/{template}.html", context), "text/html")
    if pictures:
        message.mixed_subtype = "related"  # type: ignore[attr-defined]  # missing in the stubs
    for number, picture in enumerate(pictures, start=1):
        message.attach(_inline(picture, f"picture-{number}.png"))
    return message


def message_id(key: str) -> str:
    return f"<{hashlib.sha256(key.encode()).hexdigest()[:32]}@{sender_domain()}>"


def sender_address() -> str:
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1]


def sender_domain() -> str:
    return sender_address().partition("@")[2] or "localhost"


def _inline(picture: Picture, name: str) -> MIMEImage:
    image = MIMEImage(picture.png, "png")
    image.add_header("Content-ID", f"<{picture.cid}>")
    image.add_header("Content-Disposition", "inline", filename=name)
    return image
