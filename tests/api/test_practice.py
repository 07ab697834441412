"""How long a practice keeps what, over HTTP."""

import pytest

from coaching.models import AuditEvent, Practice
from tests.bodies import version_of

ADDRESS = "/api/v1/practice"


def test_coaches_read_what_the_owner_has_set(cast, signed_in):
    for who in (cast.owner, cast.coach):
        answer = signed_in(who).get(ADDRESS)
        assert answer.status_code == 200
        assert answer.json() == {
            "id": str(cast.practice.uid),
            "name": "Harbour Strength",
            "keeps_clients_years": None,
            "keeps_audit_years": 6,
            "keeps_sent_mail_days": 30,
            "keeps_tombstones_days": 365,
            "version": 1,
        }


def test_the_owner_sets_a_period_and_null_keeps_for_ever(cast, signed_in):
    api = signed_in(cast.owner)
    tag = version_of(api.get(ADDRESS))
    answer = api.patch(ADDRESS, {"keeps_clients_years": 3, "keeps_audit_years": None}, HTTP_IF_MATCH=tag)
    assert answer.status_code == 200
    assert (answer.json()["keeps_clients_years"], answer.json()["keeps_audit_years"]) == (3, None)
    assert answer.json()["version"] == 2
    event = AuditEvent.objects.get(record_kind="practice")
    assert event.detail == {"fields": ["keeps_audit_years", "keeps_clients_years"]}


def test_without_the_version_it_stays(cast, signed_in):
    api = signed_in(cast.owner)
    assert api.patch(ADDRESS, {"keeps_clients_years": 3}).status_code == 428
    assert api.patch(ADDRESS, {"keeps_clients_years": 3}, HTTP_IF_MATCH='"9"').status_code == 412
    assert Practice.objects.get(id=cast.practice.id).keeps_clients_years is None


@pytest.mark.parametrize("who", ["coach", "client"])
def test_only_the_owner_sets_it(cast, signed_in, who):
    answer = signed_in(getattr(cast, who)).patch(ADDRESS, {"keeps_audit_years": 1}, HTTP_IF_MATCH='"1"')
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "body",
    [
        {"keeps_clients_years": 0},
        {"keeps_clients_years": 101},
        {"keeps_audit_years": "6"},
        {"keeps_sent_mail_days": 2},
        {"keeps_tombstones_days": 89},
        {"name": "Other"},
    ],
)
def test_a_bad_period_is_422_at_its_field(cast, signed_in, body):
    answer = signed_in(cast.owner).patch(ADDRESS, body, HTTP_IF_MATCH='"1"')
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == f"/{next(iter(body))}"
