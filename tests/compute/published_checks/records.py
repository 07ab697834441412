"""Published checks of pain, adherence, units and local days."""

import csv
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np

from coaching.compute.local_days import first_valid_instant, hours_in_local_day
from coaching.compute.pain import is_improved, name_bands
from coaching.compute.scheduled_sessions import DONE, NOT_DONE, session_ratios
from coaching.compute.units import LB, load_from_kg, load_kg_of, parse_load
from tests.compute.published_checks.check import (
    COMPUTED,
    DESIGN,
    FROM_MEMORY,
    SEEN,
    Check,
)
from tests.compute.scheduled import Due, assess

MONITORING = (
    "pain-monitoring model: Thomee 1997, Phys Ther 77(12):1690-1703; Silbernagel 2007, AJSM 35(6):897-906"
)
FARRAR = "Farrar 2001, Pain 94(2):149-158"
FAIRMAN = "Fairman 2020, Med Sci Sports Exerc 52(2):315-322"
NILSEN = "Nilsen 2018, Med Sci Sports Exerc 50(6):1134-1141"
POUND = "international pound of 1959, 0.45359237 kg (NIST SP 811, from memory)"
LENGTHS = "zoneinfo with the tzdata package (fixtures/local_day_length.csv)"
ZONES = "tz database"

FIXTURE = Path(__file__).parents[3] / "fixtures" / "local_day_length.csv"
BANDS, IMPROVED, RATIOS = "pain.name_bands", "pain.is_improved", "scheduled_sessions.session_ratios"
TO_KG, HOURS, HOUR = "units.load_kg_of", "local_days.hours_in_local_day", "local_days.first_valid_instant"


def improved(before: float, now: float) -> bool:
    return bool(is_improved(np.array([before]), np.array([now]))[0])


def ratio(completed: float, prescribed: float) -> float:
    return float(session_ratios(np.array([completed]), np.array([prescribed]))[0])


def spells(*states: str) -> list[int]:
    """Missed and interrupted spells of sessions three days apart."""
    found = assess(*(Due(75 + 3 * place, state) for place, state in enumerate(states)))
    return [int(found.n_missed_spells[0]), int(found.n_interrupted_spells[0])]


def instant(zone: str, year: int, month: int, day: int, hour: int) -> str:
    return first_valid_instant(zone, date(year, month, day), hour).strftime("%Y-%m-%d %H:%M")


def day_lengths() -> list[Check]:
    """One check for each row of the fixture, which holds the only copy of the numbers."""
    lines = [line for line in FIXTURE.read_text().splitlines() if not line.startswith("#")]
    return [day_length(place, row) for place, row in enumerate(csv.DictReader(lines), start=1)]


def day_length(place: int, row: dict[str, str]) -> Check:
    zone, on = row["zone"], datetime.fromisoformat(row["local_date"]).date()
    return Check(
        f"D{place:02}", f"hours of {on} in {zone}", HOURS, lambda: hours_in_local_day(zone, on),
        float(row["hours_in_day"]), 0, LENGTHS, SEEN,
    )  # fmt: skip


PAIN = (
    Check(
        "N01", "bands of 0, 2, 3, 5, 6 and 10", BANDS,
        lambda: name_bands(np.array([0.0, 2, 3, 5, 6, 10])),
        ("low", "low", "acceptable", "acceptable", "high", "high"), 0, MONITORING, FROM_MEMORY,
    ),
    Check("N02", "improved from 6 to 4: 2 points", IMPROVED, lambda: improved(6, 4), True, 0, FARRAR, SEEN),
    Check("N03", "improved from 5 to 3.5: 30 %", IMPROVED, lambda: improved(5, 3.5), True, 0, FARRAR, SEEN),
    Check(
        "N04", "improved from 4 to 3: 1 point, 25 %", IMPROVED, lambda: improved(4, 3), False, 0, FARRAR,
        SEEN,
    ),
    Check(
        "N05", "improved from 3 to 2: 33 %, but below the floor of 4", IMPROVED,
        lambda: improved(3, 2), False, 0, FARRAR, DESIGN,
    ),
)  # fmt: skip

ADHERENCE = (
    Check(
        "A01",
        "ratio of the printed totals, 112,835 of 139,886 kg (the mean of the patients' ratios is 77.4 %)",
        RATIOS, lambda: ratio(112835, 139886), 0.80662, 1e-5, FAIRMAN, "totals seen, ratio computed",
    ),
    Check(
        "A02", "ratio of the printed means, 153.8 of 200.7 MET-h", RATIOS, lambda: ratio(153.8, 200.7),
        0.76632, 1e-5, NILSEN, "means seen, ratio computed",
    ),
    Check(
        "A03", "the same as printed, in percent", RATIOS, lambda: 100 * ratio(153.8, 200.7), 77, 0.5, NILSEN,
        SEEN,
    ),
    Check(
        "A04", "missed and interrupted spells: two in a row; three in a row", "adherence.assess_adherence",
        lambda: spells(NOT_DONE, NOT_DONE) + spells(NOT_DONE, NOT_DONE, NOT_DONE),
        (1, 0, 0, 1), 0, f"{FAIRMAN}; {NILSEN}", SEEN,
    ),
    Check(
        "A05", "the same: two, three and one in a row, a session done between", "adherence.assess_adherence",
        lambda: spells(NOT_DONE, NOT_DONE, DONE, NOT_DONE, NOT_DONE, NOT_DONE, DONE, NOT_DONE),
        (2, 1), 0, f"{FAIRMAN}; {NILSEN}", SEEN,
    ),
)  # fmt: skip

UNITS = (
    Check(
        "U01", "225 lb in kilograms", TO_KG, lambda: load_kg_of(parse_load("225"), LB),
        Decimal("102.05828325"), 0, POUND, COMPUTED,
    ),
    Check(
        "U02", "100 kg in pounds, eight decimals", "units.load_from_kg",
        lambda: round(load_from_kg(Decimal(100), LB), 8), Decimal("220.46226218"), 0, POUND, COMPUTED,
    ),
    Check(
        "U03", "45, 5 and 2.5 lb in kilograms", TO_KG,
        lambda: [load_kg_of(parse_load(entered), LB) for entered in ("45", "5", "2.5")],
        (Decimal("20.41165665"), Decimal("2.26796185"), Decimal("1.133980925")), 0, POUND, COMPUTED,
    ),
)  # fmt: skip

DAYS = (
    *day_lengths(),
    Check(
        "D21", "hours of 30 December 2011 in Samoa, which left the day out", HOURS,
        lambda: hours_in_local_day("Pacific/Apia", date(2011, 12, 30)), 0, 0, ZONES, SEEN,
    ),
    Check(
        "D22", "15:00 of that day: the end of the skip, UTC", HOUR,
        lambda: instant("Pacific/Apia", 2011, 12, 30, 15), "2011-12-30 10:00", 0, ZONES, SEEN,
    ),
    Check(
        "D23", "02:00 on 30 March 2025 in Berlin, which the clock skips, UTC", HOUR,
        lambda: instant("Europe/Berlin", 2025, 3, 30, 2), "2025-03-30 01:00", 0, ZONES, SEEN,
    ),
    Check(
        "D24", "02:00 on 26 October 2025 in Berlin, which comes twice, UTC", HOUR,
        lambda: instant("Europe/Berlin", 2025, 10, 26, 2), "2025-10-26 00:00", 0, ZONES, SEEN,
    ),
    Check(
        "D25", "02:00 on 5 October 2025 on Lord Howe, which becomes 02:30 (+11:00), UTC", HOUR,
        lambda: instant("Australia/Lord_Howe", 2025, 10, 5, 2), "2025-10-04 15:30", 0, ZONES, SEEN,
    ),
    Check(
        "D26", "midnight of 25 April 2025 in Cairo, which the clock skips, UTC", HOUR,
        lambda: instant("Africa/Cairo", 2025, 4, 25, 0), "2025-04-24 22:00", 0, ZONES, SEEN,
    ),
)  # fmt: skip
