"""One tick: whatever is due and not done, derived from rows, for a bounded time."""

import time
from dataclasses import dataclass
from datetime import datetime

import structlog

from coaching.emails import MailRun, send_due_mail
from coaching.nightly import NightRun, run_due_nights
from coaching.operations.urgent import remind_of_unread_red_flags

log = structlog.get_logger("tick")

# Mail keeps this much of a tick even while a long night takes up the rest.
MAIL_SHARE = 0.4
MAX_MAILS = 500


@dataclass(frozen=True, slots=True)
class TickReport:
    nights: NightRun
    mail: MailRun
    took_s: float


def tick(*, now: datetime, budget_s: float = 20.0) -> TickReport:
    """Run due nights, remind of unread red flags, then send the mail that waits.

    Safe at any time and twice at once: nights and mails are claimed row by row, so that the second caller
    finds nothing or does the rest. Where a night is left unfinished at the end of the time, the next tick
    goes on with it.
    """
    started_s = time.monotonic()
    try:
        nights = run_due_nights(now=now, budget_s=budget_s * (1 - MAIL_SHARE))
        remind_of_unread_red_flags(now=now)
    finally:  # a night's trouble must not hold back an urgent mail
        left_s = budget_s - (time.monotonic() - started_s)
        mail = send_due_mail(now=now, budget_s=max(left_s, 1.0), limit=MAX_MAILS)
    report = TickReport(nights, mail, time.monotonic() - started_s)
    log.info("tick_done", clients=nights.clients, mails=mail.sent, took_s=round(report.took_s, 3))
    return report
