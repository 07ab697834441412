"""What a pain report sets off at once: alerts that only ever get more urgent, and each mail once."""

from datetime import UTC, date, datetime, timedelta

import pytest

from coaching.errors import ConflictError, ConsentMissingError, GoneError
from coaching.models import (
    Actor,
    Alert,
    Client,
    JointDay,
    MailRow,
    Membership,
    PainReport,
    Role,
    WebhookDelivery,
)
from coaching.operations.alerts import acknowledge, ask_withdrawal, close
from coaching.operations.entries import PainEntry
from coaching.operations.pain import record_pain_report
from coaching.operations.urgent import remind_of_unread_red_flags
from tests.factories import (
    AlertFactory,
    ClientFactory,
    InjuryFactory,
    MembershipFactory,
    WebhookFactory,
    fresh_uid,
)
from tests.plan_builders import actor_of

TODAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)


def pain(**changes) -> PainEntry:
    fields = {
        "uid": fresh_uid(),
        "joint": "knee",
        "side": "left",
        "other_site": "",
        "moment": "during",
        "pain": 2,
        "symptoms": {},
        "note": "",
        # What severe pain without a cause sets off is told in test_pain_jumps.py.
        "explanation": "Hit it on a table.",
        "reported_at": NOW,
    }
    return PainEntry(**fields | changes)


def flagged(*codes, **changes) -> PainEntry:
    return pain(symptoms=dict.fromkeys(codes, "yes"), **changes)


def client_actor(client: Client) -> Actor:
    return Actor(client.account_id, None, client.practice_id, Role.CLIENT, client_id=client.id)


@pytest.fixture
def report(cast):
    def record(entry=None, *, now=NOW, **changes):
        client = Client.objects.select_related("practice").get(id=cast.client.id)
        return record_pain_report(
            actor=client_actor(client), client=client, entry=entry or pain(**changes), now=now
        )

    return record


def the_alert(kind="red_flag") -> Alert:
    return Alert.objects.get(kind=kind)


def recipients() -> list[str]:
    return list(MailRow.objects.order_by("id").values_list("recipient", flat=True))


def close_by_hand(cast, alert):
    close(
        actor=actor_of(cast.coach),
        alert_uid=alert.uid,
        expected_version=alert.version,
        note="Spoken about.",
        today=TODAY,
        now=NOW,
    )


def test_repeated_post_answers_the_same_and_does_nothing_again(report):
    entry = flagged("swollen_calf", pain=8)
    first, again = report(entry), report(entry)
    assert (first.is_new, again.is_new) == (True, False)
    assert again.urgent == first.urgent != ()
    assert again.report.id == first.report.id
    assert (PainReport.objects.count(), Alert.objects.count(), MailRow.objects.count()) == (1, 2, 2)


def test_other_content_under_the_id_is_a_conflict(report):
    entry = pain()
    report(entry)
    with pytest.raises(ConflictError):
        report(pain(uid=entry.uid, pain=3))


def test_without_consent_nothing_is_stored(cast):
    unasked = ClientFactory(coach=cast.coach)
    with pytest.raises(ConsentMissingError):
        record_pain_report(actor=client_actor(unasked), client=unasked, entry=pain(), now=NOW)


def test_client_who_has_left_is_gone(cast, report):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    with pytest.raises(GoneError):
        report()


def test_day_of_the_joint_follows_the_report(report):
    report(pain=4)
    report(moment="next_morning", pain=6, reported_at=NOW + timedelta(hours=13))
    day = JointDay.objects.get()
    assert (day.day_on, day.pain, day.pain_next_morning) == (TODAY, 6, 6)


def test_late_report_marks_the_client_for_scoring_again(cast, report):
    cast.practice.nights.create(
        night_on=TODAY, zone="Europe/Berlin", status="done", planned_at=NOW, finished_at=NOW
    )
    report(reported_at=NOW - timedelta(days=3))
    client = Client.objects.get(id=cast.client.id)
    assert (client.dirty_from_on, client.last_posted_at) == (TODAY - timedelta(days=3), NOW)


def test_red_flag_opens_on_the_day_of_the_practice_and_is_mailed_once(cast, report):
    report(flagged("swollen_calf"))
    alert = the_alert()
    assert (alert.opened_on, alert.target, alert.severity) == (TODAY, "knee:left", 95)
    assert alert.evidence["flags"] == ["swollen_calf"]
    assert recipients() == [cast.coach.account.email]


def test_mail_holds_ids_and_no_health_text(cast, report):
    report(flagged("swollen_calf", note="It is my calf."))
    mail = MailRow.objects.get()
    assert mail.payload == {"alert": the_alert().id, "membership": cast.coach.id}
    assert "calf" not in mail.key


def test_same_symptom_reported_again_is_not_mailed_again(report):
    report(flagged("swollen_calf"))
    report(flagged("swollen_calf", pain=3))
    assert MailRow.objects.count() == 1
    assert the_alert().version == 2


def test_new_symptom_of_the_site_is_mailed_again_and_reopens_what_was_acknowledged(cast, report):
    report(flagged("swollen_calf"))
    acknowledge(actor=actor_of(cast.coach), alert_uid=the_alert().uid, expected_version=1, now=NOW)
    report(flagged("night_pain"))
    alert = the_alert()
    assert alert.status == "open"
    assert alert.evidence["flags"] == ["night_pain", "swollen_calf"]
    assert MailRow.objects.count() == 2


def test_acknowledged_red_flag_stays_so_for_the_same_symptom(cast, report):
    report(flagged("swollen_calf"))
    acknowledge(actor=actor_of(cast.coach), alert_uid=the_alert().uid, expected_version=1, now=NOW)
    report(flagged("swollen_calf", pain=3))
    assert the_alert().status == "acknowledged"


def test_milder_symptom_afterwards_lowers_nothing(report):
    report(flagged("chest_pain"))
    report(flagged("joint_gives_way"))
    alert = the_alert()
    assert (alert.severity, alert.evidence["urgency"]) == (100, "emergency")
    assert "This is a matter for the emergency services now" in alert.sentence


def test_a_red_flag_keeps_the_days_of_all_its_reports(report):
    report(flagged("swollen_calf"))
    report(flagged("night_pain", reported_at=NOW - timedelta(days=3)))
    assert (the_alert().evidence["from_on"], the_alert().evidence["to_on"]) == ("2026-02-27", "2026-03-02")


def test_more_urgent_symptom_afterwards_raises_it(report):
    report(flagged("joint_gives_way"))
    report(flagged("chest_pain"))
    assert (the_alert().severity, the_alert().evidence["urgency"]) == (100, "emergency")


def test_same_symptom_that_has_become_more_urgent_is_mailed_again_and_reopens(cast, report):
    slowly = {"new_limb_weakness": "yes", "weakness_is_rapid": "no", "weakness_is_on_both_sides": "no"}
    report(symptoms=slowly)
    assert the_alert().evidence["urgency"] == "same_day"
    acknowledge(actor=actor_of(cast.coach), alert_uid=the_alert().uid, expected_version=1, now=NOW)
    report(symptoms=slowly | {"weakness_is_rapid": "yes"})
    assert (the_alert().status, the_alert().evidence["urgency"]) == ("open", "emergency")
    assert MailRow.objects.count() == 2


def test_two_sites_have_a_red_flag_each(report):
    report(flagged("swollen_calf"))
    report(flagged("swollen_calf", side="right"))
    assert set(Alert.objects.values_list("target", flat=True)) == {"knee:left", "knee:right"}
    assert MailRow.objects.count() == 2


def test_answer_of_no_ends_no_red_flag(report):
    report(flagged("swollen_calf"))
    report(symptoms={"swollen_calf": "no"})
    assert the_alert().status == "open"


def test_saying_it_again_takes_back_that_it_was_a_mistake(cast, report):
    report(flagged("swollen_calf"))
    ask_withdrawal(actor=client_actor(cast.client), alert_uid=the_alert().uid, now=NOW)
    report(flagged("swollen_calf", pain=3))
    assert the_alert().withdrawal_asked_at is None


def test_red_flag_after_a_clearance_is_a_new_one(cast, report):
    AlertFactory(client=cast.client, kind="red_flag", status="closed", closing="cleared", closed_on=TODAY)
    report(flagged("swollen_calf"))
    assert Alert.objects.standing().get().evidence["flags"] == ["swollen_calf"]
    assert MailRow.objects.count() == 1


def test_old_red_flag_posted_late_is_still_told(report):
    report(flagged("swollen_calf", reported_at=NOW - timedelta(days=60)))
    assert the_alert().opened_on == TODAY
    assert MailRow.objects.count() == 1


def test_pain_below_the_usual_limit_is_not_urgent(report):
    assert report(pain=5).urgent == ()
    assert report(pain=6).urgent[0].kind == "pain_limit"


def test_strictest_limit_of_a_site_counts(cast, report):
    InjuryFactory(client=cast.client, pain_limit=5)
    InjuryFactory(client=cast.client, pain_limit=3)
    report(pain=3)
    assert the_alert("pain_limit").evidence["limit"] == 3


def test_limit_of_a_site_holds_for_that_site_only(cast, report):
    InjuryFactory(client=cast.client, pain_limit=3)
    assert report(side="right", pain=5).urgent == ()


@pytest.mark.parametrize("moment", ["before", "at_rest"])
def test_pain_away_from_training_is_not_held_against_the_training_limit(report, moment):
    assert report(moment=moment, pain=9).urgent == ()


def test_limit_pain_is_mailed_once_and_again_when_it_is_worse(report):
    report(pain=7)
    report(pain=7)
    report(pain=6)
    assert MailRow.objects.count() == 1
    report(pain=8)
    assert MailRow.objects.count() == 2
    assert Alert.objects.filter(kind="pain_limit").count() == 1


def test_limit_alert_closed_by_hand_is_not_mailed_about_at_the_same_or_less_pain(cast, report):
    report(pain=7)
    close_by_hand(cast, the_alert("pain_limit"))
    report(pain=7)
    report(pain=6)
    assert MailRow.objects.count() == 1
    assert the_alert("pain_limit").status == "closed"


def test_limit_alert_closed_by_hand_opens_and_is_mailed_again_two_above(cast, report):
    report(pain=7)
    close_by_hand(cast, the_alert("pain_limit"))
    report(pain=9)
    assert Alert.objects.standing().get().evidence["pain"] == 9
    assert MailRow.objects.count() == 2


def test_limit_alert_that_opens_anew_is_mailed_although_pain_was_higher_once(cast, report):
    AlertFactory(
        client=cast.client,
        kind="pain_limit",
        evidence={"pain": 9},
        status="closed",
        closing="evidence_gone",
        closed_on=TODAY - timedelta(days=30),
    )
    report(pain=7)
    assert MailRow.objects.count() == 1


@pytest.mark.parametrize(("days_ago", "mails"), [(14, 1), (15, 0)])
def test_limit_pain_older_than_14_days_is_not_told(report, days_ago, mails):
    assert len(report(pain=9, reported_at=NOW - timedelta(days=days_ago)).urgent) == mails
    assert MailRow.objects.count() == Alert.objects.count() == mails


def away(cast, from_on, until_on, cover):
    Membership.objects.filter(id=cast.coach.id).update(
        away_from_on=from_on, away_until_on=until_on, cover=cover
    )


def test_cover_is_mailed_too_while_the_coach_is_away(cast, report):
    away(cast, TODAY, TODAY, cast.colleague)
    report(flagged("swollen_calf"))
    assert recipients() == [cast.coach.account.email, cast.colleague.account.email]


@pytest.mark.parametrize(("from_day", "until_day"), [(-5, -1), (1, 5)], ids=["back already", "not away yet"])
def test_cover_is_not_mailed_while_the_coach_is_there(cast, report, from_day, until_day):
    away(cast, TODAY + timedelta(days=from_day), TODAY + timedelta(days=until_day), cast.colleague)
    report(flagged("swollen_calf"))
    assert recipients() == [cast.coach.account.email]


def test_cover_who_has_left_is_not_mailed(cast, report):
    left = MembershipFactory(practice=cast.practice, left_at=NOW)
    away(cast, TODAY, TODAY, left)
    report(flagged("swollen_calf"))
    assert recipients() == [cast.coach.account.email]


def test_worse_limit_pain_brings_a_put_off_alert_back(report):
    report(pain=6)
    Alert.objects.update(status="put_off", put_off_until_on=TODAY + timedelta(days=30))
    report(pain=8)
    assert the_alert("pain_limit").status == "open"


@pytest.mark.parametrize(("pain", "status", "since"), [(7, "acknowledged", None), (8, "open", TODAY)])
def test_limit_pain_two_above_what_was_read_is_open_again(cast, report, pain, status, since):
    report(pain=6)
    alert = the_alert("pain_limit")
    acknowledge(actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=alert.version, now=NOW)
    report(pain=pain)
    alert = the_alert("pain_limit")
    assert (alert.status, alert.worse_since_on) == (status, since)


def test_acknowledged_red_flag_that_becomes_more_urgent_is_open_again_and_says_since_when(cast, report):
    report(flagged("swollen_calf"))
    alert = the_alert()
    acknowledge(actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=alert.version, now=NOW)
    report(flagged("chest_pain"))
    assert (the_alert().status, the_alert().worse_since_on) == ("open", TODAY)


def test_red_flag_and_limit_carry_their_questions(report):
    report(flagged("swollen_calf", pain=7))
    assert "licensed clinician" in the_alert().worth_asking[0]
    assert "2 March 2026" in the_alert("pain_limit").worth_asking[0]


def test_red_flag_that_nobody_reads_for_four_hours_is_told_to_the_owner_once(cast, report):
    report(flagged("swollen_calf"))
    MailRow.objects.all().delete()
    remind_of_unread_red_flags(now=NOW + timedelta(hours=3, minutes=59))
    assert recipients() == []
    for minutes in (0, 1):
        remind_of_unread_red_flags(now=NOW + timedelta(hours=4, minutes=minutes))
    assert recipients() == [cast.owner.account.email]


def test_red_flag_that_was_read_in_time_is_not_told_to_the_owner(cast, report):
    report(flagged("swollen_calf"))
    MailRow.objects.all().delete()
    alert = the_alert()
    acknowledge(actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=alert.version, now=NOW)
    remind_of_unread_red_flags(now=NOW + timedelta(hours=5))
    assert recipients() == []


def events() -> list[str]:
    return list(WebhookDelivery.objects.order_by("id").values_list("event", flat=True))


def test_a_red_flag_is_told_to_webhooks_in_the_same_transaction_as_its_mail(cast, report):
    WebhookFactory(practice=cast.practice)
    report(flagged("night_pain"))
    assert events() == ["alert.opened"]
    report(flagged("night_pain"))
    assert events() == ["alert.opened"]


def test_a_new_symptom_of_a_standing_red_flag_is_told_as_worse(cast, report):
    WebhookFactory(practice=cast.practice)
    report(flagged("night_pain"))
    report(flagged("swollen_calf"))
    assert events() == ["alert.opened", "alert.worsened"]


def test_more_pain_beyond_the_limit_is_told_as_worse_once(cast, report):
    WebhookFactory(practice=cast.practice)
    for level in (7, 8, 8):
        report(pain=level)
    assert events() == ["alert.opened", "alert.worsened"]


def test_worse_than_what_was_read_is_told_to_webhooks_once(cast, report):
    WebhookFactory(practice=cast.practice, events=["alert.worsened"])
    report(pain=6)
    acknowledge(
        actor=actor_of(cast.coach), alert_uid=the_alert("pain_limit").uid, expected_version=1, now=NOW
    )
    report(pain=9)
    assert events() == ["alert.worsened"]
