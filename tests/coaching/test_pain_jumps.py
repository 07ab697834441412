"""Pain far above its usual level is a red flag of its own, told at the post."""

from datetime import UTC, date, datetime, timedelta

import pytest

from coaching.emails.urgent import urgent_mail
from coaching.models import Alert, Client, JointDay, MailRow, PainReport
from coaching.operations.alerts import acknowledge
from coaching.operations.clearances import ClearanceContent, record_clearance
from coaching.operations.pain import record_pain_report
from coaching.operations.pain_jumps import find_pain_jumps
from tests.coaching.test_record_pain import client_actor, pain
from tests.plan_builders import actor_of

TODAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def usual(cast):
    """Days of the left knee before today, the newest first."""

    def have(*pains, side="left"):
        for back, value in enumerate(pains, start=1):
            JointDay.objects.create(
                practice=cast.practice,
                client=cast.client,
                day_on=TODAY - timedelta(days=back * 2),
                joint="knee",
                side=side,
                pain=value,
            )

    return have


@pytest.fixture
def report(cast):
    """Post one report without a cause; the kinds, or codes of a red flag, that must be said at once."""

    def record(value, *, hours_ago=0.0, **changes):
        client = Client.objects.select_related("practice").get(id=cast.client.id)
        fields = {"explanation": "", "reported_at": NOW - hours_ago * HOUR}
        entry = pain(pain=value, **(fields | changes))
        recorded = record_pain_report(actor=client_actor(client), client=client, entry=entry, now=NOW)
        return [code for notice in recorded.urgent for code in notice.codes or (notice.kind,)]

    return record


def the_alert() -> Alert:
    return Alert.objects.get(kind="red_flag")


@pytest.mark.parametrize(("value", "said"), [(6, []), (7, ["pain_jump"]), (10, ["pain_jump"])])
def test_severe_pain_is_new_where_no_usual_level_is_known(report, value, said):
    assert report(value, moment="at_rest") == said


def test_severe_pain_with_a_cause_is_not_unexplained(report):
    assert report(8, moment="at_rest", explanation="Fell on the stairs.") == []


def test_severe_pain_that_is_usual_is_not_new(report, usual):
    usual(7, 7, 8, 7, 7)
    assert report(8, moment="at_rest") == []


def test_four_days_say_no_usual_level(report, usual):
    usual(8, 8, 8, 8)
    assert report(8, moment="at_rest") == ["pain_jump"]


def test_days_more_than_four_weeks_back_say_no_usual_level(cast, report, usual):
    usual(*[8] * 20)
    JointDay.objects.filter(day_on__gte=TODAY - timedelta(days=28)).update(pain=None)
    assert report(8, moment="at_rest") == ["pain_jump"]


def test_usual_pain_is_of_the_same_site(report, usual):
    usual(*[8] * 6, side="right")
    assert report(8, moment="at_rest") == ["pain_jump"]
    assert report(8, moment="at_rest", side="right") == []


def test_usual_pain_is_of_the_days_before_each_report(cast, report, usual):
    usual(8, 8, 8, 8)
    report(8, hours_ago=24)
    report(8)
    earlier, later = PainReport.objects.order_by("reported_at")
    found = find_pain_jumps(client=cast.client, reports=[later, earlier], today=TODAY)
    assert set(found) == {earlier.uid}


@pytest.mark.parametrize(("hours", "said"), [(24, []), (24.5, ["pain_jump"])])
def test_rise_of_three_is_told_once_it_has_lasted_longer_than_a_day(report, usual, hours, said):
    usual(1, 1, 1, 1, 1)
    assert report(4, hours_ago=hours) == []
    assert report(4) == said


def test_lasting_rise_is_told_whatever_its_cause(report, usual):
    usual(1, 1, 1, 1, 1)
    report(4, hours_ago=30, explanation="Long walk.")
    assert report(4, explanation="Long walk.") == ["pain_jump"]


@pytest.mark.parametrize("moment", ["before", "after"])
def test_pain_that_was_back_at_its_level_meanwhile_has_not_lasted(report, usual, moment):
    usual(1, 1, 1, 1, 1)
    report(4, hours_ago=30)
    report(3, hours_ago=10, moment=moment)
    assert report(4) == []


def test_earlier_report_that_comes_in_later_completes_the_spell(report, usual):
    usual(1, 1, 1, 1, 1)
    report(4)
    assert report(4, hours_ago=30) == ["pain_jump"]


@pytest.mark.parametrize(
    ("moment", "said"),
    [("before", []), ("during", ["pain_jump"]), ("after", ["pain_jump"]), ("at_rest", ["pain_jump"])],
)
def test_moments_that_count_for_the_day_and_rest_are_judged(report, usual, moment, said):
    usual(1, 1, 1, 1, 1)
    report(5, hours_ago=30)
    assert report(5, moment=moment) == said


def test_unlisted_site_is_not_judged(report):
    assert report(9, joint="other", side="left", other_site="Left rib", moment="at_rest") == []


@pytest.mark.parametrize(("days_ago", "said"), [(14, ["pain_jump"]), (15, [])])
def test_jump_older_than_14_days_is_not_told(report, days_ago, said):
    assert report(9, moment="at_rest", hours_ago=24 * days_ago) == said
    assert Alert.objects.count() == MailRow.objects.count() == len(said)


def test_alert_belongs_to_a_clinician_and_says_the_numbers(cast, report, usual):
    usual(1, 1, 2, 1, 1)
    report(5, hours_ago=30)
    report(5)
    alert = the_alert()
    assert (alert.target, alert.severity, alert.method) == ("knee:left", 90, "pain_jump 1")
    assert (alert.evidence["flags"], alert.evidence["urgency"]) == (["pain_jump"], "clinician_review")
    assert alert.evidence["pain_jump"] == {
        "pain": 5,
        "felt_on": "2026-03-02",
        "usual_pain": 1.0,
        "since_at": "2026-03-01T13:00+01:00",
    }
    assert alert.sentence == (
        "Reported for 2026-03-02 (left knee): pain 5 of 10 on 2026-03-02 where 1 is usual, so high since "
        "2026-03-01 13:00. This is a matter for a licensed clinician before the region is trained again; "
        "no training advice is given."
    )
    assert MailRow.objects.get().recipient == cast.coach.account.email


def test_sentence_says_that_no_usual_level_is_known(report):
    report(8, moment="at_rest")
    assert "pain 8 of 10 on 2026-03-02 with no usual level known yet, so high since" in the_alert().sentence


def test_same_jump_again_is_neither_mailed_nor_opened_again(cast, report):
    report(8, hours_ago=2, moment="at_rest")
    acknowledge(actor=actor_of(cast.coach), alert_uid=the_alert().uid, expected_version=1, now=NOW)
    report(9, moment="at_rest")
    assert (the_alert().status, the_alert().evidence["pain_jump"]["pain"]) == ("acknowledged", 9)
    assert MailRow.objects.count() == 1


def test_jump_joins_the_coded_symptom_of_its_report(report):
    assert report(8, moment="at_rest", symptoms={"swollen_calf": "yes"}) == ["swollen_calf", "pain_jump"]
    alert = the_alert()
    assert alert.evidence["flags"] == ["pain_jump", "swollen_calf"]
    assert (alert.evidence["urgency"], alert.method) == ("same_day", "coded_symptoms and pain_jump 1")
    assert MailRow.objects.count() == 1


def test_later_symptom_keeps_the_numbers_of_the_jump(report):
    report(8, hours_ago=2, moment="at_rest")
    report(2, symptoms={"swollen_calf": "yes"})
    assert the_alert().evidence["pain_jump"]["pain"] == 8
    assert "pain 8 of 10" in the_alert().sentence and "swollen calf" in the_alert().sentence
    assert MailRow.objects.count() == 2


def test_older_jump_that_comes_in_late_does_not_replace_the_newer_numbers(report):
    report(9, moment="at_rest")
    report(7, moment="at_rest", hours_ago=48)
    assert the_alert().evidence["pain_jump"]["pain"] == 9


def test_clearance_that_covers_the_jump_ends_it(cast, report):
    report(8, moment="at_rest")
    decided = ClearanceContent(
        joint="knee",
        side="left",
        clinician_name="Dr. Invented",
        clinician_profession="physician",
        cleared_on=TODAY,
        flags=("pain_jump",),
    )
    record_clearance(actor=actor_of(cast.coach), client_uid=cast.client.uid, content=decided, now=NOW)
    assert (the_alert().status, the_alert().closing) == ("closed", "cleared")


def test_cause_is_told_in_the_mail_and_nowhere_beside_it(report, usual, caplog):
    usual(1, 1, 1, 1, 1)
    report(4, hours_ago=30)
    report(4, explanation="Carried <b>boxes</b>.")
    row = MailRow.objects.get()
    mail = urgent_mail(row)
    html = mail.alternatives[0].content
    assert 'The cause the client names: "Carried <b>boxes</b>."' in mail.body
    assert "Carried &lt;b&gt;boxes&lt;/b&gt;." in html
    told = (
        mail.subject,
        row.key,
        str(row.payload),
        the_alert().sentence,
        str(the_alert().evidence),
        caplog.text,
    )
    assert not any("boxes" in text for text in told)


def test_jump_is_not_told_as_an_answered_question(report):
    report(8, moment="at_rest")
    assert "Answered with yes" not in urgent_mail(MailRow.objects.get()).body


def test_low_pain_is_judged_without_a_query(cast, django_assert_num_queries):
    rows = stored(cast, [0, 1, 2, 2])
    with django_assert_num_queries(0):
        assert find_pain_jumps(client=cast.client, reports=rows, today=TODAY) == {}


@pytest.mark.parametrize("values", [[3], [8, 4, 9, 3, 7] * 4])
def test_any_number_of_reports_is_judged_with_two_queries(cast, django_assert_num_queries, values):
    rows = stored(cast, values)
    with django_assert_num_queries(2):
        find_pain_jumps(client=cast.client, reports=rows, today=TODAY)


def stored(cast, values):
    client = Client.objects.select_related("practice").get(id=cast.client.id)
    return [
        record_pain_report(actor=client_actor(client), client=client, entry=pain(pain=value), now=NOW).report
        for value in values
    ]
