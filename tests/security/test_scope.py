"""The first belt: queries are bound to the practice of the token by construction, on every database."""

import threading
from datetime import UTC, datetime

import pytest
from django.apps import apps
from django.db import models, transaction

from api import endpoint
from coaching.models import Alert, Block, Client, Exercise, Membership, Practice, scope
from coaching.models.scope import (
    NOWHERE,
    Scope,
    UnscopedQueryError,
    across_practices,
    current_scope,
    outside_of_practices,
    pieces_within,
    within_practice,
)
from coaching.models.scoped import OfPractice
from coaching.tick import tick
from tests.constraint_rows import SMALLEST, insert, world
from tests.factories import AlertFactory, PracticeFactory
from tests.security.walk import OF_PRACTICES, found_elsewhere, make_elsewhere, readable, without_filters

pytestmark = pytest.mark.django_db


def test_whatever_points_at_a_practices_row_is_of_a_practice_itself():
    kinds = apps.get_app_config("coaching").get_models()
    loose = {
        kind.__name__
        for kind in kinds
        for field in kind._meta.fields
        if isinstance(field, models.ForeignKey)
        and issubclass(field.related_model, OfPractice)
        and not issubclass(kind, OfPractice)
    }
    assert loose == set()


@pytest.mark.parametrize("kind", [kind for kind in OF_PRACTICES if kind in SMALLEST])
def test_a_row_of_another_practice_is_not_there(kind):
    there, here = world(), PracticeFactory()
    row = there.practice if kind is Practice else _owned(kind, there)
    with within_practice(getattr(row, "practice_id", there.practice.id)):
        assert kind._base_manager.filter(pk=row.pk).exists()
    with within_practice(here.id):
        for rows in (kind._base_manager, kind._default_manager):
            assert not rows.filter(pk=row.pk).exists()
            assert row not in list(rows.all())
        assert kind._default_manager.filter(pk=row.pk).delete()[0] == 0


def _owned(kind, rows):
    """Of a kind that may be shared, a row that is the practice's own."""
    if "exercise" in (kind.practice_by, kind._meta.model_name):
        exercise = Exercise.objects.filter(pk=rows.exercise.pk)
        exercise.update(practice=rows.practice)
        return exercise.get() if kind is Exercise else insert(kind, rows)
    own = {"practice": rows.practice} if kind.has_shared_rows else {}
    return insert(kind, rows, **own)


QUESTIONS = {
    "rows": lambda rows: list(rows),
    "one": lambda rows: rows.get(id=1),
    "first": lambda rows: rows.first(),
    "some": lambda rows: rows[:5][0],
    "number": lambda rows: rows.count(),
    "whether": lambda rows: rows.exists(),
    "sum": lambda rows: rows.aggregate(models.Max("id")),
    "values": lambda rows: list(rows.values_list("id")),
    "one by one": lambda rows: list(rows.iterator()),
    "within another": lambda rows: Client.objects.filter(alerts__in=rows),
    "change": lambda rows: rows.update(target=""),
    "removal": lambda rows: rows.delete(),
}


@pytest.mark.parametrize("question", QUESTIONS)
def test_outside_of_a_practice_every_question_raises(question):
    with outside_of_practices(), pytest.raises(UnscopedQueryError):
        QUESTIONS[question](Alert.objects.all())


def test_outside_of_a_practice_nothing_is_written(cast):
    alert = AlertFactory(client=cast.client)
    again = [Alert(client=cast.client, practice=cast.practice)]
    for write in (alert.save, alert.delete, alert.refresh_from_db, lambda: Alert.objects.bulk_create(again)):
        with outside_of_practices(), pytest.raises(UnscopedQueryError), transaction.atomic():
            write()


def test_the_other_end_of_a_key_is_bound_as_well(cast):
    alert = Alert.objects.get(id=AlertFactory(client=cast.strangers_client).id)
    with within_practice(cast.practice.id), pytest.raises(Client.DoesNotExist):
        _ = alert.client
    with outside_of_practices(), pytest.raises(UnscopedQueryError):
        _ = alert.client


def test_what_belongs_to_a_row_is_bound_as_well(cast):
    AlertFactory(client=cast.strangers_client)
    with within_practice(cast.practice.id):
        assert not cast.strangers_client.alerts.exists()


def test_within_a_practice_no_row_is_made_or_moved_elsewhere(cast):
    alert = AlertFactory(client=cast.client)
    there = cast.stranger.practice
    with within_practice(cast.practice.id):
        for write in (
            lambda: Alert.objects.filter(id=alert.id).update(practice=there),
            lambda: Alert(client=cast.client, practice=there, kind="silent").save(),
            lambda: Alert.objects.bulk_create([Alert(client=cast.client, practice=there)]),
            lambda: Exercise(code="shared", name="Shared").save(),
        ):
            with pytest.raises(UnscopedQueryError), transaction.atomic():
                write()
        alert.practice = there
        with pytest.raises(UnscopedQueryError), transaction.atomic():
            alert.save()


def test_a_query_is_asked_where_it_was_begun(cast):
    everywhere = Alert.objects.all()
    with within_practice(cast.practice.id):
        with pytest.raises(UnscopedQueryError):
            list(everywhere)
        here = Alert.objects.all()
        with across_practices("a test"):
            list(here.all())
    with within_practice(cast.stranger.practice_id), pytest.raises(UnscopedQueryError):
        list(here)


def test_work_within_one_practice_does_not_go_on_within_another(cast):
    with (
        within_practice(cast.practice.id),
        pytest.raises(UnscopedQueryError),
        within_practice(cast.stranger.practice_id),
    ):
        pass


def test_a_thread_begins_outside_of_all_practices(monkeypatch):
    monkeypatch.setattr(scope, "_unless_said", NOWHERE)
    seen: list[Scope] = []
    with within_practice(1):
        thread = threading.Thread(target=lambda: seen.append(current_scope()))
        thread.start()
        thread.join()
    assert seen == [NOWHERE]


def test_an_answer_in_pieces_is_made_within_its_practice():
    def pieces():
        yield current_scope()
        yield current_scope()

    told = pieces_within(Scope("7", 7), pieces())
    with outside_of_practices():
        assert [next(told), current_scope(), next(told)] == [Scope("7", 7), NOWHERE, Scope("7", 7)]


@pytest.mark.parametrize("fails", [False, True])
def test_a_request_is_within_the_practice_of_its_token_and_leaves_nothing_behind(
    cast, signed_in, monkeypatch, fails
):
    seen: list[Scope] = []

    def look(*args, **kwargs):
        seen.append(current_scope())
        if fails:
            raise RuntimeError
        return {}

    monkeypatch.setattr("api.sign_in.MeView.get", look)
    with outside_of_practices():
        signed_in_api = None
        with across_practices("to sign in"):
            signed_in_api = signed_in(cast.coach)
        signed_in_api.get("/api/v1/me")
        assert current_scope() == NOWHERE
    assert seen == [Scope(str(cast.practice.id), cast.practice.id)]


def test_a_round_names_the_practice_of_everything_it_does(cast, monkeypatch):
    monkeypatch.setattr(scope, "_unless_said", NOWHERE)
    report = tick(now=datetime(2026, 3, 2, 12, tzinfo=UTC))
    assert report.nights.planned == 2
    assert report.nights.clients == 3
    assert report.mail.dead == 0


def test_a_childs_practice_is_that_of_its_parents_parents(cast):
    there = world()
    with within_practice(there.practice.id):
        assert Block.objects.filter(id=there.block.id).exists()
    with within_practice(cast.practice.id):
        assert not Block.objects.filter(id=there.block.id).exists()
        assert not Membership.objects.filter(clients=there.client).exists()


def test_with_every_filter_forgotten_a_stranger_still_reads_nothing(cast, signed_in, monkeypatch):
    there, api = make_elsewhere(), signed_in(cast.owner)
    without_filters(monkeypatch)
    found = {route: found_elsewhere(api, route, there) for route in readable()}
    assert {route: given_away for route, given_away in found.items() if given_away} == {}


def test_without_the_scope_too_the_same_walk_would_tell(cast, signed_in, monkeypatch):
    there, api = make_elsewhere(), signed_in(cast.owner)
    without_filters(monkeypatch)
    monkeypatch.setattr(endpoint, "within_practice", lambda practice_id: across_practices("a mutant"))
    leaks = [route for route in readable() if found_elsewhere(api, route, there)]
    assert len(leaks) > 30
