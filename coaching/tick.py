"""One tick: whatever is due and not done, derived from rows, for a bounded time."""

import time
from dataclasses import dataclass
from datetime import datetime

import structlog

from coaching.emails import MailRun, send_due_mail
from coaching.exchange.webhooks import WebhookRun, send_due_webhooks
from coaching.models.scope import outside_of_practices
from coaching.nightly import NightRun, run_due_nights
from coaching.operations.urgent import remind_of_unread_red_flags
from coaching.operations.webhook_rows import drop_old_deliveries

log = structlog.get_logger("tick")

# Mail and webhooks keep this much of a tick even while a long night takes up the rest, webhooks a part of it.
MAIL_SHARE = 0.4
WEBHOOK_SHARE = 0.15
MAX_MAILS = 500


@dataclass(frozen=True, slots=True)
class TickReport:
    nights: NightRun
    mail: MailRun
    webhooks: WebhookRun
    took_s: float


@outside_of_practices()
def tick(*, now: datetime, budget_s: float = 20.0) -> TickReport:
    """Run due nights, remind of unread red flags, then send the mail and the webhooks that wait.

    Safe at any time and twice at once: all of it is claimed row by row, so that the second caller finds
    nothing or does the rest. Where a night is left unfinished at the end of the time, the next tick goes on
    with it.
    """
    until_s = time.monotonic() + budget_s
    try:
        nights = run_due_nights(now=now, budget_s=budget_s * (1 - MAIL_SHARE))
        remind_of_unread_red_flags(now=now)
    finally:  # a night's trouble must not hold back an urgent mail
        mail, webhooks = _send(now, until_s, budget_s * WEBHOOK_SHARE)
    report = TickReport(nights, mail, webhooks, time.monotonic() - until_s + budget_s)
    log.info(
        "tick_done",
        clients=nights.clients,
        mails=mail.sent,
        webhooks=webhooks.sent,
        took_s=round(report.took_s, 3),
    )
    return report


def _send(now: datetime, until_s: float, for_webhooks_s: float) -> tuple[MailRun, WebhookRun]:
    """Mail first; what it leaves of the time, and their own part of it, is for webhooks."""
    try:
        mail_s = until_s - for_webhooks_s - time.monotonic()
        mail = send_due_mail(now=now, budget_s=max(mail_s, 1.0), limit=MAX_MAILS)
    finally:
        drop_old_deliveries(now=now)
        webhooks = send_due_webhooks(now=now, budget_s=max(until_s - time.monotonic(), 1.0))
    return mail, webhooks
