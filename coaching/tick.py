"""One tick: whatever is due and not done, derived from rows, for a bounded time."""

import time
from dataclasses import dataclass
from datetime import datetime

import structlog

from coaching.budget import Budget
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
AT_LEAST_S = 1.0
MAX_MAILS = 500
BUDGET_S = 20.0


@dataclass(frozen=True, slots=True)
class TickReport:
    nights: NightRun
    mail: MailRun
    webhooks: WebhookRun
    took_s: float

    @property
    def is_cut_short(self) -> bool:
        """A night has work left that nobody holds: another tick should follow at once."""
        return self.nights.is_cut_short


@outside_of_practices()
def tick(*, now: datetime, budget: Budget | None = None) -> TickReport:
    """Run due nights, remind of unread red flags, then send the mail and the webhooks that wait.

    Safe at any time and twice at once: all of it is claimed row by row, so that the second caller finds
    nothing or does the rest. Where a night is left unfinished at the end of the time, the next tick goes on
    with it. Asked to stop, it ends after the chunk, the mail or the message at hand.
    """
    budget = budget or Budget.of(BUDGET_S)
    started_s, all_s = time.monotonic(), budget.left_s
    try:
        nights = run_due_nights(now=now, budget=budget.ending_in(all_s * (1 - MAIL_SHARE)))
        remind_of_unread_red_flags(now=now)
    finally:  # a night's trouble must not hold back an urgent mail
        mail, webhooks = _send(now, budget, all_s * WEBHOOK_SHARE)
    report = TickReport(nights, mail, webhooks, time.monotonic() - started_s)
    log.info(
        "tick_done",
        clients=nights.clients,
        mails=mail.sent,
        webhooks=webhooks.sent,
        took_s=round(report.took_s, 3),
    )
    return report


def _send(now: datetime, budget: Budget, for_webhooks_s: float) -> tuple[MailRun, WebhookRun]:
    """Mail first; what it leaves of the time, and their own part of it, is for webhooks."""
    try:
        for_mail = budget.ending_in(max(budget.left_s - for_webhooks_s, AT_LEAST_S))
        mail = send_due_mail(now=now, budget=for_mail, limit=MAX_MAILS)
    finally:
        drop_old_deliveries(now=now)
        webhooks = send_due_webhooks(now=now, budget=budget.ending_in(max(budget.left_s, AT_LEAST_S)))
    return mail, webhooks
