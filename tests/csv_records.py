"""Records such as only a test would write, and their way out as CSV and in again."""

import csv
import io
import unicodedata
import uuid
from datetime import UTC, datetime, timedelta

from hypothesis import strategies as some

from coaching.exchange.csv_files import pain_reports_file, plans_file, sets_file
from coaching.exchange.pain_csv import read_pain_reports
from coaching.exchange.plans_csv import read_plans
from coaching.exchange.sets_csv import read_sets
from coaching.exchange.table import text_in
from coaching.models import Actor, Client, PainReport, PlanVersion, Practice, Role, Session
from coaching.operations.entries import PainEntry, SessionEntry, SetEntry
from coaching.operations.import_pain import import_pain_reports
from coaching.operations.import_plans import import_plans
from coaching.operations.imports import AS_IT_IS, Asked, import_sets
from coaching.reads import exports
from tests.factories import ClientFactory, ConsentFactory, MembershipFactory, PracticeFactory

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
BEGINNINGS = (
    "",
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "'",
    "''",
    " =",
    '"=',
    "＝",
    "＋",
    "－",
    "＠",
    "\u200b=",
    "\u202e-",
)
NASTY = (
    "=1+1",
    "-5",
    "'",
    "'=",
    '"quoted", and more',
    "two\nlines",
    "two\r\nlines",
    "a;b,c\td",
    "שלום עולם",
    "🏋🏽‍♀️ heavy",
    "e\u0301galite\u0301",
    "\u202eright to left",
    "=cmd|' /C calc'!A0",
    "null",
    "00012",
    "1e5",
)


def _as_stored(text: str, longest: int, *, is_multiline: bool) -> str:
    """What a post of this text leaves: composed, without blanks around it, one line if it must be."""
    if not is_multiline:
        text = text.replace("\n", " ").replace("\r", " ")
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text).strip()[:longest]).strip()


def texts(longest: int = 60, *, is_multiline: bool = True) -> some.SearchStrategy[str]:
    letters = some.characters(exclude_categories=["Cs", "Cc"]) | some.sampled_from("\t\n\r'\"=;,")
    free = some.builds(str.__add__, some.sampled_from(BEGINNINGS), some.text(letters, max_size=20))
    return (free | some.sampled_from(NASTY)).map(
        lambda text: _as_stored(text, longest, is_multiline=is_multiline)
    )


uids = some.uuids(version=4)
halves = some.integers(0, 20).map(lambda number: number / 2)
instants = some.integers(0, 35 * 365 * 86_400 * 10).map(
    lambda tenths: datetime(1991, 1, 1, tzinfo=UTC) + timedelta(seconds=tenths / 10)
)
loads = some.sampled_from([0, 1, 2_000_000, 100_500]) | some.integers(0, 2_000_000)


@some.composite
def sets(draw: some.DrawFn) -> SetEntry:
    is_held = draw(some.booleans())
    reps = None if is_held else draw(some.integers(0, 1000))
    has_guess = reps is not None and draw(some.booleans())
    return SetEntry(
        uid=draw(uids),
        exercise_code="plank" if is_held else draw(some.sampled_from(["back_squat", "leg_extension"])),
        kind=draw(some.sampled_from(["work", "warm_up"])),
        side=draw(some.sampled_from(["left", "right", "both"])),
        load_thousandths=draw(loads),
        load_unit=draw(some.sampled_from(["kg", "lb"])),
        reps=reps,
        duration_s=draw(some.integers(1, 7200)) if is_held else None,
        rir=draw(some.none() | halves),
        ended_by=draw(some.sampled_from(["target", "failure", "pain", "technique", "other"])),
        tempo=draw(some.sampled_from(["", "3-1-1-0", "3110", "3-1-X-0"])),
        rest_s=draw(some.none() | some.integers(0, 7200)),
        follows_previous=draw(some.booleans()),
        prescription_uid=None,
        guessed_rir=draw(halves) if has_guess else None,
        guessed_after_reps=draw(some.integers(0, reps or 0)) if has_guess else None,
    )


@some.composite
def pain_reports(draw: some.DrawFn) -> PainEntry:
    joint, side = draw(
        some.sampled_from(
            [("knee", "left"), ("lumbar_spine", "midline"), ("other", "right"), ("hip", "right")]
        )
    )
    return PainEntry(
        uid=draw(uids),
        joint=joint,
        side=side,
        other_site=draw(texts(80, is_multiline=False).filter(bool)) if joint == "other" else "",
        moment=draw(some.sampled_from(["before", "during", "after", "next_morning", "at_rest"])),
        pain=draw(some.integers(0, 10)),
        symptoms=draw(
            some.dictionaries(
                some.sampled_from(["night_pain", "numbness_or_tingling", "has_fever"]),
                some.sampled_from(["yes", "no", "not_answered"]),
            )
        ),
        note=draw(texts()),
        reported_at=draw(instants),
        explanation=draw(texts(is_multiline=False)),
    )


@some.composite
def sessions(draw: some.DrawFn) -> SessionEntry:
    performed_at = draw(instants)
    lasts = draw(some.none() | some.integers(0, 20_000))
    return SessionEntry(
        uid=draw(uids),
        performed_at=performed_at,
        ended_at=None if lasts is None else performed_at + timedelta(seconds=lasts),
        session_rpe=draw(some.none() | some.integers(0, 20).map(lambda number: number / 2)),
        note=draw(texts()),
        scheduled_session_uid=None,
        sets=tuple(draw(some.lists(sets(), max_size=4))),
        pain_reports=tuple(draw(some.lists(pain_reports(), max_size=2))),
    )


def empty_practice(client_uid: uuid.UUID, zone: str = "Europe/Berlin") -> Client:
    """A client of a practice where nothing is recorded yet, whose coach is its owner."""
    owner = MembershipFactory(practice=PracticeFactory(), role="owner")
    client: Client = ClientFactory(coach=owner, uid=client_uid, zone=zone)
    ConsentFactory(client=client)
    return client


def owner_of(practice: Practice, client: Client) -> Actor:
    owner = client.coach
    return Actor(
        owner.account_id, None, practice.id, Role.OWNER, membership_id=owner.id, sees_all_clients=True
    )


def sets_out(client: Client) -> bytes:
    return b"".join(sets_file([key for key, _ in exports.session_facts([client])]))


def but_for_versions(content: bytes) -> list[dict[str, str]]:
    """The rows of a file, every cell as it stands, without the one column that counts its edits."""
    rows = csv.DictReader(io.StringIO(content.decode(), newline=""))
    return [{name: cell for name, cell in row.items() if name != "version"} for row in rows]


def pain_out(client: Client) -> bytes:
    return b"".join(pain_reports_file([key for key, _ in exports.pain_report_facts([client])]))


def plans_out(practice: Practice) -> bytes:
    keys = PlanVersion.objects.filter(plan__practice=practice).order_by("plan__uid", "number")
    return b"".join(plans_file(list(keys.values_list("id", flat=True))))


def sets_in(client: Client, content: bytes, asked: Asked = AS_IT_IS, **reading):
    rows = read_sets(text_in(content), **reading)
    return import_sets(actor=owner_of(client.practice, client), rows=rows, now=NOW, asked=asked)


def pain_in(client: Client, content: bytes, asked: Asked = AS_IT_IS, **reading):
    rows = read_pain_reports(text_in(content), **reading)
    return import_pain_reports(actor=owner_of(client.practice, client), rows=rows, now=NOW, asked=asked)


def plans_in(client: Client, content: bytes, asked: Asked = AS_IT_IS):
    rows = read_plans(text_in(content))
    return import_plans(actor=owner_of(client.practice, client), rows=rows, now=NOW, asked=asked)


def counts(client: Client) -> tuple[int, int]:
    return Session.objects.filter(client=client).count(), PainReport.objects.filter(client=client).count()
