"""Two records of one person made one: nothing is lost, every id stays, and what is at odds is refused."""

from dataclasses import replace

import pytest

from coaching.budget import Budget
from coaching.errors import ConflictError, ForbiddenError, GoneError, InvalidError
from coaching.models import (
    Alert,
    Assignment,
    AuditEvent,
    BodyMass,
    CalendarFeed,
    Change,
    Client,
    Consent,
    DeviceToken,
    Injury,
    Invitation,
    JointDay,
    JointStress,
    LiftDay,
    Membership,
    NightClient,
    Score,
    Session,
)
from coaching.nightly import night_by_hand, rescore_dirty_clients, run_night
from coaching.operations.merging import MOVED, merge_clients
from coaching.operations.recompute import compare_practice
from coaching.operations.rollups import rebuild_days
from coaching.reads.audit import TrailFilter, audit_trail
from coaching.reads.invariants import broken_rules
from tests.bodies import pain_body, session_body
from tests.constraint_rows import DAY, SMALLEST
from tests.constraint_rows import world as rows_of_everything
from tests.factories import NOW, AlertFactory, ClientFactory, ConsentFactory, ExerciseFactory
from tests.plan_builders import actor_of, knee_lift, plan_by

STAYS_WITH_THE_DUPLICATE = {Score, NightClient, Client}
MADE_ANEW = {JointDay, LiftDay}
TOLD_BY_CLIENT = {Change, CalendarFeed}


@pytest.fixture(autouse=True)
def monday_evening(time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)


@pytest.fixture
def duplicate(cast):
    client = ClientFactory(coach=cast.colleague, account=None, name="Mira L.")
    ConsentFactory(client=client)
    return client


def merge(cast, duplicate, client=None, by=None):
    client = Client.objects.get(id=(client or cast.client).id)
    actor = replace(actor_of(by or cast.owner), sees_all_clients=by is None or by.role == "owner")
    return merge_clients(
        actor=actor,
        client_uid=client.uid,
        duplicate_uid=duplicate.uid,
        expected_version=client.version,
        now=NOW,
    )


def content_of(model):
    """Every row without whose it is, so that nothing but that may change."""
    columns = [field.attname for field in model._meta.concrete_fields if field.attname != "client_id"]
    return list(model._default_manager.order_by("pk").values(*columns))


def post(api, day, load, **changes):
    uid = f"0d7bfb63-6f0f-4f53-a4b8-1a1ecf4f{day:02}{int(load):02}"
    body = session_body(
        performed_at=f"2026-02-{day:02}T18:00:00+01:00",
        ended_at=f"2026-02-{day:02}T18:40:00+01:00",
        pain_reports=[
            pain_body(id=uid.replace("0d7b", "1d7b"), reported_at=f"2026-02-{day:02}T18:40:00+01:00", pain=4)
        ],
    )
    body["sets"][0]["load"] = load
    assert api.put(f"/api/v1/sessions/{uid}", body | changes, format="json").status_code == 201
    return uid


def test_whose_every_row_of_a_client_becomes_is_decided():
    fields = Client._meta.get_fields(include_hidden=True)
    pointing = {field.related_model for field in fields if field.auto_created and not field.concrete}
    assert pointing == set(MOVED) | STAYS_WITH_THE_DUPLICATE | MADE_ANEW | TOLD_BY_CLIENT


@pytest.mark.parametrize("model", MOVED, ids=lambda model: model.__name__)
def test_every_row_goes_over_with_its_id_and_content(db, cast, model):
    rows = rows_of_everything()
    Client.objects.filter(practice=rows.practice).update(account=None)
    owner = Membership.objects.create(
        practice=rows.practice, account=rows.account, role="owner", joined_at=NOW
    )
    Assignment.objects.update(starts_on="2026-01-05", ends_on="2026-02-01")
    whose = {DeviceToken: {"membership": None}, Invitation: {"role": "client"}}.get(model, {})
    fields = SMALLEST[model](rows) | whose | {"client": rows.other_client}
    if model is JointStress:
        fields["practice"] = rows.practice
    row = model(**fields)
    model._default_manager.bulk_create([row])
    before = content_of(model)
    merge(cast, rows.other_client, rows.client, by=owner)
    assert content_of(model) == before
    assert not model._default_manager.filter(client=rows.other_client).exists()


def test_roll_ups_are_those_of_one_person_who_did_it_all(cast, signed_in, duplicate):
    own, coach = signed_in(cast.client), signed_in(cast.owner)
    post(own, 10, 80)
    post(own, 12, 85)
    post(coach, 12, 90, client=str(duplicate.uid))
    post(coach, 14, 95, client=str(duplicate.uid))
    merge(cast, duplicate)
    assert not JointDay.objects.filter(client=duplicate).exists()
    days = [row.day for row in Session.objects.dates("performed_on", "day")]
    kept = [content_of(model) for model in (JointDay, LiftDay)]
    knee = JointDay.objects.filter(client=cast.client, joint="knee").order_by("day_on", "side")
    assert {row.day_on.day for row in knee} == set(days) == {10, 12, 14}
    twice = JointDay.objects.get(client=cast.client, day_on="2026-02-12", joint="knee", side="left")
    once = JointDay.objects.get(client=cast.client, day_on="2026-02-10", joint="knee", side="left")
    assert twice.joint_reps == 2 * once.joint_reps > 0
    rebuild_days(client=cast.client, days=Session.objects.dates("performed_on", "day"))

    def plain(rows):
        return [{key: value for key, value in row.items() if key != "id"} for row in rows]

    assert [sorted(map(str, plain(content_of(model)))) for model in (JointDay, LiftDay)] == [
        sorted(map(str, plain(rows))) for rows in kept
    ]


def test_nights_that_judged_these_days_are_scored_again(cast, signed_in, duplicate):
    post(signed_in(cast.owner), 20, 80, client=str(duplicate.uid))
    run_night(night=night_by_hand(practice=cast.practice, night_on=DAY, now=NOW), now=NOW)
    merge(cast, duplicate)
    assert str(Client.objects.get(id=cast.client.id).dirty_from_on) == "2026-02-20"
    assert rescore_dirty_clients(now=NOW, budget=Budget.of(30)) == 1
    assert Score.objects.get(client=cast.client, revision=1).night_on == DAY


def test_what_was_scored_before_and_after_is_borne_out_by_the_rows(cast, signed_in, duplicate):
    post(signed_in(cast.client), 20, 80)
    post(signed_in(cast.owner), 22, 85, client=str(duplicate.uid))
    run_night(night=night_by_hand(practice=cast.practice, night_on=DAY, now=NOW), now=NOW)
    merge(cast, duplicate)
    rescore_dirty_clients(now=NOW, budget=Budget.of(30))
    compared = compare_practice(cast.practice, now=NOW, tell=lambda said: None)
    assert (compared.rows > 2, compared.differences) == (True, ())
    assert [each for each in broken_rules(cast.practice, now=NOW) if each] == []


def test_the_account_and_its_devices_go_over(cast, signed_in, duplicate):
    own = signed_in(cast.client)
    client = merge(cast, cast.client, duplicate)
    assert client.account == cast.client.account
    assert own.get("/api/v1/me").json()["client"] == str(duplicate.uid)
    assert own.get(f"/api/v1/clients/{duplicate.uid}").status_code == 200


def test_the_record_that_stays_keeps_its_word_and_takes_what_it_lacks(cast, duplicate):
    Client.objects.filter(id=cast.client.id).update(private_note="One", guardian="Ada")
    Client.objects.filter(id=duplicate.id).update(
        private_note="Two", guardian="Bea", emergency_contact="Cora", birth_on="1980-01-01"
    )
    client = merge(cast, duplicate)
    assert (client.private_note, client.guardian) == ("One\n\nTwo", "Ada")
    assert (client.emergency_contact, str(client.birth_on)) == ("Cora", "1980-01-01")
    assert (client.name, client.version) == ("Mira Lift", 2)


def test_the_duplicate_answers_410_and_says_where_it_all_is(cast, signed_in, duplicate):
    merge(cast, duplicate)
    owner = signed_in(cast.owner)
    for address in ("", "/sessions", "/injuries", "/history", "/audit"):
        answer = owner.get(f"/api/v1/clients/{duplicate.uid}{address}")
        assert answer.status_code == 410, address
        assert str(cast.client.uid) in answer.json()["detail"]
    for archived in ("true", "false"):
        items = owner.get(f"/api/v1/clients?archived={archived}").json()["items"]
        assert str(duplicate.uid) not in [item["id"] for item in items]


def test_a_post_that_was_under_way_to_the_duplicate_is_not_lost(cast, signed_in, duplicate):
    merge(cast, duplicate)
    post(signed_in(cast.owner), 20, 80, client=str(duplicate.uid))
    assert Session.objects.get().client == cast.client


def test_of_two_consents_that_stand_the_one_recorded_last_goes_on(cast, duplicate):
    Consent.objects.filter(client=cast.client).update(version=7)
    merge(cast, duplicate)
    consents = Consent.objects.filter(client=cast.client).order_by("id")
    assert [consent.withdrawn_at for consent in consents] == [NOW, None]
    assert consents[1].version == 8


def test_the_same_alert_stands_once_and_the_other_is_closed(cast, duplicate):
    stays = AlertFactory(client=cast.client)
    doubled, other = AlertFactory(client=duplicate), AlertFactory(client=duplicate, target="knee:right")
    merge(cast, duplicate)
    assert set(Alert.objects.filter(client=cast.client).standing()) == {stays, other}
    assert Alert.objects.get(id=doubled.id).close_note.startswith("The same alert stands")


def test_what_both_have_the_same_is_there_once(cast, duplicate):
    exercise = ExerciseFactory()
    for client in (cast.client, duplicate):
        BodyMass.objects.create(client=client, measured_on=DAY, body_mass_kg=80.5)
        JointStress.objects.create(
            exercise=exercise, practice=cast.practice, client=client, joint="knee", stress=0.5, reason="Any"
        )
    merge(cast, duplicate)
    assert BodyMass.objects.filter(client=cast.client).count() == 1
    assert JointStress.objects.filter(client=cast.client).count() == 1


def test_the_trail_of_both_is_that_of_the_record_that_stays(cast, duplicate):
    AuditEvent.objects.create(
        practice=cast.practice, at=NOW, subject_key=duplicate.audit_key, action="read", record_kind="alert"
    )
    merge(cast, duplicate)
    trail = audit_trail(actor_of(cast.coach), cast.client, TrailFilter())
    assert {(event.action, event.record_kind) for event in trail} == {
        ("read", "alert"),
        ("merge", "client"),
        ("merge_away", "client"),
    }


def test_apps_are_told_all_anew_and_that_the_duplicate_is_gone(cast, signed_in, duplicate):
    owner = signed_in(cast.owner)
    uid = post(owner, 20, 80, client=str(duplicate.uid))
    mark = owner.get("/api/v1/changes").json()["mark"]
    merge(cast, duplicate)
    items = owner.get(f"/api/v1/changes?since={mark}").json()["items"]
    told = {(item["kind"], item["id"]): (item["client"], item["is_deleted"]) for item in items}
    assert told["session", uid] == (str(cast.client.uid), False)
    assert told["client", str(duplicate.uid)] == (str(duplicate.uid), True)
    assert ("client", str(cast.client.uid)) in told


def both_have_accounts(cast, duplicate):
    Client.objects.filter(id=cast.colleagues_client.id).update(account=None)
    Client.objects.filter(id=duplicate.id).update(account=cast.colleagues_client.account)


def one_has_withdrawn(cast, duplicate):
    Consent.objects.filter(client=duplicate).update(withdrawn_at=NOW)


def both_have_a_plan(cast, duplicate):
    version = plan_by(cast.coach, knee_lift()).versions.get()
    for client in (cast.client, duplicate):
        Assignment.objects.create(
            practice=cast.practice, client=client, plan_version=version, starts_on=DAY, created_at=NOW
        )


def both_have_a_red_flag(cast, duplicate):
    for client in (cast.client, duplicate):
        AlertFactory(client=client, kind="red_flag")


def their_masses_differ(cast, duplicate):
    for client, mass in ((cast.client, 80.5), (duplicate, 81)):
        BodyMass.objects.create(client=client, measured_on=DAY, body_mass_kg=mass)


def their_stress_differs(cast, duplicate):
    exercise = ExerciseFactory()
    for client, stress in ((cast.client, 0.5), (duplicate, 1)):
        JointStress.objects.create(
            exercise=exercise,
            practice=cast.practice,
            client=client,
            joint="knee",
            stress=stress,
            reason="Any",
        )


def notes_too_long(cast, duplicate):
    Client.objects.filter(id__in=[cast.client.id, duplicate.id]).update(private_note="x" * 1000)


def the_one_that_stays_is_archived(cast, duplicate):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)


@pytest.mark.parametrize(
    ("obstacle", "words"),
    [
        (both_have_accounts, "Both have an account"),
        (one_has_withdrawn, "withdrawn the consent"),
        (both_have_a_plan, "Both have a plan"),
        (both_have_a_red_flag, "red flag for knee:left"),
        (their_masses_differ, "different body masses for 2026-03-02"),
        (their_stress_differs, "different joint stress"),
        (notes_too_long, "private notes"),
        (the_one_that_stays_is_archived, "archived"),
    ],
)
def test_what_is_at_odds_is_refused_in_words_and_nothing_is_changed(cast, duplicate, obstacle, words):
    obstacle(cast, duplicate)
    before = [content_of(model) for model in (*MOVED, Client)]
    with pytest.raises(ConflictError, match=words):
        merge(cast, duplicate)
    assert [content_of(model) for model in (*MOVED, Client)] == before


def test_a_record_is_not_merged_into_itself(cast):
    with pytest.raises(InvalidError):
        merge(cast, cast.client)


def test_a_coach_merges_nothing(cast):
    mine = ClientFactory(coach=cast.coach, account=None)
    with pytest.raises(ForbiddenError):
        merge(cast, mine, by=cast.coach)


def test_a_duplicate_is_merged_once(cast, duplicate):
    merge(cast, duplicate)
    with pytest.raises(GoneError):
        merge(cast, duplicate)


def test_a_duplicate_of_a_duplicate_points_to_who_stays(cast, duplicate):
    first = ClientFactory(coach=cast.coach, account=None)
    ConsentFactory(client=first)
    merge(cast, first, duplicate)
    merge(cast, duplicate)
    assert Client.objects.get(id=first.id).merged_into == cast.client


def test_merging_is_one_transaction(cast, duplicate, monkeypatch):
    Injury.objects.create(
        practice=cast.practice,
        client=duplicate,
        joint="knee",
        side="left",
        said="Any",
        said_by="coach",
        created_at=NOW,
    )
    monkeypatch.setattr("coaching.operations.merging.tell_anew", None)
    with pytest.raises(TypeError):
        merge(cast, duplicate)
    assert Injury.objects.get().client == duplicate
    assert Client.objects.get(id=duplicate.id).merged_into is None
