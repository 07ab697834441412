"""All there is about a person as one archive, and brought in again elsewhere without a loss."""

import csv
import hashlib
import io
import json
import uuid
import zipfile

import pytest
from django.core.management import CommandError, call_command

from coaching.exchange.erasing import erase_by_hand
from coaching.exchange.person_archive import write_archive
from coaching.models import Change, Client, JointDay
from coaching.models.person import WAY_TO_CLIENT
from coaching.reads.person_rows import BROUGHT_IN, KINDS, NOT_TOLD, POINTS_AT_PEOPLE
from tests.canaries import person
from tests.constraint_rows import world
from tests.factories import NOW, MembershipFactory, PracticeFactory


@pytest.fixture
def rows(db):
    return world()


@pytest.fixture
def one(rows):
    return person(rows, "Zaphira")


@pytest.fixture
def elsewhere(db):
    return MembershipFactory(practice=PracticeFactory(), role="owner")


def archive_of(client):
    with write_archive(client, NOW) as file:
        return zipfile.ZipFile(io.BytesIO(file.read()))


def told(archive):
    """Every kind that is brought in, without what the other practice cannot know."""
    return {
        kind.name: [
            {name: value for name, value in row.items() if name not in POINTS_AT_PEOPLE}
            for row in json.loads(archive.read(f"json/{kind.name}.json"))
        ]
        for kind in BROUGHT_IN
    }


def saved(archive, tmp_path):
    path = tmp_path / "person.zip"
    with zipfile.ZipFile(path, "w") as copy:
        for name in archive.namelist():
            copy.writestr(name, archive.read(name))
    return path


def bring_in(path, practice, *more):
    call_command("import_person", str(path), "--practice", str(practice.uid), *more)


def test_every_model_about_a_person_is_told_or_has_its_reason():
    told_of = {kind.model for kind in KINDS}
    missing = set(WAY_TO_CLIENT) - told_of - set(NOT_TOLD)
    assert missing == set()
    assert not told_of & set(NOT_TOLD)


def test_every_row_of_the_person_is_in_its_file(one):
    archive = archive_of(one)
    for kind in KINDS:
        rows = json.loads(archive.read(f"json/{kind.name}.json"))
        assert len(rows) == kind.rows(one).count(), kind.name
        if kind.model in WAY_TO_CLIENT and kind.name != "exercise_stresses":
            assert rows


def test_the_manifest_says_what_every_file_is(one):
    archive = archive_of(one)
    manifest = json.loads(archive.read("manifest.json"))
    assert (manifest["form"], manifest["version"]) == ("forbear-person-archive", 1)
    assert manifest["client"] == str(one.uid)
    stated = {each["name"]: each["sha256"] for each in manifest["files"]}
    assert set(stated) == set(archive.namelist()) - {"manifest.json"}
    for name, digest in stated.items():
        assert hashlib.sha256(archive.read(name)).hexdigest() == digest


def test_no_secret_and_no_word_of_another_is_in_it(rows, one):
    person(rows, "Quillon")
    archive = archive_of(one)
    text = "".join(archive.read(name).decode() for name in archive.namelist())
    assert "Zaphira said" in text
    assert "Quillon" not in text
    assert "sealed" not in text
    assert one.account.password not in text


def test_its_tables_are_guarded_against_formulas(rows):
    one = person(rows, "=HYPERLINK")
    archive = archive_of(one)
    page = csv.DictReader(io.StringIO(archive.read("csv/injuries.csv").decode(), newline=""))
    assert {row["said"] for row in page} == {"'=HYPERLINK said"}
    assert json.loads(archive.read("json/injuries.json"))[0]["said"] == "=HYPERLINK said"


def test_exported_brought_in_and_exported_again_it_is_the_same(one, elsewhere, tmp_path):
    archive = archive_of(one)
    path = saved(archive, tmp_path)
    bring_in(path, elsewhere.practice)
    here = Client.objects.get(practice=elsewhere.practice)
    assert (here.uid, here.coach_id, here.account_id) == (one.uid, elsewhere.id, None)
    assert told(archive_of(here)) == told(archive)
    assert Change.objects.filter(client=here, kind="session").exists()


def test_it_survives_that_the_person_was_erased_where_it_came_from(one, elsewhere, tmp_path):
    archive = archive_of(one)
    path = saved(archive, tmp_path)
    source = one.practice
    erase_by_hand(client=one, now=NOW)
    bring_in(path, elsewhere.practice)
    assert told(archive_of(Client.objects.get(uid=one.uid))) == told(archive)
    MembershipFactory(practice=source, role="owner")
    with pytest.raises(CommandError):
        bring_in(path, source)
    assert not Client.objects.filter(practice=source, uid=one.uid).exists()


def test_a_second_time_finds_everything_standing(one, elsewhere, tmp_path, capsys):
    path = saved(archive_of(one), tmp_path)
    bring_in(path, elsewhere.practice)
    capsys.readouterr()
    bring_in(path, elsewhere.practice)
    assert capsys.readouterr().out.startswith("0 rows written")


def test_a_dry_run_writes_nothing(one, elsewhere, tmp_path, capsys):
    bring_in(saved(archive_of(one), tmp_path), elsewhere.practice, "--dry-run")
    assert "would be new" in capsys.readouterr().out
    assert not Client.objects.filter(practice=elsewhere.practice).exists()


def changed(path, name, change, *, with_digest=True):
    """The archive with one file changed, and the manifest told of it or not."""
    archive = zipfile.ZipFile(io.BytesIO(path.read_bytes()))
    files = {each: archive.read(each) for each in archive.namelist()}
    rows = json.loads(files[name])
    change(rows)
    files[name] = json.dumps(rows).encode()
    if with_digest:
        manifest = json.loads(files["manifest.json"])
        for each in manifest["files"]:
            if each["name"] == name:
                each["sha256"] = hashlib.sha256(files[name]).hexdigest()
        files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w") as copy:
        for each, content in files.items():
            copy.writestr(each, content)
    return path


NOBODY = str(uuid.UUID(int=7))
BAD = {
    "a digest that is another": ("json/injuries.json", lambda rows: rows[0].update(said="x"), False),
    "a word that no table takes": ("json/injuries.json", lambda rows: rows[0].update(joint="tail"), True),
    "a reference to nothing": ("json/logged_sets.json", lambda rows: rows[0].update(session=NOBODY), True),
    "a column that is not there": ("json/sessions.json", lambda rows: rows[0].pop("zone"), True),
    "an unknown exercise": ("json/exercises.json", lambda rows: rows.clear(), True),
    "no consent": ("json/consents.json", lambda rows: rows.clear(), True),
    "a number as text": ("json/pain_reports.json", lambda rows: rows[0].update(pain="much"), True),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_archive_is_refused_and_nothing_is_written(rows, elsewhere, tmp_path, name):
    own = insert_own_exercise(rows)
    one = person(own, "Zaphira")
    path = saved(archive_of(one), tmp_path)
    file, change, with_digest = BAD[name]
    changed(path, file, change, with_digest=with_digest)
    with pytest.raises(CommandError) as refused:
        bring_in(path, elsewhere.practice)
    assert refused.value.returncode == 2
    assert not Client.objects.filter(practice=elsewhere.practice).exists()
    assert not JointDay.objects.filter(practice=elsewhere.practice).exists()


def insert_own_exercise(rows):
    """The same world, with lifts that only its practice knows."""
    type(rows.exercise).objects.filter(
        id__in=[rows.exercise.id, rows.other_exercise.id, rows.third_exercise.id]
    ).update(practice=rows.practice)
    return rows


def test_other_content_under_an_id_is_a_conflict(one, elsewhere, tmp_path):
    path = saved(archive_of(one), tmp_path)
    bring_in(path, elsewhere.practice)
    changed(path, "json/injuries.json", lambda rows: rows[0].update(said="Other"))
    with pytest.raises(CommandError):
        bring_in(path, elsewhere.practice)
