"""An alert's life, one finding a night: opened, updated, closed by the evidence or by hand, opened again."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coaching.errors import ForbiddenError
from coaching.models import Actor, Alert, Role
from coaching.operations.alerts import (
    Finding,
    acknowledge,
    apply_findings,
    ask_withdrawal,
    close,
    confirm_withdrawal,
    put_off,
)
from coaching.operations.scoring import NIGHTLY_KINDS
from tests.factories import NOW, AlertFactory
from tests.plan_builders import actor_of

FIRST = date(2026, 3, 2)
EVERY_KIND = [*NIGHTLY_KINDS, "red_flag"]


@pytest.fixture
def night(cast):
    """Tell one night what it found about the client; without a finding, the evidence is not there."""

    def run(day: int, *found: Finding, kinds=EVERY_KIND):
        on = FIRST + timedelta(days=day)
        return apply_findings(
            practice_id=cast.practice.id,
            client_ids=[cast.client.id],
            findings=found,
            kinds=kinds,
            on=on,
            now=datetime.combine(on, time(4), ZoneInfo("Europe/Berlin")),
        )

    return run


@pytest.fixture
def rising(cast):
    def build(kind="pain_rising", target="knee:left", pain_level=4.0, **changes):
        fields = {
            "client_id": cast.client.id,
            "kind": kind,
            "target": target,
            "severity": 55,
            "sentence": "Pain climbs.",
            "evidence": {"pain_to": pain_level},
            "method": "test 1",
            "pain_level": pain_level,
        }
        return Finding(**fields | changes)

    return build


def close_by_hand(cast, alert, day):
    return close(
        actor=actor_of(cast.coach),
        alert_uid=alert.uid,
        expected_version=alert.version,
        note="Seen and spoken about.",
        today=FIRST + timedelta(days=day),
        now=NOW,
    )


def the_alert() -> Alert:
    return Alert.objects.get()


def test_opens_once_and_is_updated_from_then_on(night, rising):
    assert len(night(0, rising()).opened) == 1
    changes = night(1, rising(pain_level=5.0, severity=65, sentence="Pain climbs on.", method="test 2"))
    assert (changes.opened, changes.updated, changes.closed) == ((), 1, 0)
    alert = the_alert()
    assert (alert.opened_on, alert.seen_on) == (FIRST, FIRST + timedelta(days=1))
    assert (alert.severity, alert.sentence, alert.method) == (65, "Pain climbs on.", "test 2")
    assert alert.evidence == {"pain_to": 5.0, "pain_level": 5.0}
    assert alert.version == 2


def test_same_night_told_twice_opens_nothing_twice(night, rising):
    night(0, rising())
    assert night(0, rising()).opened == ()
    assert the_alert().seen_on == FIRST


def test_each_site_has_an_alert_of_its_own(night, rising):
    assert len(night(0, rising(), rising(target="knee:right")).opened) == 2


def test_older_night_told_late_does_not_turn_the_date_back(night, rising):
    night(3, rising())
    night(1, rising())
    assert the_alert().seen_on == FIRST + timedelta(days=3)


@pytest.mark.parametrize(
    ("kind", "days"),
    [
        ("pain_limit", 21),
        ("pain_with_volume", 21),
        ("pain_rising", 21),
        ("pain_unsettled", 21),
        ("stalled_lift", 21),
        ("regressing_lift", 21),
        ("over_dose", 21),
        ("off_plan", 3),
    ],
)
def test_closes_itself_when_the_evidence_has_been_gone_long_enough(night, rising, kind, days):
    night(0, rising(kind))
    night(days - 1)
    assert the_alert().status == "open"
    assert night(days).closed == 1
    alert = the_alert()
    assert (alert.status, alert.closing) == ("closed", "evidence_gone")
    assert alert.closed_on == FIRST + timedelta(days=days)


@pytest.mark.parametrize("kind", ["silent", "unlogged"])
def test_silence_and_a_missing_log_end_with_the_first_look_that_no_longer_finds_them(night, rising, kind):
    night(0, rising(kind))
    assert night(0).closed == 1


@pytest.mark.parametrize("status", ["acknowledged", "put_off"])
def test_acknowledged_and_put_off_alerts_close_themselves_as_well(cast, night, status):
    AlertFactory(client=cast.client, status=status, put_off_until_on=date(2026, 5, 1))
    assert night(21).closed == 1


def test_red_flag_never_closes_itself(night, rising):
    night(0, rising("red_flag"))
    assert night(500).closed == 0
    assert the_alert().status == "open"


def test_night_that_did_not_look_closes_nothing(night, rising):
    night(0, rising())
    assert night(100, kinds=["stalled_lift"]).closed == 0


def test_night_of_another_client_closes_nothing(cast, night, rising):
    night(0, rising(client_id=cast.colleagues_client.id))
    assert night(100).closed == 0


def test_closed_by_evidence_opens_as_a_new_one_when_it_is_back(night, rising):
    night(0, rising())
    night(21)
    assert len(night(22, rising()).opened) == 1
    assert sorted(Alert.objects.values_list("status", flat=True)) == ["closed", "open"]


def test_closed_by_hand_stays_closed_while_the_evidence_is_there(cast, night, rising):
    night(0, rising())
    close_by_hand(cast, the_alert(), 0)
    for day in range(1, 40):
        assert night(day, rising()).opened == ()
    alert = the_alert()
    assert (alert.status, alert.closing) == ("closed", "by_coach")
    assert alert.seen_on == FIRST + timedelta(days=39)


def test_closed_by_hand_keeps_its_evidence_as_it_was_at_closing(cast, night, rising):
    night(0, rising(pain_level=4.0))
    closed = close_by_hand(cast, the_alert(), 0)
    night(1, rising(pain_level=5.0, sentence="Another sentence."))
    alert = the_alert()
    assert alert.evidence["pain_level"] == 4.0
    assert (alert.sentence, alert.version) == (closed.sentence, closed.version)


def test_closed_by_hand_opens_again_once_the_evidence_was_gone_for_21_days(cast, night, rising):
    night(0, rising())
    close_by_hand(cast, the_alert(), 0)
    assert night(21, rising()).opened == ()
    assert night(42, rising()).opened == ()
    assert len(night(64, rising()).opened) == 1


@pytest.mark.parametrize(("pain_level", "opens"), [(5.9, 0), (6.0, 1), (None, 0)])
def test_closed_by_hand_opens_again_when_pain_is_two_above_the_level_at_closing(
    cast, night, rising, pain_level, opens
):
    night(0, rising(pain_level=4.0))
    close_by_hand(cast, the_alert(), 0)
    assert len(night(1, rising(pain_level=pain_level)).opened) == opens


def test_closed_by_hand_without_a_pain_level_waits_for_the_evidence_to_go(cast, night, rising):
    night(0, rising("stalled_lift", target="back_squat:both:fresh", pain_level=None))
    close_by_hand(cast, the_alert(), 0)
    assert night(1, rising("stalled_lift", target="back_squat:both:fresh", pain_level=9.0)).opened == ()


def test_put_off_comes_back_on_its_date_and_not_before(cast, night, rising):
    night(0, rising())
    put_off(
        actor=actor_of(cast.coach),
        alert_uid=the_alert().uid,
        expected_version=1,
        until_on=FIRST + timedelta(days=5),
        today=FIRST,
        now=NOW,
    )
    night(4, rising())
    assert the_alert().status == "put_off"
    night(5, rising())
    assert the_alert().status == "open"


def test_put_off_wants_attention_from_its_date_on_without_any_night(cast):
    AlertFactory(client=cast.client, status="put_off", put_off_until_on=FIRST)
    assert not Alert.objects.wanting_attention(FIRST - timedelta(days=1)).exists()
    assert Alert.objects.wanting_attention(FIRST).exists()


def test_acknowledged_stays_acknowledged_while_it_is_updated(cast, night, rising):
    night(0, rising())
    acknowledge(actor=actor_of(cast.coach), alert_uid=the_alert().uid, expected_version=1, now=NOW)
    night(1, rising())
    assert the_alert().status == "acknowledged"


@pytest.mark.parametrize("status", ["open", "acknowledged", "put_off"])
def test_pain_rising_does_not_open_while_pain_with_volume_of_the_site_stands(cast, night, rising, status):
    AlertFactory(
        client=cast.client,
        kind="pain_with_volume",
        target="knee:left",
        status=status,
        put_off_until_on=date(2026, 5, 1),
        seen_on=FIRST,
    )
    assert night(20, rising("pain_rising")).opened == ()


def test_pain_rising_of_another_site_or_client_opens_beside_it(cast, night, rising):
    AlertFactory(client=cast.client, kind="pain_with_volume", target="knee:right", seen_on=FIRST)
    AlertFactory(client=cast.colleagues_client, kind="pain_with_volume", target="knee:left", seen_on=FIRST)
    assert len(night(1, rising("pain_rising")).opened) == 1


def test_pain_rising_opens_on_the_night_that_ends_pain_with_volume(night, rising):
    night(0, rising("pain_with_volume"))
    assert night(20, rising("pain_rising")).opened == ()
    changes = night(21, rising("pain_rising"))
    assert ([alert.kind for alert in changes.opened], changes.closed) == (["pain_rising"], 1)


def test_pain_rising_that_stands_already_goes_on_beside_pain_with_volume(night, rising):
    night(0, rising("pain_rising"))
    night(1, rising("pain_with_volume"))
    assert night(2, rising("pain_rising")).updated == 1
    assert set(Alert.objects.values_list("status", flat=True)) == {"open"}


def test_cleared_red_flag_is_not_turned_into_a_mistake_afterwards(cast):
    client = Actor(cast.client.account_id, None, cast.practice.id, Role.CLIENT, client_id=cast.client.id)
    alert = AlertFactory(client=cast.client, kind="red_flag")
    asked = ask_withdrawal(actor=client, alert_uid=alert.uid, now=NOW)
    Alert.objects.update(status="closed", closing="cleared", closed_on=FIRST)
    with pytest.raises(ForbiddenError, match="closed already"):
        confirm_withdrawal(
            actor=actor_of(cast.coach),
            alert_uid=alert.uid,
            expected_version=asked.version,
            reason="Typed in by mistake.",
            today=FIRST,
            now=NOW,
        )
    assert the_alert().closing == "cleared"
