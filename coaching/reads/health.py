"""What is wrong with the service, as far as its rows tell, in sentences for whoever runs it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Count, Max, Min

from coaching.compute import red_flags
from coaching.compute.local_days import first_valid_instant, newest_due_night
from coaching.models import (
    MailKind,
    MailRow,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    OutboxState,
    Practice,
    Session,
    UrgencySignOff,
    Webhook,
    WebhookDelivery,
)
from coaching.reads.service_numbers import DEAD_COUNTED_FOR, NOTHING_TO_TELL

NIGHT_MAY_TAKE = timedelta(hours=1)
MORNING_MAIL_BY = timedelta(hours=2)
MAIL_MAY_WAIT = timedelta(hours=1)
CLOCKS_MAY_DIFFER = timedelta(seconds=5)
POSTS_MAY_BE_AHEAD = timedelta(minutes=2)
NIGHTS_MAY_BE_AHEAD = timedelta(days=3)  # of a practice that has moved over the date line
# What goes wrong where a setting of PostgreSQL is off.
WITHOUT = {
    "fsync": "a power cut may destroy the database",
    "full_page_writes": "a power cut may tear pages of the database",
    "synchronous_commit": "a crash loses posts that were acknowledged",
}


@dataclass(frozen=True, slots=True)
class Trouble:
    """`what` is wrong and what `to_do` about it; a note asks for nothing that cannot wait."""

    what: str
    to_do: str
    is_note: bool = False


def troubles(*, now: datetime) -> Iterator[Trouble]:
    """What the rows of all practices tell; to be asked across practices."""
    for practice in Practice.objects.open().annotate(last_night_on=Max("nights__night_on")).order_by("id"):
        yield from _of_nights(practice, now)
    yield from _of_failed_clients()
    yield from _of_mail(now)
    yield from _of_webhooks(now)
    yield from _of_clocks(now)
    yield from _of_the_server()
    yield from _of_the_urgency_table()


def _of_nights(practice: Practice, now: datetime) -> Iterator[Trouble]:
    newest_on = newest_due_night(practice.zone, practice.night_hour, now)
    due_for = now - first_valid_instant(practice.zone, newest_on, practice.night_hour)
    last_on = practice.last_night_on  # type: ignore[attr-defined]  # annotated
    if (last_on is None or last_on < newest_on) and due_for > NIGHT_MAY_TAKE:
        yield Trouble(
            f"{practice.name}: the night of {newest_on}, due for {_hours(due_for)}, is not planned.",
            "No tick has run since: start the worker and beat, or manage.py serve. "
            "The morning mails wait for it.",
        )
    if last_on is not None and last_on > newest_on + NIGHTS_MAY_BE_AHEAD:
        yield Trouble(
            f"{practice.name}: nights up to {last_on} were run ahead of their dates, by a wrong clock.",
            "See that clocks are set by NTP. Each of these nights is run again when its date comes.",
            is_note=True,
        )
    behind = Night.objects.filter(
        practice=practice,
        status__in=[NightStatus.DUE, NightStatus.RUNNING],
        planned_at__lt=now - NIGHT_MAY_TAKE,
    ).aggregate(nights=Count("id"), first_on=Min("night_on"))
    if behind["nights"]:
        yield Trouble(
            f"{practice.name}: {behind['nights']:,} nights are not done, the first of {behind['first_on']}.",
            "See that a worker runs, then its log for chunk_failed; "
            f"manage.py night --on {behind['first_on']} --practice {practice.uid} runs one by hand.",
        )


def _of_failed_clients() -> Iterator[Trouble]:
    newest = Night.objects.values("practice").annotate(on=Max("night_on")).values_list("practice", "on")
    for practice_id, on in newest:
        failed = NightClient.objects.filter(
            night__practice_id=practice_id, night__night_on=on, state=NightClientState.FAILED
        )
        codes = sorted(set(failed.values_list("error_code", flat=True)))
        if codes:
            yield Trouble(
                f"{failed.count():,} clients could not be scored in the night of {on}: {', '.join(codes)}.",
                "They are tried again next night; the codes are the names of errors in the worker's log.",
            )


def _of_mail(now: datetime) -> Iterator[Trouble]:
    waiting = MailRow.objects.filter(state=OutboxState.WAITING)
    morning = waiting.filter(kind=MailKind.MORNING, created_at__lt=now - MORNING_MAIL_BY).count()
    if morning:
        yield Trouble(
            f"{morning:,} morning mails are more than two hours late.",
            "See whether the mail server answers (EMAIL_URL), and the codes below.",
        )
    late = waiting.filter(created_at__lt=now - MAIL_MAY_WAIT)
    if late.exists():
        yield Trouble(
            f"{late.count():,} mails have waited for more than an hour: {_codes(late)}.",
            "They are sent by themselves once the server takes them; a code ending in 535 or 530 is a wrong "
            "name or password in EMAIL_URL.",
        )
    dead = MailRow.objects.filter(state=OutboxState.DEAD, created_at__gt=now - DEAD_COUNTED_FOR)
    dead = dead.exclude(error_code__regex=NOTHING_TO_TELL)
    if dead.exists():
        yield Trouble(
            f"{dead.count():,} mails of the last week will never be sent: {_codes(dead)}.",
            "Ask the practice whether the address is right.",
        )


def _of_webhooks(now: datetime) -> Iterator[Trouble]:
    off = Webhook.objects.kept().exclude(switched_off="").count()
    if off:
        yield Trouble(
            f"{off:,} webhooks were switched off because their address failed.",
            "Their practice switches them on again once it answers.",
            is_note=True,
        )
    late = WebhookDelivery.objects.filter(state=OutboxState.WAITING, created_at__lt=now - MAIL_MAY_WAIT)
    if late.exists():
        yield Trouble(
            f"{late.count():,} webhook messages have waited for more than an hour: {_codes(late)}.",
            "They are tried again by themselves; see whether this machine reaches the outside.",
        )


def _codes(rows: "Iterable[MailRow] | Iterable[WebhookDelivery]") -> str:
    codes = sorted({row.error_code for row in rows if row.error_code})
    return ", ".join(codes[:5]) if codes else "not tried yet"


def _of_clocks(now: datetime) -> Iterator[Trouble]:
    newest = Session.objects.aggregate(at=Max("received_at"))["at"]
    if newest is not None and newest > now + POSTS_MAY_BE_AHEAD:
        yield Trouble(
            f"A session was received at {newest:%Y-%m-%d %H:%M} UTC, which is {_hours(newest - now)} ahead.",
            "The clock of this machine went back: set it by NTP. Nights that were run stay as they are.",
        )
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        (theirs,) = cursor.fetchone()
    apart = abs(theirs - now)
    if apart > CLOCKS_MAY_DIFFER:
        yield Trouble(
            f"The clock of the database server differs by {apart.total_seconds():.0f} s from this machine's.",
            "Set both by NTP.",
        )


def _of_the_server() -> Iterator[Trouble]:
    for name, setting in _settings_of_the_server().items():
        if setting == "off":
            yield Trouble(
                f"PostgreSQL runs with {name} off: {WITHOUT[name]}.",
                f"Set it to on (ALTER SYSTEM SET {name} = on, then reload).",
            )


def _settings_of_the_server() -> dict[str, str]:
    if connection.vendor != "postgresql":
        return {}
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, current_setting(name) FROM unnest(%s) AS name", [list(WITHOUT)])
        return dict(cursor.fetchall())


def _of_the_urgency_table() -> Iterator[Trouble]:
    countries = set(Practice.objects.values_list("country", flat=True))
    reviewed = UrgencySignOff.objects.filter(table_version=red_flags.VERSION).values_list(
        "country", flat=True
    )
    for country in sorted(countries - set(reviewed)):
        yield Trouble(
            f"No clinician has reviewed the urgency of red-flag symptoms for {country}.",
            "Ask one, and record it with manage.py sign_off_urgency; until then the sheet and mails say so.",
            is_note=True,
        )


def _hours(span: timedelta) -> str:
    hours = span.total_seconds() / 3600
    return f"{hours:.1f} hours" if hours < 48 else f"{hours / 24:.1f} days"
