"""An alert that was read or put off comes back when it gets worse, and only then."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from coaching.models import Alert
from coaching.operations.alerts import Finding, acknowledge, apply_findings, put_off
from tests.factories import NOW
from tests.plan_builders import actor_of

FIRST = date(2026, 3, 2)


def day(offset: int) -> date:
    return FIRST + timedelta(days=offset)


def the_alert() -> Alert:
    return Alert.objects.get()


@pytest.fixture
def night(cast):
    """One night that found pain of this level; without a level, a matter that has none."""

    def run(offset, pain_level=4.0, severity=55, kind="pain_rising"):
        finding = Finding(
            client_id=cast.client.id,
            kind=kind,
            target="knee:left",
            severity=severity,
            sentence="Pain climbs.",
            evidence={"worth_asking": ["Worth asking: why?"]},
            method="test 1",
            pain_level=pain_level,
        )
        return apply_findings(
            practice_id=cast.practice.id,
            client_ids=[cast.client.id],
            findings=[finding],
            kinds=[kind],
            on=day(offset),
            now=datetime.combine(day(offset), time(4), ZoneInfo("Europe/Berlin")),
        )

    return run


def read_it(cast):
    alert = the_alert()
    acknowledge(actor=actor_of(cast.coach), alert_uid=alert.uid, expected_version=alert.version, now=NOW)


def put_it_off(cast, until=30):
    alert = the_alert()
    put_off(
        actor=actor_of(cast.coach),
        alert_uid=alert.uid,
        expected_version=alert.version,
        until_on=day(until),
        today=FIRST,
        now=NOW,
    )


@pytest.fixture(params=[read_it, put_it_off], ids=["acknowledged", "put_off"])
def set_aside(request, cast):
    return lambda: request.param(cast)


def state():
    alert = the_alert()
    return alert.status, alert.worse_since_on


def test_pain_two_above_what_was_read_brings_it_back(night, set_aside):
    night(0, 4.0)
    set_aside()
    night(3, 6.0)
    assert state() == ("open", day(3))


def test_pain_less_than_two_above_what_was_read_does_not(night, set_aside):
    night(0, 4.0)
    set_aside()
    status = the_alert().status
    night(3, 5.9)
    assert state() == (status, None)


def test_pain_is_held_against_the_level_that_was_read_however_slowly_it_climbs(night, set_aside):
    night(0, 4.0)
    set_aside()
    for offset, level in enumerate((4.5, 5.0, 5.5, 6.0), start=1):
        assert the_alert().worse_since_on is None
        night(offset, level)
    assert state() == ("open", day(4))


def test_greater_severity_brings_it_back(night, set_aside):
    night(0, severity=55)
    set_aside()
    night(1, severity=65)
    assert state() == ("open", day(1))


@pytest.mark.parametrize("kind", ["stalled_lift", "off_plan", "silent"])
def test_what_has_no_pain_comes_back_by_severity_only(night, set_aside, kind):
    night(0, None, 25, kind)
    set_aside()
    status = the_alert().status
    night(1, 9.0, 25, kind)
    assert state() == (status, None)
    night(2, None, 30, kind)
    assert state() == ("open", day(2))


def test_milder_is_never_worse(night, set_aside):
    night(0, 6.0, 65)
    set_aside()
    status = the_alert().status
    night(1, 3.0, 55)
    assert state() == (status, None)


def test_same_night_twice_is_once(night, set_aside):
    night(0, 4.0)
    set_aside()
    night(3, 6.5)
    night(3, 6.5)
    assert state() == ("open", day(3))


def test_worse_is_told_from_its_first_day_while_nobody_has_read_it(night, set_aside):
    night(0, 4.0)
    set_aside()
    night(3, 6.5)
    night(4, 9.0)
    assert state() == ("open", day(3))


def test_read_again_it_is_held_against_the_new_level(cast, night, set_aside):
    night(0, 4.0)
    set_aside()
    night(3, 6.0)
    read_it(cast)
    assert state() == ("acknowledged", None)
    night(3, 6.0)
    night(4, 7.5)
    assert state() == ("acknowledged", None)
    night(5, 8.0)
    assert state() == ("open", day(5))


def test_put_off_and_not_worse_comes_back_on_its_date_as_open_and_not_as_worse(cast, night):
    night(0, 4.0)
    put_it_off(cast, until=5)
    night(5, 4.0)
    assert state() == ("open", None)


def test_back_on_its_date_it_may_still_get_worse_than_what_was_read(cast, night):
    night(0, 4.0)
    put_it_off(cast, until=5)
    night(5, 4.0)
    night(6, 6.0)
    assert state() == ("open", day(6))


def test_open_alert_that_nobody_has_read_is_not_called_worse(night):
    night(0, 4.0)
    night(1, 9.0, 65)
    assert state() == ("open", None)


def test_what_was_read_outlives_the_nights_and_the_new_numbers_are_there_as_well(cast, night):
    night(0, 4.0)
    read_it(cast)
    night(1, 5.0)
    evidence = the_alert().evidence
    assert evidence["at_reading"] == {"severity": 55, "pain_level": 4.0}
    assert evidence["pain_level"] == 5.0
    assert the_alert().worth_asking == ["Worth asking: why?"]
