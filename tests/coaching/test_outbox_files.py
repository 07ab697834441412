import email
import smtplib
import stat
from email import policy
from pathlib import Path

import pytest
from django.core.mail import EmailMultiAlternatives, get_connection

from coaching.operations.outbox_rows import Failure
from coaching.outbox import EmlFileBackend, failure_of, forget_files
from tests.factories import NOW

DATE = "Mon, 02 Mar 2026 05:00:00 +0000"


def message(message_id="<one@example.org>", date=DATE, kind="morning", body="Good morning.\n"):
    headers = {"Message-ID": message_id, "Date": date, "X-Forbear-Kind": kind}
    return EmailMultiAlternatives("Left knee", body, to=["mira@example.org"], headers=headers)


def files(settings):
    return sorted(path.name for path in Path(settings.OUTBOX_DIR).iterdir())


def test_a_message_becomes_one_file_that_a_mail_program_opens(settings):
    EmlFileBackend().send_messages([message()])
    (name,) = files(settings)
    opened = email.message_from_bytes((Path(settings.OUTBOX_DIR) / name).read_bytes(), policy=policy.default)
    assert (opened["To"], opened["Subject"], opened.get_content().strip()) == (
        "mira@example.org",
        "Left knee",
        "Good morning.",
    )


def test_the_name_says_when_and_what_kind_but_not_who_or_what(settings):
    EmlFileBackend().send_messages([message()])
    (name,) = files(settings)
    assert name.startswith("20260302T050000Z-morning-")
    assert "mira" not in name and "knee" not in name.lower()


def test_the_same_message_again_takes_the_place_of_the_first(settings):
    EmlFileBackend().send_messages([message(body="First.\n")])
    EmlFileBackend().send_messages([message(body="Second.\n")])
    (name,) = files(settings)
    assert b"Second." in (Path(settings.OUTBOX_DIR) / name).read_bytes()


def test_names_sort_by_time(settings):
    later = message(message_id="<two@example.org>", date="Tue, 03 Mar 2026 05:00:00 +0100")
    EmlFileBackend().send_messages([later, message()])
    assert [name[:8] for name in files(settings)] == ["20260302", "20260303"]


def test_two_messages_of_one_second_get_two_files(settings):
    EmlFileBackend().send_messages([message(), message(message_id="<two@example.org>")])
    assert len(files(settings)) == 2


def test_a_strange_kind_cannot_leave_the_folder(settings):
    EmlFileBackend().send_messages([message(kind="../../etc/passwd")])
    (name,) = files(settings)
    assert "-mail-" in name


def test_only_the_owner_may_read_a_file(settings):
    EmlFileBackend().send_messages([message()])
    (name,) = files(settings)
    assert stat.S_IMODE((Path(settings.OUTBOX_DIR) / name).stat().st_mode) == 0o600


def test_a_failed_write_leaves_nothing_behind(settings, monkeypatch):
    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        EmlFileBackend().send_messages([message()])
    assert files(settings) == []


def test_what_a_killed_sender_left_goes_with_the_files_that_are_forgotten(settings):
    EmlFileBackend().send_messages([message()])
    left = Path(settings.OUTBOX_DIR) / ".k1ll3d.part"
    left.write_text("Mira's left knee")
    forget_files(recipients=set(), own_address="mira@example.org", since=NOW)
    assert files(settings) == []


def test_the_backend_is_found_by_its_name():
    assert isinstance(get_connection("coaching.outbox.EmlFileBackend"), EmlFileBackend)


@pytest.mark.parametrize("code", [550, 551, 553])
def test_an_unknown_mailbox_is_permanent(code):
    error = smtplib.SMTPRecipientsRefused({"mira@example.org": (code, b"5.1.1 no such user")})
    assert failure_of(error) == (Failure.PERMANENT, f"recipient_{code}")


@pytest.mark.parametrize("code", [421, 450, 451, 452, 552, 554])
def test_other_refusals_of_a_recipient_are_temporary(code):
    error = smtplib.SMTPRecipientsRefused({"mira@example.org": (code, b"later")})
    assert failure_of(error) == (Failure.TEMPORARY, f"recipient_{code}")


def test_a_refusal_by_policy_is_temporary_since_policies_are_mended():
    error = smtplib.SMTPRecipientsRefused({"mira@example.org": (550, b"5.7.1 relaying denied")})
    assert failure_of(error)[0] is Failure.TEMPORARY


@pytest.mark.parametrize(
    "error",
    [
        smtplib.SMTPSenderRefused(550, b"not you", "forbear@example.org"),
        smtplib.SMTPAuthenticationError(535, b"wrong password"),
        smtplib.SMTPNotSupportedError("no AUTH"),
    ],
)
def test_a_server_that_refuses_us_is_not_the_mails_fault(error):
    assert failure_of(error)[0] is Failure.NOT_ITS_FAULT


@pytest.mark.parametrize(
    "error",
    [
        smtplib.SMTPSenderRefused(451, b"later", "forbear@example.org"),
        smtplib.SMTPDataError(452, b"out of memory"),
        smtplib.SMTPServerDisconnected("gone"),
        TimeoutError("slow"),
        ConnectionRefusedError(),
        OSError(28, "No space left on device"),
        KeyError("membership"),
    ],
)
def test_what_may_pass_is_temporary(error):
    assert failure_of(error)[0] is Failure.TEMPORARY


def test_the_code_never_repeats_what_the_server_said():
    error = smtplib.SMTPDataError(550, b"mira@example.org has a sore knee")
    assert failure_of(error) == (Failure.PERMANENT, "SMTPDataError_550")
