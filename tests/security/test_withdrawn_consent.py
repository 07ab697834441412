"""Every route that shows a client's health data refuses it to coaches once consent is withdrawn."""

import pytest
from django.utils import timezone

from coaching.models import Consent
from coaching.operations.audit import OPEN_WITHOUT_CONSENT
from tests.security.test_every_route_is_on_the_trail import TOLD, V1, Place, call, prepare

READS = {key: row for key, row in TOLD.items() if key[0] == "get" and row.kind not in OPEN_WITHOUT_CONSENT}
# Of many clients at once: who withdrew is left out.
OF_MANY = [("get", V1 + path) for path in ("changes", "exports/sessions.csv", "exports/pain-reports.csv")]
OF_ONE = [key for key in READS if key not in OF_MANY]


@pytest.fixture
def place(cast, time_machine):
    time_machine.move_to("2026-03-02T20:00:00Z", tick=False)
    return Place(cast)


def withdraw(place: Place) -> None:
    Consent.objects.filter(client=place.cast.client).update(withdrawn_at=timezone.now())


def read(place: Place, key: tuple[str, str], who: str):
    api = place.sign(getattr(place.cast, who))
    return api.get(READS[key].address(place))


@pytest.mark.parametrize("who", ["coach", "owner"])
@pytest.mark.parametrize("key", OF_ONE, ids=str)
def test_of_one_client_it_is_refused(place, key, who):
    prepare(place, key)
    assert read(place, key, who).status_code == 200
    withdraw(place)
    answer = read(place, key, who)
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")


@pytest.mark.parametrize("key", OF_MANY, ids=str)
def test_of_many_clients_it_is_left_out(place, key):
    prepare(place, key)
    told = {str(place.session), place.report}
    assert any(word in read(place, key, "owner").getvalue().decode() for word in told)
    withdraw(place)
    answer = read(place, key, "owner")
    assert answer.status_code == 200
    assert not any(word in answer.getvalue().decode() for word in told)


@pytest.mark.parametrize("key", OF_ONE, ids=str)
def test_the_client_reads_on(place, key):
    prepare(place, key)
    before = read(place, key, "client").status_code
    withdraw(place)
    assert read(place, key, "client").status_code == before


def test_a_preview_and_a_reading_of_an_alert_are_refused_as_well(place):
    for key in (
        ("post", V1 + "plans/<uuid:plan_id>/preview"),
        ("post", V1 + "alerts/<uuid:alert_id>/put-off"),
    ):
        prepare(place, key)
        withdraw(place)
        answer = call(place, key)
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
