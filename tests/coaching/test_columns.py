"""Rows as arrays: every kind comes as it stands in the database, from both of them."""

from datetime import date

import numpy as np
import pytest
from django.db.models.functions import Coalesce

from coaching.models import Client, JointDay, LiftDay
from coaching.models.base import Joint, SiteSide
from coaching.models.scope import UnscopedQueryError, outside_of_practices
from coaching.reads.columns import Small, code_of, columns, numbered, packed, places_of, unpacked
from tests.factories import ExerciseFactory

pytestmark = pytest.mark.django_db
DAYS = (date(1999, 12, 31), date(2000, 1, 1), date(2026, 3, 2))


@pytest.fixture
def days(cast):
    for place, day in enumerate(DAYS):
        JointDay.objects.create(
            practice=cast.practice, client=cast.client, day_on=day, joint="knee", side="left",
            joint_reps=0.1 * place, pain=[None, 0, 10][place],
        )  # fmt: skip
    return JointDay.objects.filter(client=cast.client)


def test_dates_are_ordinals_before_and_after_the_servers_first_day(days):
    day, reps = columns(days, day_on=date, joint_reps=float)
    order = np.argsort(day)
    assert day[order].tolist() == [each.toordinal() for each in DAYS]
    assert reps[order].tolist() == [0.0, 0.1, 0.2]


def test_all_columns_are_in_one_order(days):
    day, pain = columns(days.annotate(known=Coalesce("pain", -1)), day_on=date, known=Small)
    assert dict(zip(day.tolist(), pain.tolist(), strict=True)) == {
        each.toordinal(): pain for each, pain in zip(DAYS, (-1, 0, 10), strict=True)
    }


def test_words_become_their_places(days):
    (found,) = columns(days.annotate(there=code_of("joint", Joint.values)), there=Small)
    assert set(found.tolist()) == {Joint.values.index("knee")}


@pytest.mark.parametrize("kind", [int, Small])
def test_a_word_that_is_not_among_those_asked_for_is_refused(days, kind):
    with pytest.raises(ValueError, match="has a null"):
        columns(days.annotate(there=code_of("joint", ["hip"])), there=kind)


def test_what_is_packed_is_unpacked(days):
    told = packed(
        code_of("joint", Joint.values),
        (Coalesce("pain", -1) + 1, 12),
        (code_of("side", SiteSide.values), len(SiteSide)),
    )
    (codes,) = columns(days.annotate(told=told), told=Small)
    joint, pain, side = unpacked(codes, 12, len(SiteSide))
    knee, left = Joint.values.index("knee"), SiteSide.values.index("left")
    assert (set(joint.tolist()), sorted(pain.tolist()), set(side.tolist())) == ({knee}, [0, 1, 11], {left})


def test_texts_and_truth_values_come_as_they_are(cast):
    for side, track, is_deload in (("left", "fresh", True), ("right", 'after:"quoted"\\', False)):
        LiftDay.objects.create(
            practice=cast.practice, client=cast.client, day_on=DAYS[2], exercise=ExerciseFactory(),
            side=side, track=track, is_deload=is_deload,
        )  # fmt: skip
    track, is_deload, own = columns(LiftDay.objects.all(), track=str, is_deload=bool, id=int)
    assert sorted(zip(track, is_deload.tolist(), strict=True)) == [
        ('after:"quoted"\\', False),
        ("fresh", True),
    ]
    assert own.dtype == np.int64


@pytest.mark.parametrize("no_ids", [[], {}])
def test_where_there_are_no_rows_the_columns_are_empty(cast, no_ids):
    day, text = columns(JointDay.objects.filter(client_id__any_of=no_ids), day_on=date, joint=str)
    assert (day.tolist(), list(text)) == ([], [])
    (by_none,) = columns(JointDay.objects.filter(client_id__in=[]), joint_reps=float)
    assert by_none.dtype == np.float64
    assert by_none.tolist() == []


def test_rows_of_a_scope_are_asked_for_within_it(days):
    with outside_of_practices(), pytest.raises(UnscopedQueryError):
        columns(days, day_on=date)


def test_any_of_finds_the_rows_of_many_keys_as_in_does(cast):
    ids = [cast.client.id, cast.colleagues_client.id, 10**12]
    assert set(Client.objects.filter(id__any_of=ids)) == set(Client.objects.filter(id__in=ids))


def test_alike_texts_have_one_number():
    numbers, texts = numbered(["b", "a", "b"])
    assert (numbers.tolist(), texts) == ([0, 1, 0], ["b", "a"])


def test_an_id_without_a_place_is_refused():
    assert places_of(np.array([7, 5, 7]), {5: 0, 7: 1}).tolist() == [1, 0, 1]
    with pytest.raises(KeyError):
        places_of(np.array([6]), {5: 0})
