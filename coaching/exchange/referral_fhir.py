"""A referral's numbers as an HL7 FHIR R4B bundle: pain reports and weekly joint reps, without a name."""

import json
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from coaching.charts import site_words
from coaching.reads.history import SiteWeeks
from coaching.reads.referrals import ReferralSummary, ToldPain

Resource = dict[str, Any]

# A system of codes needs an address of its own that nobody else uses; a random one needs no registry.
MEASURES = "urn:uuid:0c3f4b1e-6a0e-4f4e-9d5a-6f0f3f0e7a52"
JOINTS = "urn:uuid:b1a2f6f4-58a4-4c39-8b0c-2f6d0c1f9d07"
SIDES = "urn:uuid:5b3f0f0a-3e43-4a0c-8d8f-9a1c7d2e4b66"
MOMENTS = "urn:uuid:e0d9c1c8-7d36-4a9e-9b7e-1f4d2a6c3b15"
LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"
CATEGORIES = "http://terminology.hl7.org/CodeSystem/observation-category"
PAIN_CODE = "72514-3"  # from memory, with its display
PAIN_DISPLAY = "Pain severity - 0-10 verbal numeric rating [Score] - Reported"
SELF_REPORTED = "Reported by the client or entered by a coach; not examined, not verified, no diagnosis."
JOINT_REPS_NOTE = (
    "Repetitions times what each exercise asks of the joint (0 to 1), which is coach judgement. "
    "As logged, not verified; 0 where none were logged."
)


def referral_fhir(summary: ReferralSummary) -> bytes:
    """A collection of observations about a patient who bears a pseudonym of this referral only."""
    patient = _urn(uuid5(summary.uid, "patient"))
    observations = [
        *(_pain(summary, told, patient) for told in summary.pains),
        *(_week(summary, index, patient) for index in range(len(summary.weeks.week_starts))),
    ]
    bundle = {
        "resourceType": "Bundle",
        "identifier": {"system": "urn:ietf:rfc:3986", "value": _urn(summary.uid)},
        "type": "collection",
        "timestamp": _instant(summary.written_at),
        "entry": [_entry(_patient(patient)), *map(_entry, observations)],
    }
    return json.dumps(bundle, ensure_ascii=False, indent=1).encode()


def _entry(resource: Resource) -> Resource:
    return {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}


def _patient(urn: str) -> Resource:
    """No name and no birth date: who it is stands on the page, not in the numbers."""
    identifier = {"system": "urn:ietf:rfc:3986", "value": urn}
    return {"resourceType": "Patient", "id": urn.removeprefix("urn:uuid:"), "identifier": [identifier]}


def _pain(summary: ReferralSummary, told: ToldPain, patient: str) -> Resource:
    observation = _observation(summary, uuid5(summary.uid, str(told.uid)), "survey", patient)
    observation |= {
        "code": _concept(LOINC, PAIN_CODE, PAIN_DISPLAY),
        "effectiveDateTime": _instant(told.reported_at),
        "valueQuantity": {"value": told.pain, "unit": "{score}", "system": UCUM, "code": "{score}"},
        "note": [{"text": SELF_REPORTED}],
        "component": [
            {
                "code": _concept(MEASURES, "moment", "When the pain was felt, relative to the session"),
                "valueCodeableConcept": _concept(MOMENTS, told.moment, told.moment.replace("_", " ")),
            },
            {
                "code": _concept(MEASURES, "felt-on", "The training day that the pain belongs to"),
                "valueDateTime": told.felt_on.isoformat(),
            },
        ],
    }
    return observation


def _week(summary: ReferralSummary, index: int, patient: str) -> Resource:
    weeks = summary.weeks
    start = weeks.week_starts[index]
    end = min(start + timedelta(days=6), weeks.until_on)
    observation = _observation(summary, uuid5(summary.uid, f"week {start}"), "activity", patient)
    return observation | {
        "status": "final" if end == start + timedelta(days=6) else "preliminary",
        "code": _concept(MEASURES, "joint-reps-per-week", "Joint repetitions of an ISO week"),
        "effectivePeriod": {"start": start.isoformat(), "end": end.isoformat()},
        "method": {"text": f"{weeks.computed.method} {weeks.computed.version}"},
        "valueQuantity": {"value": round(weeks.joint_reps[index], 2), "unit": "joint reps"},
        "note": [{"text": JOINT_REPS_NOTE}],
    }


def _observation(summary: ReferralSummary, uid: UUID, category: str, patient: str) -> Resource:
    return {
        "resourceType": "Observation",
        "id": str(uid),
        "status": "final",
        "category": [_concept(CATEGORIES, category, category.capitalize())],
        "subject": {"reference": patient},
        "bodySite": _body_site(summary.weeks),
    }


def _body_site(weeks: SiteWeeks) -> Resource:
    """The service's own codes of joint and side, and what they mean in words: no terminology is guessed."""
    joint = {"system": JOINTS, "code": weeks.joint, "display": weeks.joint.replace("_", " ")}
    side = {"system": SIDES, "code": weeks.side, "display": weeks.side}
    return {"coding": [joint, side], "text": site_words(weeks.joint, weeks.side)}


def _concept(system: str, code: str, display: str) -> Resource:
    return {"coding": [{"system": system, "code": code, "display": display}], "text": display}


def _instant(at: datetime) -> str:
    return at.isoformat()


def _urn(uid: UUID) -> str:
    return f"urn:uuid:{uid}"
