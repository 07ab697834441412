from datetime import UTC, date, datetime, timedelta

import pytest
from django.db.models import F
from django.db.models.functions import Now

from coaching import nightly
from coaching.budget import Budget
from coaching.compute.local_days import newest_due_night
from coaching.models import (
    Alert,
    Client,
    JointDay,
    MailRow,
    Night,
    NightClient,
    NightClientState,
    NightStatus,
    Score,
)
from coaching.operations import nights
from coaching.operations.rescoring import ask_for_rescoring
from tests.factories import ClientFactory, InjuryFactory

NIGHT_ON = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)


def run(cast, on=NIGHT_ON, now=NOW):
    night = nightly.night_by_hand(practice=cast.practice, night_on=on, now=now)
    nightly.run_night(night=night, now=now)
    night.refresh_from_db()
    return night


def give_days(client, pain, joint_reps, *, every=2, until_on=NIGHT_ON - timedelta(days=1)):
    """A training day every other day, newest last: pain and joint reps of the left knee."""
    JointDay.objects.bulk_create(
        JointDay(
            practice=client.practice,
            client=client,
            day_on=until_on - timedelta(days=every * (len(pain) - 1 - index)),
            joint="knee",
            side="left",
            joint_reps=reps,
            pain=score,
        )
        for index, (score, reps) in enumerate(zip(pain, joint_reps, strict=True))
    )


FLARE_PAIN = [2] * 26 + [2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 5, 5, 5, 5]
FLARE_REPS = [30] * 26 + [32, 34, 36, 38, 40, 42, 44, 46, 48, 50, 52, 54, 56, 58]


def test_a_night_scores_every_client_once(cast):
    night = run(cast)
    assert (night.status, night.clients_scored, night.clients_failed) == (NightStatus.DONE, 2, 0)
    assert Score.objects.filter(night_on=NIGHT_ON).count() == 2


def test_the_same_night_again_changes_nothing(cast):
    run(cast)
    give_days(cast.client, FLARE_PAIN, FLARE_REPS)
    run(cast)
    assert Score.objects.count() == 2
    assert not Alert.objects.exists()


def test_pain_that_climbs_with_its_volume_opens_one_alert_with_its_evidence(cast):
    give_days(cast.client, FLARE_PAIN, FLARE_REPS)
    run(cast)
    alert = Alert.objects.get(kind="pain_with_volume")
    assert (alert.client, alert.target, alert.opened_on) == (cast.client, "knee:left", NIGHT_ON)
    assert alert.evidence["pain_to"] > alert.evidence["pain_from"]
    assert alert.evidence["volume_change"] > 0.05
    assert "left knee" in alert.sentence
    assert 0 < alert.evidence["p_value"] < 0.02
    assert [ask.split(":")[0] for ask in alert.worth_asking[:2]] == ["Worth asking", "Worth considering"]
    assert Score.objects.get(client=cast.client).details["tests_run"] == 1


def test_alert_that_was_read_is_open_again_on_the_night_that_finds_it_worse(cast):
    give_days(cast.client, FLARE_PAIN, FLARE_REPS)
    run(cast)
    alert = Alert.objects.get(kind="pain_with_volume")
    read_level = {"severity": alert.severity, "pain_level": alert.evidence["pain_to"] - 2}
    Alert.objects.filter(id=alert.id).update(
        status="acknowledged", evidence=alert.evidence | {"at_reading": read_level}
    )
    run(cast, NIGHT_ON + timedelta(days=1))
    alert.refresh_from_db()
    assert (alert.status, alert.worse_since_on) == ("open", NIGHT_ON + timedelta(days=1))


def test_the_next_night_updates_the_alert_instead_of_opening_a_twin(cast):
    give_days(cast.client, FLARE_PAIN, FLARE_REPS)
    run(cast)
    run(cast, NIGHT_ON + timedelta(days=1))
    alert = Alert.objects.get(kind="pain_with_volume")
    assert alert.seen_on == NIGHT_ON + timedelta(days=1)
    assert alert.version == 2


def test_a_night_does_not_see_its_own_day(cast):
    give_days(cast.client, [1, 1, 9], [30, 30, 30], until_on=NIGHT_ON)
    run(cast)
    assert not Alert.objects.exists()


def test_steady_pain_opens_nothing(cast):
    give_days(cast.client, [3] * 40, [30] * 40)
    run(cast)
    assert not Alert.objects.exists()


def test_pain_at_a_sites_own_limit_opens_an_alert(cast):
    InjuryFactory(client=cast.client, pain_limit=4)
    give_days(cast.client, [1, 1, 4], [30, 30, 30])
    run(cast)
    assert Alert.objects.get().kind == "pain_limit"


def test_an_alert_closes_itself_after_21_days_without_evidence(cast):
    give_days(cast.client, [1, 1, 7], [30, 30, 30])
    run(cast)
    for day in range(1, 30):
        run(cast, NIGHT_ON + timedelta(days=day))
    alert = Alert.objects.get()
    assert (alert.status, alert.closing) == ("closed", "evidence_gone")
    assert (alert.closed_on - alert.seen_on).days == 21


def test_coaches_with_clients_get_a_morning_mail_each_once(cast):
    run(cast)
    run(cast)
    mails = MailRow.objects.filter(kind="morning")
    expected = {cast.coach.account.email, cast.colleague.account.email}
    assert set(mails.values_list("recipient", flat=True)) == expected
    assert mails.count() == 2


def test_a_morning_gone_by_is_not_mailed(cast):
    run(cast, NIGHT_ON - timedelta(days=1))
    assert not MailRow.objects.exists()


def test_a_due_night_is_planned_run_and_done_by_the_tick(cast):
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    night = Night.objects.get(practice=cast.practice)
    assert (night.night_on, night.status) == (NIGHT_ON, NightStatus.DONE)


def test_before_the_night_hour_the_night_is_not_due(cast):
    before = datetime(2026, 3, 2, 1, 59, tzinfo=UTC)  # 02:59 in Berlin, the night hour is 3
    nightly.run_due_nights(now=before, budget=Budget.of(20))
    assert Night.objects.get(practice=cast.practice).night_on == NIGHT_ON - timedelta(days=1)


def test_an_outage_is_caught_up_oldest_first_with_one_mail_each(cast):
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    MailRow.objects.all().delete()
    nightly.run_due_nights(now=NOW + timedelta(days=3), budget=Budget.of(20))
    done = Night.objects.filter(practice=cast.practice, status=NightStatus.DONE)
    assert done.count() == 4
    assert MailRow.objects.filter(practice=cast.practice).count() == 2


def test_nights_older_than_a_fortnight_are_skipped_with_a_reason(cast):
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    nightly.run_due_nights(now=NOW + timedelta(days=20), budget=Budget.of(60))
    skipped = Night.objects.filter(practice=cast.practice, status=NightStatus.SKIPPED)
    assert skipped.count() == 6
    assert all("older than 14 nights" in night.reason for night in skipped)


def test_a_client_who_cannot_be_scored_is_set_aside_and_blocks_nobody(cast, monkeypatch):
    score = nightly.score_chunk

    def refuse_one(*, items, **rest):
        if any(item.client_id == cast.client.id for item in items):
            raise ZeroDivisionError
        return score(items=items, **rest)

    monkeypatch.setattr(nightly, "score_chunk", refuse_one)
    night = run(cast)
    assert (night.status, night.clients_scored, night.clients_failed) == (NightStatus.DONE, 1, 1)
    failed = NightClient.objects.get(state=NightClientState.FAILED)
    assert (failed.client, failed.error_code, failed.attempts) == (cast.client, "ZeroDivisionError", 3)


def test_an_attempt_is_counted_before_the_work(cast):
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    nights.start_night(night=night, now=NOW)
    claim = nights.claim_chunk(night=night)
    assert len(claim.item_ids) == 2
    assert set(NightClient.objects.values_list("attempts", flat=True)) == {1}


def test_a_claim_that_has_just_been_made_is_left_to_its_holder_and_an_old_one_is_taken_over(cast):
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    nights.start_night(night=night, now=NOW)
    claim = nights.claim_chunk(night=night)
    assert nights.claim_chunk(night=night) is None
    claims = NightClient.objects.filter(id__in=claim.item_ids)
    claims.update(claimed_at=F("claimed_at") - nights.LOCKED_WITHIN)
    assert len(nights.claim_chunk(night=night).item_ids) == 1


@pytest.mark.parametrize("is_ahead", [True, False])
def test_a_client_tried_three_times_alone_is_set_aside_only_once_the_last_try_is_over(cast, is_ahead):
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    nights.start_night(night=night, now=NOW)
    NightClient.objects.update(attempts=nights.MAX_ATTEMPTS_OF_A_KILLER, claimed_at=Now())
    assert nights.claim_chunk(night=night) is None
    assert not NightClient.objects.filter(state="failed").exists()
    away = timedelta(hours=2) if is_ahead else -nights.LOCKED_WITHIN
    NightClient.objects.update(claimed_at=Now() + away)
    assert nights.claim_chunk(night=night) is None
    assert set(NightClient.objects.values_list("state", "error_code")) == {("failed", "gave_up")}


def test_a_late_post_scores_the_nights_behind_it_again_as_new_revisions(cast):
    run(cast)
    give_days(cast.client, FLARE_PAIN, FLARE_REPS)
    cast.client.dirty_from_on = NIGHT_ON - timedelta(days=1)
    cast.client.save()
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    assert list(Score.objects.filter(client=cast.client).values_list("revision", flat=True)) == [0, 1]
    assert Alert.objects.get(kind="pain_with_volume").opened_on == NIGHT_ON
    cast.client.refresh_from_db()
    assert cast.client.dirty_from_on is None


def test_all_who_are_dirty_are_scored_again_in_one_call_and_none_once_asked_to_stop(cast):
    ClientFactory.create_batch(nights.CHUNK + 1, coach=cast.coach)
    run(cast)
    Client.objects.filter(practice=cast.practice).update(dirty_from_on=NIGHT_ON - timedelta(days=1))
    stopped = Budget.of(20, is_stopping=lambda: True)
    assert nightly.rescore_dirty_clients(now=NOW, budget=stopped) == 0
    assert nightly.rescore_dirty_clients(now=NOW, budget=Budget.of(20)) == nights.CHUNK + 3
    assert not Client.objects.dirty().exists()


def test_a_night_that_is_asked_to_stop_ends_after_the_chunk_at_hand(cast):
    ClientFactory.create_batch(3 * nights.CHUNK, coach=cast.coach)
    answers = iter([False, False, False])
    budget = Budget.of(60, is_stopping=lambda: next(answers, True))
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    done, is_done = nightly.run_night(night=night, now=NOW, budget=budget)
    assert (done.clients, is_done) == (3 * nights.CHUNK, False)
    assert not NightClient.objects.filter(state="todo", attempts__gt=0).exists()


def test_a_run_that_had_no_time_says_that_it_was_cut_short(cast):
    assert nightly.run_due_nights(now=NOW, budget=Budget.of(0)).is_cut_short
    assert not nightly.run_due_nights(now=NOW, budget=Budget.of(20)).is_cut_short


def test_a_post_behind_a_night_that_is_under_way_waits_for_its_end_and_is_scored_again(cast):
    night = nightly.night_by_hand(practice=cast.practice, night_on=NIGHT_ON, now=NOW)
    nights.start_night(night=night, now=NOW)
    ask_for_rescoring(client=cast.client, from_on=NIGHT_ON - timedelta(days=1))
    assert not Client.objects.dirty().exists()
    NightClient.objects.filter(client=cast.client).update(state="scored")
    ask_for_rescoring(client=cast.client, from_on=NIGHT_ON - timedelta(days=1))
    assert nightly.rescore_dirty_clients(now=NOW, budget=Budget.of(20)) == 0
    assert Client.objects.dirty().get() == cast.client
    nightly.run_due_nights(now=NOW, budget=Budget.of(20))
    assert Score.objects.get(client=cast.client).revision == 1
    assert not Client.objects.dirty().exists()


def test_a_client_who_joined_after_the_night_began_is_not_in_it(cast):
    ClientFactory(coach=cast.coach, created_at=NOW + timedelta(hours=1))
    assert run(cast).clients_total == 2


@pytest.mark.parametrize(
    ("zone", "local_date", "night_hour", "utc"),
    [
        ("Europe/Berlin", date(2025, 3, 30), 2, "2025-03-30T01:00:00+00:00"),  # 02:00 does not exist
        ("Europe/Berlin", date(2025, 10, 26), 2, "2025-10-26T00:00:00+00:00"),  # 02:00 comes twice
        ("Pacific/Kiritimati", date(2026, 3, 2), 3, "2026-03-01T13:00:00+00:00"),
        ("Pacific/Pago_Pago", date(2026, 3, 2), 3, "2026-03-02T14:00:00+00:00"),
    ],
)
def test_a_night_is_due_from_its_local_hour_or_the_first_valid_instant_after(
    zone, local_date, night_hour, utc
):
    due_at = datetime.fromisoformat(utc)
    assert newest_due_night(zone, night_hour, due_at) == local_date
    just_before = due_at - timedelta(seconds=1)
    assert newest_due_night(zone, night_hour, just_before) == local_date - timedelta(days=1)


def test_a_client_who_joined_after_a_night_is_not_scored_for_it_however_old_the_sessions_are(cast):
    night = run(cast)
    newcomer = ClientFactory(coach=cast.coach, created_at=NOW + timedelta(hours=1))
    newcomer.dirty_from_on = NIGHT_ON - timedelta(days=20)
    newcomer.save()
    nightly.rescore_dirty_clients(now=NOW + timedelta(hours=2), budget=Budget.of(30))
    newcomer.refresh_from_db()
    assert newcomer.dirty_from_on is None
    assert not Score.objects.filter(client=newcomer).exists()
    night.refresh_from_db()
    assert night.clients_scored == NightClient.objects.filter(night=night, revision=0).count()
