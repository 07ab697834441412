"""Files that spreadsheets have had in their hands are read as what they were, or refused with a reason."""

import uuid
from pathlib import Path

import pytest

from coaching.errors import InvalidError
from coaching.exchange import table
from coaching.exchange.sets_csv import read_sets
from coaching.exchange.table import text_in
from coaching.models import LoggedSet
from tests import csv_records as records

FIXTURES = Path(__file__).parents[2] / "fixtures"
CLIENT = uuid.UUID("5b0c1d1e-6f0a-4c7b-9a52-0d5f6a7b8c90")
ORIGINAL = (FIXTURES / "sets_exported.csv").read_bytes()


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["sets_exported", "sets_libreoffice", "sets_excel_form"])
def test_a_file_that_a_spreadsheet_saved_imports_equal_to_the_original(name):
    client = records.empty_practice(CLIENT)
    done = records.sets_in(client, (FIXTURES / f"{name}.csv").read_bytes())
    assert (done.problems, done.sessions_new, done.sets_new) == ((), 4, 7)
    assert records.sets_out(client) == ORIGINAL


def one(header: str, row: str):
    (found,) = read_sets(f"{header}\n{row}", names_clients=False)
    return found


def test_a_decimal_comma_is_read_where_semicolons_part_the_cells():
    row = one("performed_at;exercise;load;reps;rir", "2026-03-02;back_squat;62,125;5;1,5")
    assert row.content is not None
    assert (row.content.load_thousandths, row.content.rir) == (62_125, 1.5)


@pytest.mark.parametrize("load", ["1.234,5", "1,5,5", "1,0005", ",5", "5,"])
def test_figures_that_may_mean_two_things_are_refused(load):
    row = one("performed_at;exercise;load;reps", f"2026-03-02;back_squat;{load};5")
    assert [(each.column, each.code) for each in row.problems] == [("load", "invalid")]


@pytest.mark.parametrize(
    "when", ["02.03.2026 18:30", "3/2/2026", "02/03/2026 18:30", "46083.77", "2026-03-02T18:30:00Z+1"]
)
def test_a_date_in_a_countrys_own_form_is_never_guessed(when):
    row = one("performed_at,exercise,reps", f"{when},back_squat,5")
    assert [(each.column, each.code) for each in row.problems] == [("performed_at", "invalid")]


def test_what_is_empty_beyond_the_last_column_is_overlooked():
    rows = read_sets("performed_at,exercise,reps,,\n2026-03-02,back_squat,5,,\n,,,,\n", names_clients=False)
    assert [row.problems for row in rows] == [()]


def test_a_file_of_blank_lines_is_given_up(monkeypatch):
    monkeypatch.setattr(table, "MAX_BLANK_LINES", 3)
    text = "performed_at,exercise,reps\n"
    assert read_sets(text + "\n" * 3, names_clients=False) == []
    with pytest.raises(InvalidError, match="More than 3 lines are blank"):
        read_sets(text + "\n" * 4, names_clients=False)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("a,b\nZoë".encode("latin-1"), "Line 2 is not UTF-8: save the file as UTF-8 text."),
        (b"\x1f\x8b\x08", "This is packed with gzip: save it as CSV in UTF-8."),
        (b"PK\x03\x04", "This is a spreadsheet or another zip file: save it as CSV in UTF-8."),
    ],
)
def test_bytes_that_are_no_text_are_refused_in_a_sentence(content, said):
    with pytest.raises(InvalidError) as error:
        text_in(content)
    assert error.value.detail == said


@pytest.mark.django_db
def test_a_text_may_be_guarded_by_hand_or_not():
    client = records.empty_practice(CLIENT)
    head = "performed_at,exercise,reps,session_note"
    for day, note in (("01", "'=1"), ("02", "=1")):
        records.sets_in(client, f"client,{head}\n{CLIENT},2026-02-{day},back_squat,5,{note}".encode())
    assert {row.session.note for row in LoggedSet.objects.select_related("session")} == {"=1"}
