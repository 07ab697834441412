"""Body mass and consents over HTTP: nothing about health is stored without a standing consent."""

import pytest

from coaching.models import AuditEvent, BodyMass, Client, Consent
from tests.factories import NOW


def address(client, *more):
    return "/".join(["/api/v1/clients", str(client.uid), *more])


def post_mass(api, client, **body):
    return api.post(
        address(client, "body-masses"), {"measured_on": "2026-03-02", "body_mass_kg": 81.5} | body
    )


@pytest.mark.parametrize("who", ["client", "coach", "owner"])
def test_the_client_or_a_coach_records_a_body_mass(cast, signed_in, who):
    answer = post_mass(signed_in(getattr(cast, who)), cast.client)
    assert answer.status_code == 201
    assert answer.json() == {"measured_on": "2026-03-02", "body_mass_kg": 81.5, "version": 1}


def test_another_value_for_the_day_corrects_it(cast, signed_in):
    api = signed_in(cast.client)
    post_mass(api, cast.client)
    other = {"measured_on": "2026-03-02", "body_mass_kg": 80.5}
    corrected = api.post(address(cast.client, "body-masses"), other, HTTP_IF_MATCH='"1"')
    assert corrected.status_code == 200
    items = api.get(address(cast.client, "body-masses")).json()["items"]
    assert items == [other | {"version": 2}]


@pytest.mark.parametrize("who", ["colleague", "stranger", "colleagues_client"])
def test_others_find_no_body_mass(cast, signed_in, who):
    api = signed_in(getattr(cast, who))
    assert post_mass(api, cast.client).status_code == 404
    assert api.get(address(cast.client, "body-masses")).status_code == 404
    assert not BodyMass.objects.exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"body_mass_kg": 9.9}, "/body_mass_kg"),
        ({"body_mass_kg": 400.1}, "/body_mass_kg"),
        ({"body_mass_kg": "80"}, "/body_mass_kg"),
        ({"body_mass_kg": True}, "/body_mass_kg"),
        ({"measured_on": "2090-01-01"}, "/measured_on"),
        ({"measured_on": "1989-12-31"}, "/measured_on"),
        ({"unit": "lb"}, "/unit"),
    ],
)
def test_a_bad_body_mass_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = post_mass(signed_in(cast.coach), cast.client, **body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert not BodyMass.objects.exists()


def test_without_consent_no_body_mass_is_stored(cast, signed_in):
    Consent.objects.filter(client=cast.client).delete()
    answer = post_mass(signed_in(cast.coach), cast.client)
    assert answer.status_code == 403
    assert answer.json()["type"] == "/problems/consent_missing"
    assert not BodyMass.objects.exists()


def test_for_a_client_who_left_no_body_mass_is_stored(cast, signed_in):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert post_mass(signed_in(cast.coach), cast.client).status_code == 410


def give(api, client, purpose="referral", version="2026-01", **headers):
    return api.put(address(client, "consents", purpose), {"text_version": version}, **headers)


def test_a_client_gives_a_consent(cast, signed_in):
    answer = give(signed_in(cast.client), cast.client)
    assert answer.status_code == 201
    assert answer.json() == {
        "purpose": "referral",
        "text_version": "2026-01",
        "given_at": answer.json()["given_at"],
        "withdrawn_at": None,
        "version": 1,
        "recorded_by": "client",
    }


def test_a_coach_records_one_on_behalf_and_it_says_so(cast, signed_in):
    assert give(signed_in(cast.coach), cast.client).json()["recorded_by"] == "coach"


def test_the_same_consent_again_is_200_and_stays_one(cast, signed_in):
    give(signed_in(cast.client), cast.client)
    assert give(signed_in(cast.client), cast.client).status_code == 200
    assert Consent.objects.filter(purpose="referral").count() == 1


def test_consent_to_a_new_text_ends_the_earlier_one_and_keeps_it(cast, signed_in):
    api = signed_in(cast.client)
    give(api, cast.client)
    assert give(api, cast.client, version="2026-02", HTTP_IF_MATCH='"1"').status_code == 201
    items = api.get(address(cast.client, "consents")).json()["items"]
    kept = [(item["text_version"], item["withdrawn_at"] is None) for item in items]
    assert kept[:2] == [("2026-02", True), ("2026-01", False)]


def test_a_withdrawn_consent_stops_what_it_allowed(cast, signed_in):
    api = signed_in(cast.client)
    assert api.delete(address(cast.client, "consents", "health_data")).status_code == 204
    assert post_mass(api, cast.client).status_code == 403
    latest = api.get(address(cast.client, "consents", "health_data")).json()
    assert latest["withdrawn_at"] is not None


def test_withdrawing_twice_keeps_the_first_time(cast, signed_in):
    api = signed_in(cast.client)
    api.delete(address(cast.client, "consents", "health_data"))
    first = api.get(address(cast.client, "consents", "health_data")).json()
    assert api.delete(address(cast.client, "consents", "health_data")).status_code == 204
    assert api.get(address(cast.client, "consents", "health_data")).json() == first


@pytest.mark.parametrize("purpose", ["referral", "marketing"])
def test_a_consent_that_was_never_given_is_not_there(cast, signed_in, purpose):
    api = signed_in(cast.client)
    assert api.get(address(cast.client, "consents", purpose)).status_code == 404
    assert api.delete(address(cast.client, "consents", purpose)).status_code == 404


def test_an_unknown_purpose_cannot_be_consented_to(cast, signed_in):
    assert give(signed_in(cast.client), cast.client, purpose="marketing").status_code == 404


@pytest.mark.parametrize("version", ["", "x" * 41, 5, None])
def test_a_consent_names_its_text(cast, signed_in, version):
    answer = give(signed_in(cast.client), cast.client, version=version)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/text_version"


@pytest.mark.parametrize("who", ["colleague", "stranger", "colleagues_client"])
def test_others_find_no_consent(cast, signed_in, who):
    api = signed_in(getattr(cast, who))
    one = address(cast.client, "consents", "health_data")
    answers = [
        api.get(address(cast.client, "consents")),
        api.get(one),
        api.put(one, {"text_version": "x"}),
        api.delete(one),
    ]
    assert [answer.status_code for answer in answers] == [404] * 4


def test_giving_and_withdrawing_are_on_the_trail(cast, signed_in):
    api = signed_in(cast.client)
    give(api, cast.client)
    api.delete(address(cast.client, "consents", "referral"))
    actions = AuditEvent.objects.filter(record_kind="consent").order_by("id").values_list("action", flat=True)
    assert list(actions) == ["give", "withdraw"]
