"""Webhooks: body and signatures of a delivery (Standard Webhooks 1.0), and the loop that sends them."""

import base64
import hashlib
import hmac
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any

import httpcore
import structlog
from django.conf import settings

from coaching.budget import Budget
from coaching.exchange.guarded_post import Answer, post
from coaching.exchange.public_addresses import RefusedAddressError, place_of
from coaching.installation import may_send
from coaching.models import OutboxState, WebhookDelivery
from coaching.models.scope import within_practice
from coaching.operations.webhook_rows import Refusal, claim_delivery, note_accepted, note_refused

log = structlog.get_logger("webhooks")

DELIVERIES_AT_MOST = 200
PLAIN_HEADERS: dict[bytes | str, bytes | str] = {
    "Content-Type": "application/json",
    "User-Agent": "Forbear-Webhooks/1",
}


@dataclass(slots=True)
class WebhookRun:
    """What one call did: taken by the other side, to be tried again, given up."""

    sent: int = 0
    failed: int = 0
    dead: int = 0


def send_due_webhooks(*, now: datetime, budget: Budget, limit: int = DELIVERIES_AT_MOST) -> WebhookRun:
    """Send what is due until the time is up. Safe to run twice at once.

    One delivery may last beyond the time, by five seconds at most. An address that fails rests afterwards, so
    that it costs each run one attempt at most.
    """
    started_s = time.monotonic()
    run = WebhookRun()
    if not may_send(now=now):
        return run
    for _ in range(limit):
        if budget.is_spent:
            break
        at = now + timedelta(seconds=time.monotonic() - started_s)
        row = claim_delivery(now=at)
        if row is None:
            break
        with within_practice(row.practice_id):
            _deliver(row, run, at)
    return run


def _deliver(row: WebhookDelivery, run: WebhookRun, at: datetime) -> None:
    try:
        answer = send(row, at)
    except Exception as error:  # one address's trouble must not hold up the others
        refusal = Refusal(code=_code_of(error))
    else:
        if 200 <= answer.status_code < 300:
            note_accepted(row=row, status_code=answer.status_code, now=at)
            run.sent += 1
            log.info("webhook_sent", delivery=row.id, attempts=row.attempts)
            return
        code = f"http_{answer.status_code}"
        refusal = Refusal(code, answer.status_code, retry_after_of(answer, at))
    state = note_refused(row=row, refusal=refusal, now=at)
    run.failed += state == OutboxState.WAITING
    run.dead += state == OutboxState.DEAD
    log.warning("webhook_failed", delivery=row.id, attempts=row.attempts, state=state, code=refusal.code)


def send(row: WebhookDelivery, at: datetime) -> Answer:
    """Make the delivery from its ids, sign it and post it."""
    body = body_of(row)
    headers = signed_headers(str(row.uid), at, body, row.webhook.signing_keys(at))
    return post(place_of(row.webhook.address), headers=PLAIN_HEADERS | headers, body=body)


def body_of(row: WebhookDelivery) -> bytes:
    """Type, time and ids: what an alert is about is health data, and stays behind the API."""
    content = {
        "type": row.event,
        "timestamp": row.created_at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "data": _data_of(row),
    }
    return json.dumps(content, separators=(",", ":")).encode()


def _data_of(row: WebhookDelivery) -> dict[str, Any]:
    if row.alert is None:
        return {"webhook": str(row.webhook.uid)}
    address = f"{settings.PUBLIC_URL.rstrip('/')}/api/v1/alerts/{row.alert.uid}"
    return {"alert": str(row.alert.uid), "client": str(row.alert.client.uid), "address": address}


def signed_headers(
    message_id: str, at: datetime, body: bytes, keys: Sequence[bytes]
) -> dict[bytes | str, bytes | str]:
    """The three headers of Standard Webhooks, with a signature by each key."""
    timestamp = str(int(at.timestamp()))
    content = b".".join([message_id.encode(), timestamp.encode(), body])
    signatures = [base64.b64encode(hmac.digest(key, content, hashlib.sha256)).decode() for key in keys]
    return {
        "webhook-id": message_id,
        "webhook-timestamp": timestamp,
        "webhook-signature": " ".join(f"v1,{signature}" for signature in signatures),
    }


def retry_after_of(answer: Answer, at: datetime) -> timedelta | None:
    """How long a busy server asks us to wait, in seconds or until a date (RFC 9110); None if it does not."""
    text = answer.retry_after.strip()
    if answer.status_code not in (429, 503) or not text:
        return None
    if text.isascii() and text.isdigit():
        return timedelta(seconds=int(text[:9]))
    try:
        until = parsedate_to_datetime(text)
    except ValueError:
        return None
    return max(until.replace(tzinfo=until.tzinfo or UTC) - at, timedelta())


def _code_of(error: Exception) -> str:
    """What went wrong, in a word; never the error's text."""
    match error:
        case RefusedAddressError():
            return error.code
        case httpcore.TimeoutException():
            return "timeout"
        case httpcore.ConnectError():
            return "no_connection"
        case httpcore.NetworkError() | httpcore.ProtocolError():
            return "broken_answer"
    return type(error).__name__
