"""What is read without a serializer means the same to the serializer; the usual body is read so."""

import json
import string
import uuid
from datetime import UTC, datetime, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.parsers import parse_json
from api.quick_session import OF_REPORT, OF_SESSION, OF_SET, quick_item, quick_session
from api.sessions import SessionIn, SessionInBatch
from coaching.models import EndedBy, Joint, LoadUnit, PainMoment, SetKind, SetSide, SiteSide
from coaching.reads.symptoms import SYMPTOM_CODES
from tests.bodies import pain_body, session_body, set_body

IDS = st.uuids().map(str)
TEXTS = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00"), max_size=40)
WORDS = st.text(string.ascii_lowercase + "_", min_size=1, max_size=20)
FIRST_INSTANT = datetime(1990, 1, 1, tzinfo=UTC)
INSTANTS = st.integers(0, 3_000_000_000_000_000).map(
    lambda passed: (FIRST_INSTANT + timedelta(microseconds=passed)).isoformat()
)
HALVES = st.integers(0, 40).map(lambda number: number / 2)
LOADS = st.integers(0, 2_000_000).map(lambda thousandths: thousandths / 1000)
ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-10, 10_000),
    st.integers(-(10**38), 10**38),
    st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9).map(
        lambda number: round(number, 6)
    ),
    TEXTS,
    IDS,
    st.sampled_from(
        [
            "",
            " ",
            "a\nb",
            "a\tb",
            "\x0b a",
            "\x7f",
            "e\u0301",
            "\u00a0x",
            "x" * 61,
            "x" * 2001,
            "WORK",
            "True",
            "2026-03-02",
            "2026-03-02T18:00:00",
            "2026-03-02t18:00:00z",
            "2026-02-30T18:00:00Z",
            "0001-01-01T00:00:00+14:00",
            "9999-12-31T23:59:59-14:00",
            "2026-03-02T18:00:00.1234567Z",
            "00000000-0000-0000-0000-000000000000",
            "ffffffff-ffff-ffff-ffff-ffffffffffff",
            "{12345678-1234-1234-1234-123456789012}",
            "12345678-1234-4234-8234-123456789ABC",
        ]
    ),
    st.lists(st.integers(), max_size=2),
    st.lists(st.lists(st.text("abc", max_size=2), min_size=2, max_size=2), max_size=2),
    st.dictionaries(WORDS, st.one_of(st.none(), st.integers(), TEXTS), max_size=2),
)


def record(needed, optional):
    return st.fixed_dictionaries(needed, optional=optional)


SETS = record(
    {"id": IDS, "exercise": WORDS, "reps": st.integers(0, 1000)},
    {
        "kind": st.sampled_from(SetKind.values),
        "side": st.sampled_from(SetSide.values),
        "load": st.one_of(st.integers(0, 2000), LOADS),
        "load_unit": st.sampled_from(LoadUnit.values),
        "rir": st.one_of(st.none(), HALVES, st.integers(0, 20)),
        "guessed_rir": HALVES,
        "guessed_after_reps": st.integers(0, 40),
        "duration_s": st.one_of(st.none(), st.integers(1, 7200)),
        "ended_by": st.sampled_from(EndedBy.values),
        "tempo": st.text("0123456789-X ", max_size=13),
        "rest_s": st.one_of(st.none(), st.integers(0, 7200)),
        "follows_previous": st.booleans(),
        "prescription": st.one_of(st.none(), IDS),
    },
)
REPORTS = record(
    {
        "id": IDS,
        "joint": st.sampled_from(Joint.values),
        "side": st.sampled_from(SiteSide.values),
        "moment": st.sampled_from(PainMoment.values),
        "pain": st.integers(0, 10),
        "reported_at": INSTANTS,
    },
    {
        "other_site": TEXTS,
        "note": TEXTS,
        "explanation": TEXTS,
        "symptoms": st.dictionaries(
            st.sampled_from(sorted(SYMPTOM_CODES)), st.sampled_from(["yes", "no", "not_answered"]), max_size=3
        ),
    },
)
SESSIONS = record(
    {"performed_at": INSTANTS},
    {
        "ended_at": st.one_of(st.none(), INSTANTS),
        "session_rpe": st.one_of(st.none(), HALVES),
        "note": TEXTS,
        "scheduled_session": st.one_of(st.none(), IDS),
        "client": IDS,
        "sets": st.lists(SETS, max_size=3),
        "pain_reports": st.lists(REPORTS, max_size=3),
    },
)
KEYS = st.sampled_from(
    [
        *("performed_at", "ended_at", "session_rpe", "note", "scheduled_session", "client", "sets", "id"),
        *("pain_reports", "exercise", "kind", "side", "load", "load_unit", "reps", "duration_s", "rir"),
        *("guessed_rir", "guessed_after_reps", "ended_by", "tempo", "rest_s", "follows_previous"),
        *("prescription", "joint", "other_site", "moment", "pain", "symptoms", "explanation", "reported_at"),
        "unknown",
    ]
)


@st.composite
def spoilt(draw):
    """A session of which up to three values are odd, or gone."""
    body = draw(SESSIONS)
    for _ in range(draw(st.integers(0, 3))):
        inner = [row for name in ("sets", "pain_reports") for row in held(body.get(name))]
        place = draw(st.sampled_from([body, *inner]))
        key = draw(st.one_of(KEYS, st.sampled_from(sorted(place))) if place else KEYS)
        if draw(st.booleans()):
            place[key] = draw(ODD)
        else:
            place.pop(key, None)
    return body


def held(rows):
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def sent(body):
    """As it comes out of the parser of the service."""
    return parse_json(json.dumps(body).encode())


def same(quick, serializer):
    """Whether the serializer takes the body and means the same by it, to the type of each value."""
    assert serializer.is_valid(), serializer.errors
    assert exact(quick) == exact(serializer.validated_data)


def exact(value):
    if isinstance(value, dict):
        return {key: exact(each) for key, each in value.items()}
    if isinstance(value, list):
        return [exact(each) for each in value]
    if isinstance(value, str):
        return str(value)
    return type(value), repr(value)


@given(SESSIONS)
def test_what_is_read_quickly_means_the_same_to_the_serializer(body):
    data = sent(body)
    quick = quick_session(data)
    if quick is not None:
        same(quick, SessionIn(data=data))


@given(spoilt())
def test_of_a_spoilt_body_too(body):
    data = sent(body)
    quick = quick_session(data)
    if quick is not None:
        same(quick, SessionIn(data=data))


@given(spoilt(), st.one_of(st.uuids().map(str), ODD))
def test_an_item_of_a_batch_is_read_as_the_serializer_reads_it(body, own_id):
    data = sent(body | {"id": own_id})
    quick = quick_item(data)
    if quick is not None:
        same(quick, SessionInBatch(data=data))


@given(ODD)
def test_what_is_no_object_is_left_to_the_serializer(value):
    if not isinstance(value, dict):
        assert (quick_session(value), quick_item(value)) == (None, None)


VALUES = [
    *(
        None,
        True,
        False,
        "",
        " ",
        "\n",
        "WORK",
        "work",
        "left",
        "kg",
        "both",
        "midline",
        "during",
        "yes",
        [],
        {},
    ),
    *(-1, 0, 1, 10, 11, 20, 21, 1000, 1001, 2000, 2001, 7200, 7201, 10**30),
    *(-0.5, 0.0, 0.25, 0.5, 7.5, 10.5, 20.5, 100.005, 100.0005, 2000.001),
    *("x" * length for length in (12, 13, 60, 61, 80, 81, 300, 301, 2000, 2001)),
    *(
        "a\nb",
        "a\tb",
        " a ",
        "\x0b a",
        "a\x0bb",
        "\x7f",
        "e\u0301",
        "\u00a0x",
        "x\u2028y",
        "ä" * 12,
        "a\u0301" * 12,
    ),
    *("2026-03-02", "2026-03-02T18:00:00", "2026-03-02t18:00:00z", "2026-02-30T18:00:00Z"),
    *("0001-01-01T00:00:00+14:00", "2026-03-02T18:00:00.123456-05:00", "2026-03-02T18:00:00.1234567Z"),
    *("00000000-0000-0000-0000-000000000000", "FFFFFFFF-FFFF-FFFF-FFFF-FFFFFFFFFFFF"),
    *("12345678-1234-4234-8234-123456789ABC", "{12345678-1234-4234-8234-123456789abc}"),
    *({"night_pain": "no"}, {"night_pain": "NO"}, {"night_pain": None}, {"hunger": "no"}, [{}], [["id", 1]]),
]


def full():
    told = pain_body(id=str(uuid.uuid4()), note="a", explanation="b", other_site="c", symptoms={})
    done = set_body(
        kind="work", side="both", load_unit="kg", ended_by="target", tempo="3-1-1-0", rest_s=90,
        follows_previous=False, prescription=None, guessed_rir=2, guessed_after_reps=3,
    )  # fmt: skip
    own = {"client": str(uuid.uuid4()), "scheduled_session": str(uuid.uuid4()), "session_rpe": 7, "note": "a"}
    return session_body(sets=[done], pain_reports=[told], **own)


def agree(body):
    data = sent(body)
    quick = quick_session(data)
    if quick is not None:
        same(quick, SessionIn(data=data))
    return quick is not None


@pytest.mark.parametrize("place", ["session", "set", "report"])
def test_each_value_in_each_place_is_read_as_the_serializer_reads_it(place):
    accepted = 0
    for key in [*KEYS_OF[place], "unknown", "id"]:
        for value in VALUES:
            body = full()
            {"session": body, "set": body["sets"][0], "report": body["pain_reports"][0]}[place][key] = value
            accepted += agree(body)
    assert accepted > len(KEYS_OF[place])


KEYS_OF = {"session": sorted(OF_SESSION), "set": sorted(OF_SET), "report": sorted(OF_REPORT)}


def test_what_hangs_together_is_read_as_the_serializer_reads_it():
    """Reps or a duration, a guess and when it was made, a joint and its side."""
    amounts = product((None, 0, 2, 3), (None, 30), (None, 0, 2), (None, 0, 2, 3))
    names = ("reps", "duration_s", "guessed_rir", "guessed_after_reps")
    sets = [set_body(**dict(zip(names, values, strict=True))) for values in amounts]
    sites = product(Joint.values, SiteSide.values, ("", " ", "Jaw"))
    reports = [
        pain_body(id=str(uuid.uuid4()), joint=joint, side=side, other_site=other)
        for joint, side, other in sites
    ]
    accepted = [agree(session_body(sets=[row], pain_reports=[])) for row in sets]
    accepted += [agree(session_body(sets=[], pain_reports=[row])) for row in reports]
    assert 0 < sum(accepted) < len(accepted)


@pytest.mark.parametrize(("name", "row", "most"), [("sets", set_body, 200), ("pain_reports", pain_body, 100)])
def test_as_many_rows_are_read_as_the_serializer_reads(name, row, most):
    rows = [row(id=str(uuid.uuid4())) for _ in range(most + 1)]
    assert [agree(session_body(**{name: some})) for some in (rows[1:], rows)] == [True, False]


USUAL = [
    session_body(),
    session_body(sets=[set_body() for _ in range(20)]),
    session_body(note="Kniebeuge ging schwer, übrigens.\nSonst gut.", session_rpe=7.5),
    session_body(sets=[set_body(load=62.5, rir=1.5, tempo="3-1-1-0", rest_s=120, prescription=None)]),
    session_body(sets=[set_body(reps=None, rir=None, duration_s=40)]),
    session_body(sets=[set_body(guessed_rir=2, guessed_after_reps=3, ended_by="failure")]),
    session_body(sets=[], pain_reports=[], client=str(uuid.uuid4()), scheduled_session=str(uuid.uuid4())),
    session_body(
        pain_reports=[pain_body(id=str(uuid.uuid4()), symptoms={"night_pain": "no"}, note="On stairs.")]
    ),
    session_body(pain_reports=[pain_body(id=str(uuid.uuid4()), joint="other", other_site="Jaw")]),
]


@pytest.mark.parametrize("body", USUAL)
def test_the_usual_body_needs_no_serializer(body):
    data = sent(body)
    same(quick_session(data), SessionIn(data=data))
    item = data | {"id": str(uuid.uuid4())}
    same(quick_item(item), SessionInBatch(data=item))


def test_a_list_of_pairs_is_no_item():
    assert quick_item([["id", str(uuid.uuid4())], ["performed_at", "2026-03-02T18:00:00Z"]]) is None
