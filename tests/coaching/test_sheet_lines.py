"""What a coach reads first: the order of the lines, what is folded for length, and what may be chance."""

from datetime import date, timedelta

import pytest

from coaching.models import Night, Score
from coaching.reads.sheet import morning_sheet
from tests.factories import NOW, AlertFactory, ClientFactory

TODAY = date(2026, 3, 2)


@pytest.fixture
def sheet(cast):
    def read(member=cast.coach, on=TODAY):
        return morning_sheet(membership=member, on=on)

    return read


@pytest.fixture
def tested(cast):
    """The newest night, with so many tests run on each of these clients."""
    Night.objects.create(
        practice=cast.practice, night_on=TODAY, zone="Europe/Berlin", status="done", planned_at=NOW
    )

    def run(tests_run, client=cast.client, night_on=TODAY, revision=0, lifts=()):
        Score.objects.create(
            practice=client.practice,
            client=client,
            night_on=night_on,
            revision=revision,
            details={"lifts": list(lifts), "tests_run": tests_run},
            method="night 1",
            scored_at=NOW,
        )

    return run


def trend(client, p_value, kind="pain_with_volume", **changes):
    parts = {"severity": 60, "evidence": {"p_value": p_value}, "opened_on": TODAY - timedelta(days=5)}
    return AlertFactory(client=client, kind=kind, **(parts | changes))


def lines(found):
    return [line for entry in found.entries for line in entry.lines]


def folded(found):
    return {line.alert_uid: line.folded_because for line in lines(found) if line.is_folded}


def test_urgent_kinds_come_before_anything_severe(cast, sheet):
    AlertFactory(client=cast.client, kind="pain_unsettled", severity=99)
    AlertFactory(client=cast.client, kind="pain_limit", severity=80)
    AlertFactory(client=cast.client, kind="red_flag", severity=90)
    assert [line.kind for line in lines(sheet())] == ["red_flag", "pain_limit", "pain_unsettled"]


def test_of_two_equally_severe_the_clearer_one_comes_first(cast, sheet):
    other = ClientFactory(coach=cast.coach)
    trend(other, 0.004)
    trend(cast.client, 0.0001)
    assert [line.p_value for line in lines(sheet())] == [0.0001, 0.004]


def test_severity_goes_before_evidence(cast, sheet):
    trend(cast.client, 0.0001, severity=55)
    trend(ClientFactory(coach=cast.coach), 0.004, severity=65)
    assert [line.severity for line in lines(sheet())] == [65, 55]


def test_what_became_worse_this_morning_comes_before_what_stands(cast, sheet):
    other = ClientFactory(coach=cast.coach, name="Ada Row")
    trend(other, 0.001, opened_on=TODAY - timedelta(days=40))
    trend(cast.client, 0.001, evidence={"p_value": 0.001, "worse_since_on": str(TODAY)})
    assert [entry.client_name for entry in sheet().entries] == ["Mira Lift", "Ada Row"]


def test_trend_that_does_not_pass_among_all_tests_run_is_folded_below_and_still_there(cast, sheet, tested):
    tested(100)
    weak, clear = trend(cast.client, 0.004), trend(cast.client, 0.0002, target="hip:left", severity=30)
    found = sheet()
    assert [line.alert_uid for line in lines(found)] == [clear.uid, weak.uid]
    assert folded(found) == {weak.uid: "may_be_chance"}
    assert (found.screening.tests_run, found.screening.found, found.screening.folded) == (100, 2, 1)


def test_same_trend_passes_where_fewer_tests_were_run(cast, sheet, tested):
    tested(10)
    trend(cast.client, 0.004)
    assert folded(sheet()) == {}


def test_sheet_says_rate_tests_and_how_many_are_folded_in_a_sentence(cast, sheet, tested):
    tested(100)
    trend(cast.client, 0.004)
    assert sheet().screening.sentence == (
        "100 sites and lifts could be tested for a trend; 1 is on this sheet, 1 of them folded as perhaps "
        "chance (false-discovery rate q = 0.10, m = 100); no other kind of alert is ever folded for that."
    )


def test_without_a_trend_the_sentence_still_says_what_was_tested(cast, sheet, tested):
    tested(7)
    assert sheet().screening.sentence.startswith(
        "7 sites and lifts could be tested for a trend; none is on this sheet (false-discovery rate q = 0.10"
    )


@pytest.mark.parametrize(
    "kind", ["red_flag", "pain_limit", "pain_unsettled", "over_dose", "off_plan", "unlogged", "silent"]
)
def test_other_kinds_are_never_taken_for_chance(cast, sheet, tested, kind):
    tested(1000)
    trend(cast.client, 0.9, kind)
    assert folded(sheet()) == {} and sheet().screening.found == 0


def test_trend_without_a_p_value_is_not_folded(cast, sheet, tested):
    tested(1000)
    AlertFactory(client=cast.client)
    assert folded(sheet()) == {}


def test_tests_of_own_clients_in_the_newest_night_and_revision_count_and_no_others(cast, sheet, tested):
    other = ClientFactory(coach=cast.coach)
    tested(3)
    tested(5, revision=1)
    tested(9, client=other, night_on=TODAY - timedelta(days=1))
    tested(50, client=cast.colleagues_client)
    assert sheet().screening.tests_run == 5


def test_colleagues_trend_does_not_change_what_this_coach_sees(cast, sheet, tested):
    tested(20)
    alert = trend(cast.client, 0.008)
    assert folded(sheet()) == {alert.uid: "may_be_chance"}
    trend(cast.colleagues_client, 0.0001)
    tested(50, client=cast.colleagues_client)
    assert folded(sheet()) == {alert.uid: "may_be_chance"}


def test_client_with_nothing_but_chance_comes_last_and_needs_no_attention(cast, sheet, tested):
    tested(1000)
    trend(ClientFactory(coach=cast.coach, name="Ada Row"), 0.004, severity=75)
    AlertFactory(client=cast.client, kind="unlogged", severity=15)
    found = sheet()
    assert [(entry.client_name, entry.needs_attention) for entry in found.entries] == [
        ("Mira Lift", True),
        ("Ada Row", False),
    ]


def many(coach, count, kind="silent", severity=40):
    return [
        AlertFactory(
            client=ClientFactory(coach=coach, name=f"Client {number:02}"), kind=kind, severity=severity
        )
        for number in range(count)
    ]


def test_ten_lines_are_read_first_and_the_others_folded_with_their_count(cast, sheet):
    alerts = many(cast.coach, 13)
    found = sheet()
    assert folded(found) == {alert.uid: "beyond_the_first_ten" for alert in alerts[10:]}
    assert found.lines_beyond == 3


def test_ten_lines_fold_nothing(cast, sheet):
    many(cast.coach, 10)
    assert folded(sheet()) == {}


def test_the_ten_are_the_most_urgent_of_all_clients_not_those_of_the_first_client(cast, sheet):
    for number in range(12):
        AlertFactory(client=cast.client, kind="stalled_lift", target=f"lift_{number}", severity=25)
    AlertFactory(client=cast.client, severity=65)
    AlertFactory(client=ClientFactory(coach=cast.coach), severity=60)
    found = sheet()
    assert [len(entry.lines_shown) for entry in found.entries] == [9, 1]
    assert found.lines_beyond == 4


@pytest.mark.parametrize("kind", ["red_flag", "pain_limit"])
def test_urgent_lines_are_never_folded_however_many(cast, sheet, kind):
    many(cast.coach, 14, kind, 90)
    many(cast.coach, 2)
    found = sheet()
    assert len(folded(found)) == found.lines_beyond == 2


def test_what_may_be_chance_takes_no_room_among_the_ten(cast, sheet, tested):
    tested(1000)
    trend(cast.client, 0.004, severity=75)
    many(cast.coach, 10)
    assert list(folded(sheet()).values()) == ["may_be_chance"]


def test_news_counts_new_and_worse_without_what_may_be_chance(cast, sheet, tested):
    tested(1000)
    AlertFactory(client=cast.client, kind="silent")
    trend(cast.client, 0.004, opened_on=TODAY)
    trend(cast.client, 0.0, target="hip:left", evidence={"p_value": 0.0, "worse_since_on": str(TODAY)})
    found = sheet()
    assert (found.alerts_new, found.alerts_worse) == (1, 1)


@pytest.mark.parametrize("status", ["acknowledged", "put_off"])
def test_read_and_not_worse_is_not_announced(cast, sheet, status):
    AlertFactory(client=cast.client, status=status, put_off_until_on=TODAY)
    found = sheet()
    assert len(lines(found)) == 1
    assert (found.alerts_new, found.alerts_worse) == (0, 0)


def test_question_is_asked_once_per_client(cast, sheet):
    for number in range(2):
        asks = ["Worth asking: sleep?", f"Worth asking: what of lift {number}?"]
        AlertFactory(client=cast.client, target=f"lift_{number}", evidence={"worth_asking": asks})
    (entry,) = sheet().entries
    assert entry.asks_shown == (
        ("Worth asking: sleep?", "Worth asking: what of lift 0?"),
        ("Worth asking: what of lift 1?",),
    )


def test_lifts_that_cannot_be_assessed_wait_soonest_first_with_the_reason(cast, sheet, tested):
    row = {
        "side": "both",
        "track": "fresh",
        "state": "not_assessable",
        "exposures_to_go": 2,
        "method": "any 1",
    }
    tested(
        0,
        lifts=[
            row | {"exercise": "row", "reason": "low_attendance", "assessable_on": None},
            row | {"exercise": "curl", "reason": "few_exposures", "assessable_on": "2026-03-20"},
            row | {"exercise": "dip", "reason": "few_exposures", "assessable_on": "2026-03-09"},
            row | {"exercise": "press", "state": "progressing", "reason": ""},
        ],
    )
    found = sheet().waiting_lifts
    assert [(lift.exercise, lift.assessable_on) for lift in found] == [
        ("dip", date(2026, 3, 9)),
        ("curl", date(2026, 3, 20)),
        ("row", None),
    ]
    assert found[0].reason_text.endswith("2 more are needed.")
    assert sheet().clients_shown == {cast.client.uid}
