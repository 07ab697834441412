"""Rows of every kind that a read shows, any number of them, and the address of each GET route."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from coaching.models import (
    Alert,
    Assignment,
    BodyMass,
    Clearance,
    Consent,
    Injury,
    InterventionNote,
    LoggedSet,
    Membership,
    PainReport,
    Referral,
    Restriction,
    ScheduledSession,
    Score,
    ServiceToken,
    Session,
    Webhook,
    WebhookDelivery,
)
from coaching.models.webhook import TEST_EVENT
from coaching.operations.assignments import assign_plan
from coaching.operations.calendar_feeds import make_feed
from coaching.operations.changes import Changed, note_changes
from tests.bodies import pain_body, session_body, set_body
from tests.conftest import token_for
from tests.factories import (
    NOW,
    AlertFactory,
    ClientFactory,
    ConsentFactory,
    ExerciseFactory,
    InjuryFactory,
    MembershipFactory,
    WebhookFactory,
)
from tests.plan_builders import actor_of, knee_lift, plan_by

TODAY = date(2026, 3, 2)
KNEE = {"joint": "knee", "side": "left"}


@dataclass
class Place:
    """Who asks, and the rows whose ids stand in the addresses."""

    cast: Any
    lift: Any
    assignment: Assignment
    consent: Consent
    injury: Injury
    feed_token: str
    webhook: Webhook


def furnish(cast: Any) -> Place:
    """What there is one of, however many rows there are."""
    lift = knee_lift()
    plan = plan_by(cast.coach, lift, weeks=4, name="Given")
    assignment = assign_plan(
        actor=actor_of(cast.coach),
        client_uid=cast.client.uid,
        plan_uid=plan.uid,
        starts_on=TODAY,
        override_reason="",
        now=NOW,
    ).assignment
    consent = ConsentFactory(client=cast.client, purpose="referral")
    webhook = WebhookFactory(practice=cast.practice)
    feed = make_feed(actor=actor_of(cast.coach), client_uid=cast.client.uid, now=NOW)
    return Place(cast, lift, assignment, consent, InjuryFactory(client=cast.client), feed.token, webhook)


def add_rows(place: Place, api: Any, first: int, count: int) -> None:
    """`count` more of everything that a read may show, numbered from `first` on."""
    client, coach = place.cast.client, place.cast.coach
    own = {"practice": client.practice, "client": client}
    for number in range(first, first + count):
        day = TODAY - timedelta(days=2 * number + 1)
        other = ClientFactory(coach=coach)
        ConsentFactory(client=other)
        InjuryFactory(client=other, weekly_joint_reps_cap=10)
        AlertFactory(client=other, target=f"hip:{number}")
        MembershipFactory(practice=coach.practice)
        token_for(coach)
        WebhookFactory(practice=coach.practice)
        add_service_token(coach)
        tell_test_event(place, number)
        plan_by(coach, place.lift, name=f"Plan {number}")
        ExerciseFactory(practice=coach.practice)
        AlertFactory(client=client, kind="pain_rising", target=f"site:{number}", opened_on=day)
        injury = InjuryFactory(client=client, weekly_joint_reps_cap=500)
        for each in (injury, place.injury):
            Restriction.objects.create(
                practice=client.practice,
                injury=each,
                kind="limit",
                limit="No jumping",
                from_on=day,
                until_on=TODAY + timedelta(days=3),
                said_by="coach",
            )
        Clearance.objects.create(
            **own, clinician_name="Dana", clinician_profession="surgeon", cleared_on=day, recorded_at=NOW
        )
        InterventionNote.objects.create(
            **own, **KNEE, noted_on=day, changed="Less depth", is_shared=True, created_at=NOW
        )
        Referral.objects.create(
            **own, **KNEE, question="Squats?", consent=place.consent, until_on=day, created_at=NOW
        )
        BodyMass.objects.create(client=client, measured_on=day, body_mass_kg=70)
        Consent.objects.create(
            **own, purpose="health_data", text_version="2025", given_at=NOW, withdrawn_at=NOW
        )
        Score.objects.create(
            practice=client.practice, client=client, night_on=day, method="test", scored_at=NOW
        )
        Assignment.objects.create(
            **own,
            plan_version=place.assignment.plan_version,
            starts_on=day,
            ends_on=day,
            assigned_by=coach.account,
            created_at=NOW,
        )
    post_sessions(place, api, first, count)
    tell_all(place)


def post_sessions(place: Place, api: Any, first: int, count: int) -> None:
    """Sessions with sets of both sides and pain reports, and a pain report on its own beside each."""
    items = []
    for number in range(first, first + count):
        day = TODAY - timedelta(days=2 * number + 1)
        sets = [set_body(exercise=place.lift.code, side=side, load=80 + number) for side in ("left", "right")]
        pain = [
            pain_body(id=str(uuid.uuid4()), side=side, reported_at=f"{day}T18:30:00Z")
            for side in ("left", "right")
        ]
        items.append(
            session_body(
                id=str(uuid.uuid4()),
                performed_at=f"{day}T18:00:00Z",
                ended_at=f"{day}T18:40:00Z",
                sets=[*sets, set_body(load=150)],
                pain_reports=pain,
            )
        )
    body = {"items": items, "client": str(place.cast.client.uid)}
    answer = api.post("/api/v1/sessions/batch", body, format="json").json()
    assert {item["status"] for item in answer["items"]} == {201}, answer
    LoggedSet.objects.filter(load_thousandths=150_000).update(is_to_confirm=True)
    report = pain_body(client=str(place.cast.client.uid))
    for _ in range(count):
        assert api.put(f"/api/v1/pain-reports/{uuid.uuid4()}", report, format="json").status_code == 201


def add_service_token(coach: Membership) -> None:
    row = ServiceToken.objects.create(
        practice=coach.practice,
        name="Screen",
        scopes=["sheet:read"],
        token_digest=uuid.uuid4().hex,
        made_by=coach,
        created_at=NOW,
        expires_at=NOW + timedelta(days=30),
    )
    row.coaches.set([coach])


def tell_test_event(place: Place, number: int) -> None:
    WebhookDelivery.objects.create(
        practice=place.webhook.practice,
        webhook=place.webhook,
        event=TEST_EVENT,
        event_key=f"test:{number}",
        created_at=NOW,
        next_at=NOW,
    )


def tell_all(place: Place) -> None:
    """Rows made without an operation are told in the changes feed as well."""
    client = place.cast.client
    changed = [
        Changed(client.id, kind, row.uid)
        for kind, rows in (
            ("injury", client.injuries.all()),
            ("restriction", Restriction.objects.filter(injury__client=client)),
            ("clearance", client.clearances.all()),
            ("intervention_note", client.intervention_notes.all()),
            ("assignment", client.assignments.all()),
            ("alert", client.alerts.all()),
        )
        for row in rows
    ]
    note_changes(practice_id=client.practice_id, changed=changed, now=NOW)


def get_routes() -> dict[str, Any]:
    """Every address of the service that answers GET, as the resolver has it, with its view."""
    return {
        route: view
        for route, view in _walk(get_resolver().url_patterns, "")
        if not hasattr(view, "view_class") or hasattr(view.view_class, "get")
    }


def _walk(patterns: list[Any], before: str) -> Any:
    for each in patterns:
        route = f"{before}{each.pattern}"
        if isinstance(each, URLResolver):
            yield from _walk(each.url_patterns, route)
        elif isinstance(each, URLPattern):
            yield route, each.callback


def address_of(route: str, place: Place) -> str:
    """An address of this route with the ids of rows that are there."""
    client = place.cast.client
    one = {
        "client_id": client.uid,
        "alert_id": Alert.objects.filter(client=client).first,
        "injury_id": place.injury.uid,
        "webhook_id": place.webhook.uid,
        "membership_id": Membership.objects.get(id=place.cast.coach.id).uid,
        "plan_id": place.assignment.plan_version.plan.uid,
        "assignment_id": place.assignment.uid,
        "session_id": Session.objects.filter(client=client).first,
        "report_id": PainReport.objects.filter(client=client).first,
        "referral_id": Referral.objects.filter(client=client).first,
        "scheduled_session_id": ScheduledSession.objects.filter(client=client, due_on__gt=TODAY).first,
        "purpose": "health_data",
        "code": place.lift.code,
        "joint": "knee",
        "side": "left",
        "number": 1,
        "token": place.feed_token,
    }
    address = f"/{route}"
    for name, value in one.items():
        for kind in ("uuid", "made", "str", "slug", "int"):
            if f"<{kind}:{name}>" in address:
                found = value().uid if callable(value) else value
                address = address.replace(f"<{kind}:{name}>", str(found))
    return address + QUERIES.get(route, "")


# An archive tells when it was made, so no two are the same and none stands for another.
MADE_ANEW = {"api/v1/clients/<uuid:client_id>/export"}
# What only owners read; everything else is read by the coach.
OWNERS = ("api/v1/webhooks", "api/v1/service-tokens", "api/v1/exports/")
# What must be asked, and the largest page, so that more rows are more rows shown.
QUERIES = {
    "api/v1/clients/<uuid:client_id>/scheduled-sessions": "?from=2025-12-01&until=2026-03-20",
    "api/v1/exercises/<slug:code>/swaps": "?joint=knee&side=left",
    "api/v1/changes": "?page_size=200",
}
