"""Published strength series, imported through the command, against independent packages and through a night.

Source: Littell, Milliken, Stroup and Wolfinger 1996, SAS System for Mixed Models, data set 3.2(a), in
fixtures/strength_57_lifters.csv: seven measurements of each of 57 lifters, every second day. The source does
not state the unit. It is entered as kilograms here only because a load must have one: every figure below is a
slope of logarithms or a comparison of a lifter with himself, which no choice of unit changes.
"""

import csv
import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from django.conf import settings
from django.core.management import call_command
from scipy.stats import theilslopes
from statsmodels.formula.api import mixedlm

from coaching.compute.trends import theil_sen
from coaching.models import Alert, AlertKind, Client, JointDay, LiftDay, LoggedSet, Practice, Score, Session
from coaching.nightly import night_by_hand, run_night
from tests.factories import ClientFactory, ConsentFactory, MembershipFactory

FIXTURE = Path(settings.BASE_DIR) / "fixtures" / "strength_57_lifters.csv"
START_ON = date(2026, 1, 4)  # invented; the source's day 1 is the day after
LAST_DAY = 13
NIGHT_ON = START_ON + timedelta(days=LAST_DAY + 1)
NIGHT_AT = datetime(2026, 1, 18, 3, 0, tzinfo=UTC)
LIFT = "barbell_bench_press"  # invented, too: the source names no lift


@pytest.fixture(scope="module")
def published() -> pd.DataFrame:
    return pd.read_csv(FIXTURE, comment="#")


@pytest.fixture
def practice(db, published) -> Practice:
    owner = MembershipFactory(role="owner")
    for subject in published["subject"].unique():
        ConsentFactory(client=ClientFactory(coach=owner, name=f"Invented lifter {subject}"))
    return owner.practice


@pytest.fixture
def file(published, tmp_path) -> Path:
    """One repetition to failure with the published load, so that the estimated maximum is the load itself."""
    path = tmp_path / "series.csv"
    with path.open("w", newline="") as opened:
        out = csv.writer(opened)
        out.writerow(["client", "performed_at", "exercise", "load", "load_unit", "reps", "ended_by"])
        for row in published.itertuples():
            on = START_ON + timedelta(days=row.time_days)
            out.writerow([f"Invented lifter {row.subject}", on, LIFT, row.strength, "kg", 1, "failure"])
    return path


def imported(practice: Practice, file: Path) -> dict[str, object]:
    said = StringIO()
    call_command("import_sets", str(file), practice=str(practice.uid), json=True, stdout=said)
    told: dict[str, object] = json.loads(said.getvalue())
    return told


def stored(practice: Practice) -> list[tuple[object, ...]]:
    """Every row that an import writes, as it stands."""
    kinds = [Session, LoggedSet, LiftDay, JointDay]
    return [
        row for kind in kinds for row in kind.objects.filter(practice=practice).order_by("id").values_list()
    ]


def series(published: pd.DataFrame, practice: Practice) -> list[tuple[pd.DataFrame, np.ndarray, np.ndarray]]:
    """Of each lifter: the published rows, the days of the lift days stored, and the maxima stored."""
    clients = {client.name: client for client in Client.objects.filter(practice=practice)}
    found = []
    for subject, rows in published.groupby("subject"):
        client = clients[f"Invented lifter {subject}"]
        days = LiftDay.objects.filter(client=client).order_by("day_on")
        times = np.array([float((row.day_on - START_ON).days) for row in days])
        found.append((rows, times, np.array([row.e1rm_kg for row in days])))
    return found


def test_the_file_holds_seven_measurements_of_each_of_57_lifters(published):
    assert len(published) == 399
    counts = published.groupby("subject").size()
    assert len(counts) == 57 and set(counts) == {7}
    for _, rows in published.groupby("subject"):
        assert [after - before for before, after in pairwise(rows["time_days"])] == [2] * 6


def test_the_file_gives_the_published_standard_deviations(published):
    """Between lifters and residual, as printed by the R package SASmixed beside output 3.1 of the book."""
    fit = mixedlm("strength ~ program * time_days", published, groups=published["subject"]).fit(reml=True)
    assert float(fit.cov_re.iloc[0, 0]) ** 0.5 == pytest.approx(3.0991, abs=1e-3)
    assert fit.scale**0.5 == pytest.approx(1.0897, abs=1e-3)


def test_every_published_measurement_becomes_the_maximum_of_its_day(published, practice, file):
    told = imported(practice, file)
    assert (told["rows"], told["sessions_new"], told["sets_new"], told["problems"]) == (399, 399, 399, [])
    for rows, times, maxima in series(published, practice):
        assert list(times) == list(rows["time_days"])
        assert list(maxima) == list(rows["strength"])


def test_the_slope_of_every_lifter_equals_that_of_scipy(published, practice, file):
    imported(practice, file)
    compared = series(published, practice)
    assert len(compared) == 57
    for _, times, maxima in compared:
        ours = theil_sen(times, np.log(maxima))
        theirs = theilslopes(np.log(maxima), times)
        assert ours.slope == pytest.approx(theirs.slope, abs=1e-9)
        assert ours.intercept == pytest.approx(theirs.intercept, abs=1e-9)


def test_the_night_finds_seven_measurements_too_few_to_judge_any_lift(practice, file):
    imported(practice, file)
    run_night(night=night_by_hand(practice=practice, night_on=NIGHT_ON, now=NIGHT_AT), now=NIGHT_AT)
    scores = Score.objects.filter(practice=practice, night_on=NIGHT_ON)
    lifts = [lift for score in scores for lift in score.details["lifts"]]
    assert len(scores) == len(lifts) == 57
    assert {(lift["exercise"], lift["state"]) for lift in lifts} == {(LIFT, "not_assessable")}
    assert {(lift["exposures"], lift["reason"]) for lift in lifts} == {(7, "few_exposures")}
    about_lifts = [AlertKind.STALLED_LIFT, AlertKind.REGRESSING_LIFT]
    assert not Alert.objects.filter(practice=practice, kind__in=about_lifts).exists()


def test_the_same_file_again_changes_nothing(practice, file):
    imported(practice, file)
    before = stored(practice)
    told = imported(practice, file)
    assert (told["sessions_new"], told["sessions_standing"]) == (0, 399)
    assert stored(practice) == before
