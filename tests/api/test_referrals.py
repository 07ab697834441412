from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from fhir.resources.R4B.bundle import Bundle

from coaching.models import (
    AuditEvent,
    Client,
    Consent,
    InterventionNote,
    JointDay,
    PainReport,
    Referral,
    Restriction,
)
from tests.factories import NOW, AlertFactory, ConsentFactory, InjuryFactory

BODY = {"joint": "knee", "side": "left", "question": "Deep squats: yes or no?"}
TODAY = date(2026, 3, 2)
FORMS = ["html", "pdf", "fhir.json"]
TYPES = {"html": "text/html; charset=utf-8", "pdf": "application/pdf", "fhir.json": "application/fhir+json"}


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


def address(client):
    return f"/api/v1/clients/{client.uid}/referrals"


def note(client, **changes):
    fields = {"noted_on": TODAY, "changed": "Leg press instead.", "is_shared": True, "created_at": NOW}
    site = {"joint": "knee", "side": "left"}
    return InterventionNote.objects.create(practice=client.practice, client=client, **site | fields | changes)


def record_knee(client, days=10):
    """Days of the left knee, each with a report, and something of every other kind that is told."""
    site = {"practice": client.practice, "client": client, "joint": "knee", "side": "left"}
    for back in range(1, days + 1):
        day_on = TODAY - timedelta(days=back)
        JointDay.objects.create(**site, day_on=day_on, joint_reps=12.5, pain=3)
        PainReport.objects.create(
            **site,
            moment="after",
            pain=3,
            reported_at=NOW - timedelta(days=back),
            felt_on=day_on,
            content_hash="v1:any",
            received_at=NOW,
        )
    for _ in range(days // 5):
        injury = InjuryFactory(client=client)
        Restriction.objects.create(
            practice=client.practice,
            injury=injury,
            kind="limit",
            limit="No jumping",
            from_on=TODAY,
            said_by="coach",
        )
        note(client)
        AlertFactory(client=client, status="closed", closed_on=TODAY, closing="evidence_gone")


@pytest.fixture
def consented(cast):
    return ConsentFactory(
        client=cast.client,
        purpose="referral",
        text_version="r-1",
        recorded_by=cast.client.account,
        given_at=NOW,
    )


@pytest.fixture
def written(cast, coach, consented):
    """The address of a referral, without its ending."""
    answer = coach.post(address(cast.client), BODY)
    assert answer.status_code == 201
    return f"{address(cast.client)}/{answer.json()['id']}"


def test_a_coach_asks_on_a_standing_consent(cast, coach, consented):
    answer = coach.post(address(cast.client), BODY)
    assert answer.status_code == 201
    assert answer.json() == BODY | {
        "id": str(Referral.objects.get().uid),
        "consent_text_version": "r-1",
        "until_on": "2026-03-02",
        "referred_by": "Carl Coach",
        "created_at": "2026-03-02T12:00:00Z",
    }
    assert Referral.objects.get().consent == consented


def test_without_consent_nothing_is_written(cast, coach):
    answer = coach.post(address(cast.client), BODY)
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
    assert not Referral.objects.exists()


def test_a_withdrawn_consent_is_none(cast, coach, consented):
    Consent.objects.filter(id=consented.id).update(withdrawn_at=NOW)
    assert coach.post(address(cast.client), BODY).status_code == 403


def test_a_coach_may_record_the_consent_as_told(cast, coach):
    assert coach.post(address(cast.client), BODY | {"consent_text_version": "r-2"}).status_code == 201
    consent = Consent.objects.get(client=cast.client, purpose="referral")
    assert (consent.text_version, consent.recorded_by) == ("r-2", cast.coach.account)
    assert Referral.objects.get().consent == consent


def test_the_same_text_leaves_the_clients_own_consent(cast, coach, consented):
    coach.post(address(cast.client), BODY | {"consent_text_version": "r-1"})
    assert Referral.objects.get().consent == consented


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"side": "midline"}, "/side"),
        ({"joint": "other"}, "/joint"),
        ({"joint": "tail"}, "/joint"),
        ({"question": ""}, "/question"),
        ({"question": "x" * 601}, "/question"),
        ({"consent_text_version": "x" * 41}, "/consent_text_version"),
        ({"author": "x"}, "/author"),
    ],
)
def test_a_bad_referral_is_422_at_its_field(cast, coach, consented, body, pointer):
    answer = coach.post(address(cast.client), BODY | body)
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert not Referral.objects.exists()


def test_a_refused_referral_records_no_consent(cast, coach):
    coach.post(address(cast.client), BODY | {"joint": "other", "consent_text_version": "r-2"})
    assert not Consent.objects.filter(purpose="referral").exists()


@pytest.mark.parametrize(
    ("who", "status"), [("client", 403), ("colleague", 404), ("stranger", 404), ("colleagues_client", 404)]
)
def test_who_writes_no_referral(cast, signed_in, consented, who, status):
    assert signed_in(getattr(cast, who)).post(address(cast.client), BODY).status_code == status
    assert not Referral.objects.exists()


def test_who_left_is_not_referred(cast, coach, consented):
    Client.objects.filter(id=cast.client.id).update(archived_at=NOW)
    assert coach.post(address(cast.client), BODY).status_code == 410


@pytest.mark.parametrize("form", FORMS)
def test_coach_and_client_read_it_in_every_form(cast, coach, signed_in, written, form):
    record_knee(cast.client)
    for api in (coach, signed_in(cast.client)):
        answer = api.get(f"{written}.{form}", headers={"Accept": "text/html,*/*;q=0.1"})
        assert (answer.status_code, answer["Content-Type"]) == (200, TYPES[form])
        assert answer["Content-Disposition"] == f'inline; filename="referral.{form}"'
        assert answer["Content-Security-Policy"].startswith("default-src 'none'")
        assert answer["Cache-Control"] == "no-store"


def test_the_page_tells_the_sites_history(cast, coach, written):
    record_knee(cast.client)
    Client.objects.filter(id=cast.client.id).update(birth_on=date(1980, 2, 29))
    page = coach.get(f"{written}.html").content.decode()
    for told in (
        "Mira Lift, born 29 February 1980",
        "Deep squats: yes or no?",
        "text r-1, given by the client on 2 March 2026",
        "said by the client: Sore on stairs since a fall.",
        "Limit: No jumping",
        "pain with volume (no longer found 2 March 2026)",
        "2 March 2026: Leg press instead.",
        "not a medical device",
    ):
        assert told in page


def test_private_notes_and_other_sites_stay_out(cast, coach, written):
    note(cast.client, is_shared=False, changed="Between coaches.")
    note(cast.client, side="right", changed="The other knee.")
    InjuryFactory(client=cast.client, joint="hip", said="A hip.")
    AlertFactory(client=cast.client, target="hip:left", sentence="Hip alert.")
    Client.objects.filter(id=cast.client.id).update(private_note="Private.")
    page = coach.get(f"{written}.html").content.decode()
    for hidden in (
        "Between coaches.",
        "The other knee.",
        "A hip.",
        "Hip alert.",
        "Private.",
        "coach&#x27;s note",
    ):
        assert hidden not in page


def test_what_came_after_the_referral_is_not_told(cast, coach, written, time_machine):
    time_machine.move_to(NOW + timedelta(days=3), tick=False)
    note(cast.client, noted_on=TODAY + timedelta(days=2), changed="Later.")
    AlertFactory(client=cast.client, opened_on=TODAY + timedelta(days=2), sentence="Later alert.")
    InjuryFactory(client=cast.client, said="Later injury.", created_at=NOW + timedelta(days=1))
    assert b"Later" not in coach.get(f"{written}.html").content


def test_the_sheet_is_a_pdf_and_stays_the_same(cast, coach, written, time_machine):
    record_knee(cast.client)
    first = coach.get(f"{written}.pdf").content
    time_machine.move_to(NOW + timedelta(hours=5), tick=False)
    assert first.startswith(b"%PDF-") and first == coach.get(f"{written}.pdf").content


def test_the_numbers_are_a_bundle_of_the_standard(cast, coach, written):
    record_knee(cast.client, days=10)
    bundle = Bundle.model_validate_json(coach.get(f"{written}.fhir.json").content)
    assert len(bundle.entry) == 1 + 10 + 16


@pytest.mark.parametrize("form", FORMS)
def test_an_unchanged_page_is_not_sent_twice(cast, coach, written, form):
    tag = coach.get(f"{written}.{form}")["ETag"]
    again = coach.get(f"{written}.{form}", headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    record_knee(cast.client)
    assert coach.get(f"{written}.{form}", headers={"If-None-Match": tag}).status_code == 200


@pytest.mark.parametrize("form", FORMS)
def test_a_withdrawn_consent_ends_what_a_coach_hands_on(cast, coach, signed_in, consented, written, form):
    signed_in(cast.client).delete(f"/api/v1/clients/{cast.client.uid}/consents/referral")
    answer = coach.get(f"{written}.{form}")
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/consent_missing")
    assert signed_in(cast.client).get(f"{written}.{form}").status_code == 200


@pytest.mark.parametrize("who", ["colleague", "stranger", "colleagues_client"])
@pytest.mark.parametrize("ending", ["", *(f".{form}" for form in FORMS)])
def test_another_ones_referral_is_not_there(cast, signed_in, written, who, ending):
    asked = written + ending if ending else address(cast.client)
    assert signed_in(getattr(cast, who)).get(asked).status_code == 404


def test_a_referral_is_found_under_its_own_client_only(cast, signed_in, written):
    elsewhere = written.replace(str(cast.client.uid), str(cast.colleagues_client.uid))
    assert signed_in(cast.owner).get(f"{elsewhere}.pdf").status_code == 404


def test_the_list_is_newest_first(cast, coach, signed_in, written):
    coach.post(address(cast.client), BODY | {"question": "And running?"})
    for api in (coach, signed_in(cast.client)):
        items = api.get(address(cast.client)).json()["items"]
        assert [row["question"] for row in items] == ["And running?", BODY["question"]]


def test_a_referral_and_its_reading_are_on_the_trail(cast, coach, written):
    coach.get(f"{written}.pdf")
    coach.get(f"{written}.html")
    trail = AuditEvent.objects.filter(subject_key=cast.client.audit_key, record_kind="referral")
    assert list(trail.order_by("id").values_list("action", flat=True)) == ["create", "read"]
    created = trail.get(action="create")
    assert created.detail["text_version"] == "r-1"
    assert BODY["question"] not in str(created.detail)


def test_an_erased_client_takes_the_referrals_along(cast, written):
    Client.objects.filter(id=cast.client.id).delete()
    assert not Referral.objects.exists()


def test_queries_do_not_grow_with_the_history(cast, coach, written):
    record_knee(cast.client, days=10)
    coach.get(f"{written}.html")
    with CaptureQueriesContext(connection) as few:
        coach.get(f"{written}.html")
    JointDay.objects.all().delete()
    record_knee(cast.client, days=40)
    with CaptureQueriesContext(connection) as many:
        coach.get(f"{written}.html")
    assert len(many) == len(few) <= 20
