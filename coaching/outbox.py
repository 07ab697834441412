"""Where mail goes: a folder of .eml files when no mail server is set, and what a mail server's no means."""

import hashlib
import os
import re
import smtplib
import tempfile
from collections.abc import Callable, Collection, Sequence
from datetime import UTC, datetime
from email.message import Message
from email.parser import BytesHeaderParser
from email.utils import parseaddr, parsedate_to_datetime
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from coaching.operations.outbox_rows import Failure

KIND_HEADER = "X-Forbear-Kind"
TELLING_KINDS = frozenset({"morning", "urgent"})
KIND = re.compile(r"[a-z_]{1,20}", re.ASCII)
UNFINISHED = ".part"
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
    descriptor, temporary = tempfile.mkstemp(dir=folder, prefix=".", suffix=UNFINISHED)
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


def forget_files(*, recipients: Collection[str], own_address: str, since: datetime) -> int:
    """Delete the mail files that may tell of a person: those to them, and sheets and urgent mail to coaches.

    A sheet names clients by names they may have borne once, so all since the person came are deleted: a file
    is a copy of what was sent, and no record. Safe to repeat; answers how many.
    """
    return _delete_files(
        lambda path, message: (
            _address_of(message) == own_address.lower() != ""
            or (
                _address_of(message) in recipients
                and message.get(KIND_HEADER, "") in TELLING_KINDS
                and _sent_at(path) >= since.replace(microsecond=0)
            )
        )
    )


def forget_old_files(*, recipients: Collection[str], before: datetime) -> int:
    """Delete the mail files to these addresses that are older. Safe to repeat; answers how many."""
    return _delete_files(lambda path, message: _sent_at(path) < before and _address_of(message) in recipients)


def _delete_files(is_meant: Callable[[Path, Message], bool]) -> int:
    """And what a sender left that died while it wrote; one that still writes meets an error, and repeats."""
    for left in Path(settings.OUTBOX_DIR).glob(f".*{UNFINISHED}"):
        left.unlink(missing_ok=True)
    n_deleted = 0
    for path in sorted(Path(settings.OUTBOX_DIR).glob("*.eml")):
        with path.open("rb") as file:
            message = BytesHeaderParser().parse(file)
        if is_meant(path, message):
            path.unlink(missing_ok=True)
            n_deleted += 1
    return n_deleted


def _address_of(message: Message) -> str:
    return parseaddr(str(message.get("To", "")))[1].lower()


def _sent_at(path: Path) -> datetime:
    """As the file's name says; a file that is none of ours is as new as can be."""
    try:
        return datetime.strptime(path.name.partition("-")[0], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    except ValueError:
        return datetime.max.replace(tzinfo=UTC)
