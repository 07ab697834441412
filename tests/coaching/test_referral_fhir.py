import json
from dataclasses import replace
from datetime import date

import pytest
from fhir.resources.R4B.bundle import Bundle

from coaching.exchange.referral_fhir import referral_fhir
from tests.referral_summaries import plain_summary


@pytest.fixture
def bundle():
    return Bundle.model_validate_json(referral_fhir(plain_summary()))


@pytest.fixture
def observations(bundle):
    return [row.resource for row in bundle.entry if row.resource.__class__.__name__ == "Observation"]


def test_it_is_a_collection_as_the_standard_has_it(bundle):
    assert bundle.type == "collection"
    assert len(bundle.entry) == 1 + 1 + 16
    assert all(row.fullUrl == f"urn:uuid:{row.resource.id}" for row in bundle.entry)
    assert len({row.fullUrl for row in bundle.entry}) == 18


def test_a_pain_report_is_a_numeric_rating(observations):
    pain = observations[0]
    assert (pain.code.coding[0].system, pain.code.coding[0].code) == ("http://loinc.org", "72514-3")
    assert (pain.valueQuantity.value, pain.valueQuantity.code) == (5, "{score}")
    assert pain.effectiveDateTime.isoformat() == "2026-02-28T12:00:00+00:00"
    assert [row.code.coding[0].code for row in pain.component] == ["moment", "felt-on"]
    assert pain.component[0].valueCodeableConcept.text == "after"


def test_a_weeks_joint_reps_have_their_period(observations):
    first, newest = observations[1], observations[-1]
    assert first.code.coding[0].system.startswith("urn:uuid:")
    assert (first.effectivePeriod.start, first.effectivePeriod.end) == (
        date(2025, 11, 17),
        date(2025, 11, 23),
    )
    assert (first.status, first.valueQuantity.value) == ("final", 90)
    assert (newest.effectivePeriod.start, newest.effectivePeriod.end) == (date(2026, 3, 2), date(2026, 3, 2))
    assert newest.status == "preliminary"


def test_every_observation_names_site_side_and_subject(bundle, observations):
    for row in observations:
        assert row.bodySite.text == "left knee"
        assert [code.code for code in row.bodySite.coding] == ["knee", "left"]
        assert row.subject.reference == bundle.entry[0].fullUrl
        assert "not" in row.note[0].text and "verified" in row.note[0].text


def test_no_name_no_birth_date_and_no_words_are_in_it():
    text = referral_fhir(plain_summary()).decode()
    for private in ("Mira", "1980", "Harbour", "Carl", "meniscus", "squat", "snomed"):
        assert private not in text


def test_the_patient_bears_another_name_in_every_referral(bundle):
    other = Bundle.model_validate_json(referral_fhir(plain_summary(uid=plain_summary().pains[0].uid)))
    assert other.entry[0].fullUrl != bundle.entry[0].fullUrl


def test_the_same_summary_gives_the_same_bytes():
    assert referral_fhir(plain_summary()) == referral_fhir(plain_summary())


def test_a_history_without_pain_is_a_bundle_too():
    bundle = Bundle.model_validate_json(referral_fhir(replace(plain_summary(), pains=())))
    assert len(bundle.entry) == 17


def test_a_spinal_site_is_midline():
    weeks = replace(plain_summary().weeks, joint="lumbar_spine", side="midline")
    told = json.loads(referral_fhir(plain_summary(weeks=weeks)))["entry"][1]["resource"]["bodySite"]
    assert told["text"] == "lumbar spine"
    assert [row["display"] for row in told["coding"]] == ["lumbar spine", "midline"]
