"""Where mail goes: a folder of .eml files when no mail server is set, and what a mail server's no means."""

import hashlib
import os
import re
import smtplib
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from coaching.operations.outbox_rows import Failure

KIND_HEADER = "X-Forbear-Kind"
KIND = re.compile(r"[a-z_]{1,20}", re.ASCII)
NO_SUCH_RECIPIENT = {550, 551, 553}
POLICY = re.compile(rb"5\.7\.\d")  # RFC 3463: refused by policy, which may change; not about the mailbox


class EmlFileBackend(BaseEmailBackend):
    """One file per message, readable by its owner only; the same message again takes its place."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        folder = Path(settings.OUTBOX_DIR)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for message in email_messages:
            write_eml(folder, message)
        return len(email_messages)


def write_eml(folder: Path, message: EmailMessage) -> Path:
    """Write the message to `folder` so that it is there whole or not at all, even after a power cut."""
    built = message.message()
    path = folder / _file_name(str(built["Date"]), str(built["Message-ID"]), built.get(KIND_HEADER, ""))
    descriptor, temporary = tempfile.mkstemp(dir=folder, prefix=".", suffix=".part")
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(built.as_bytes(linesep="\r\n"))  # type: ignore[call-arg]  # Django's own class has it
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    _fsync_folder(folder)
    return path


def _file_name(date_header: str, message_id: str, kind: str) -> str:
    """Sorted by time; neither the address nor the subject is in it."""
    try:
        at = parsedate_to_datetime(date_header).astimezone(UTC)
    except ValueError:
        at = datetime.fromtimestamp(0, UTC)
    digest = hashlib.sha256(message_id.encode()).hexdigest()[:8]
    return f"{at:%Y%m%dT%H%M%SZ}-{kind if KIND.fullmatch(kind) else 'mail'}-{digest}.eml"


def _fsync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def failure_of(error: Exception) -> tuple[Failure, str]:
    """What an error while sending means for the mail, and its code for the row; no text of the server."""
    match error:
        case smtplib.SMTPRecipientsRefused():
            code, text = next(iter(error.recipients.values()))
            return _refused(code, text), f"recipient_{code}"
        case smtplib.SMTPSenderRefused() | smtplib.SMTPAuthenticationError():
            failure = Failure.TEMPORARY if error.smtp_code < 500 else Failure.NOT_ITS_FAULT
            return failure, f"{_name(error)}_{error.smtp_code}"
        case smtplib.SMTPResponseException():
            text = error.smtp_error if isinstance(error.smtp_error, bytes) else str(error.smtp_error).encode()
            return _refused(error.smtp_code, text), f"{_name(error)}_{error.smtp_code}"
        case smtplib.SMTPNotSupportedError():
            return Failure.NOT_ITS_FAULT, _name(error)
    return Failure.TEMPORARY, _name(error)


def _refused(code: int, text: bytes) -> Failure:
    is_for_good = code in NO_SUCH_RECIPIENT and not POLICY.search(text)
    return Failure.PERMANENT if is_for_good else Failure.TEMPORARY


def _name(error: Exception) -> str:
    return type(error).__name__
