"""Histories played night by night: no look-ahead, the night's own rules, and every bad row named."""

import csv
from datetime import date, timedelta

import pytest
from django.core.management import CommandError, call_command

FIRST = date(2025, 1, 6)
PAIN_HEAD = "client,joint,side,day,pain,joint_reps"
LIFT_HEAD = "client,exercise,side,day,load_kg,reps,rir,training_status"
STEADY = [(2, 30)] * 40
FLARE = [(min(5, 2 + step // 3), 32 + 2 * step) for step in range(14)]


def pain_lines(days, client="Mira", site="knee,left"):
    """A training day every other day: pain and joint reps."""
    return [
        f"{client},{site},{FIRST + timedelta(days=2 * number)},{pain},{reps}"
        for number, (pain, reps) in enumerate(days)
    ]


def lift_lines(loads, client="Mira", status="novice"):
    return [
        f"{client},back_squat,both,{FIRST + timedelta(days=3 * number)},{load},5,2,{status}"
        for number, load in enumerate(loads)
    ]


@pytest.fixture
def replay(tmp_path):
    def run(what, head, lines):
        path, out = tmp_path / "history.csv", tmp_path / "flags.csv"
        path.write_text("\n".join([head, *lines]) + "\n")
        call_command("replay", what, str(path), out=out)
        with out.open(newline="") as file:
            return list(csv.DictReader(file))

    return run


def kinds(flags):
    return [flag["kind"] for flag in flags]


def test_a_flare_is_flagged_with_its_site_and_night(replay):
    flags = replay("pain", PAIN_HEAD, pain_lines([*STEADY, *FLARE]))
    flag = next(flag for flag in flags if flag["kind"] == "pain_with_volume")
    assert (flag["client"], flag["joint"], flag["side"]) == ("Mira", "knee", "left")
    assert FIRST + timedelta(days=80) < date.fromisoformat(flag["opened_on"]) <= FIRST + timedelta(days=108)


def test_steady_pain_is_not_flagged(replay):
    assert replay("pain", PAIN_HEAD, pain_lines([(3, 30)] * 60)) == []


def test_the_future_changes_nothing_of_the_past(replay):
    until = str(FIRST + timedelta(days=2 * 47))
    whole = replay("pain", PAIN_HEAD, pain_lines([*STEADY, *FLARE]))
    cut = replay("pain", PAIN_HEAD, pain_lines([*STEADY, *FLARE[:7]]))
    assert [flag for flag in whole if flag["opened_on"] <= until] == [
        flag for flag in cut if flag["opened_on"] <= until
    ]


def test_pain_at_the_limit_opens_on_the_night_after_it(replay):
    flags = replay("pain", PAIN_HEAD, pain_lines([(1, 30), (7, 30)]))
    assert [(flag["kind"], flag["opened_on"]) for flag in flags] == [
        ("pain_limit", str(FIRST + timedelta(days=3)))
    ]


def test_what_one_client_does_changes_no_flag_of_another(replay):
    alone = replay("pain", PAIN_HEAD, pain_lines([*STEADY, *FLARE]))
    beside = replay("pain", PAIN_HEAD, [*pain_lines([*STEADY, *FLARE]), *pain_lines(STEADY, "Noel")])
    assert alone == beside


def test_a_novices_lift_that_stops_is_flagged(replay):
    growing = [100 * 1.01 ** (number * 3 / 7) for number in range(12)]
    flags = replay(
        "lifts", LIFT_HEAD, lift_lines([round(load, 1) for load in [*growing, *[growing[-1]] * 24]])
    )
    assert kinds(flags) == ["stalled_lift"]


def test_a_lift_that_grows_is_not_flagged(replay):
    loads = [round(100 * 1.012 ** (number * 3 / 7), 1) for number in range(36)]
    assert replay("lifts", LIFT_HEAD, lift_lines(loads)) == []


GOOD = pain_lines([(2, 30)] * 3)
BAD = [
    ([*GOOD, "Mira,knee,left,2025-13-40,2,30"], "line 5, day"),
    ([*GOOD, GOOD[-1]], "line 5, day"),
    ([*GOOD, GOOD[0]], "line 5, day"),
    ([GOOD[0], "", GOOD[1]], "line 3"),
    ([*GOOD, "Mira,knee,left,2025-02-01,11,30"], "line 5, pain"),
    ([*GOOD, "Mira,knee,left,2025-02-01,2,-5"], "line 5, joint_reps"),
    ([*GOOD, "Mira,knee,left,2025-02-01,2,nan"], "line 5, joint_reps"),
    ([*GOOD, "Mira,tail,left,2025-02-01,2,5"], "line 5, joint"),
    ([*GOOD, "Mira,knee,midline,2025-02-01,2,5"], "line 5, side"),
    ([*GOOD, "Mira,knee,left,2025-02-01,2"], "line 5"),
]


@pytest.mark.parametrize(("lines", "where"), BAD)
def test_a_bad_row_is_named_by_its_line_and_nothing_is_written(tmp_path, capsys, lines, where):
    path, out = tmp_path / "history.csv", tmp_path / "flags.csv"
    path.write_text("\n".join([PAIN_HEAD, *lines]))
    with pytest.raises(CommandError) as refusal:
        call_command("replay", "pain", str(path), out=out)
    assert refusal.value.returncode == 2
    assert where in capsys.readouterr().err
    assert [found.name for found in tmp_path.iterdir()] == ["history.csv"]


@pytest.mark.parametrize(
    "head", ["client,joint,side,day,pain", "client,joint,side,day,pain,joint_reps,mood", ""]
)
def test_a_file_without_the_columns_is_refused(tmp_path, head):
    path = tmp_path / "history.csv"
    path.write_text(head)
    with pytest.raises(CommandError) as refusal:
        call_command("replay", "pain", str(path), out=tmp_path / "flags.csv")
    assert refusal.value.returncode == 2
    assert not (tmp_path / "flags.csv").exists()


def test_a_file_that_is_not_there_ends_with_1(tmp_path):
    with pytest.raises(CommandError) as refusal:
        call_command("replay", "lifts", str(tmp_path / "none.csv"), out=tmp_path / "flags.csv")
    assert refusal.value.returncode == 1


@pytest.mark.parametrize("row", ["-5,5,2,novice", "100,,2,novice", "100,5,2,expert", "100,5.5,2,novice"])
def test_a_bad_set_is_refused(tmp_path, row):
    path = tmp_path / "history.csv"
    path.write_text(f"{LIFT_HEAD}\nMira,back_squat,both,2025-01-06,{row}\n")
    with pytest.raises(CommandError) as refusal:
        call_command("replay", "lifts", str(path), out=tmp_path / "flags.csv")
    assert refusal.value.returncode == 2


def test_blank_lines_at_the_end_are_no_rows(replay):
    assert replay("pain", PAIN_HEAD, [*pain_lines(STEADY), "", ""]) == []
