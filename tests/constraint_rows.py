"""The smallest row of every model that the database takes, for tests that then spoil one thing about it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import models

from coaching.models import (
    Account,
    Alert,
    Assignment,
    AuditEvent,
    Block,
    BodyMass,
    CalendarFeed,
    Change,
    Clearance,
    Client,
    Consent,
    DeviceToken,
    ErasedDigest,
    Erasure,
    Exercise,
    ExerciseAlternative,
    Injury,
    Installation,
    InterventionNote,
    Invitation,
    JointDay,
    JointStress,
    LiftDay,
    LoggedSet,
    MailRow,
    Membership,
    MuscleRole,
    Night,
    NightClient,
    PainReport,
    Plan,
    PlanDay,
    PlanVersion,
    Practice,
    Prescription,
    PrescriptionAlternative,
    Referral,
    Restriction,
    ScheduledSession,
    Score,
    SecondFactor,
    ServiceToken,
    ServiceTokenCoach,
    Session,
    SignInFailures,
    UrgencySignOff,
    Webhook,
    WebhookDelivery,
)
from tests.factories import (
    NOW,
    AccountFactory,
    ClientFactory,
    ConsentFactory,
    ExerciseFactory,
    InjuryFactory,
    MembershipFactory,
    PracticeFactory,
    WebhookFactory,
    fresh_uid,
)

DAY = date(2026, 3, 2)


@dataclass(frozen=True)
class World:
    """Rows for others to point at; `other_...` is a second one, so that a row can differ by it alone."""

    practice: Practice
    elsewhere: Practice
    coach: Membership
    client: Client
    other_client: Client
    account: Account
    exercise: Exercise
    other_exercise: Exercise
    third_exercise: Exercise
    injury: Injury
    consent: Consent
    session: Session
    version: PlanVersion
    day: PlanDay
    block: Block
    erasure: Erasure
    prescription: Prescription
    assignment: Assignment
    night: Night
    webhook: Webhook
    service_token: ServiceToken


def world() -> World:
    practice = PracticeFactory()
    coach = MembershipFactory(practice=practice)
    client = ClientFactory(coach=coach)
    plan = Plan.objects.create(practice=practice, name="Any", created_at=NOW)
    version = PlanVersion.objects.create(plan=plan, number=1, weeks=4, created_at=NOW)
    day = PlanDay.objects.create(version=version, position=0, weekday=0, name="Any")
    block = Block.objects.create(day=day, position=0, kind="straight_sets")
    exercise = ExerciseFactory()
    return World(
        practice=practice,
        elsewhere=PracticeFactory(),
        coach=coach,
        client=client,
        other_client=ClientFactory(coach=coach),
        account=AccountFactory(),
        exercise=exercise,
        other_exercise=ExerciseFactory(),
        third_exercise=ExerciseFactory(),
        injury=InjuryFactory(client=client),
        consent=ConsentFactory(client=client, purpose="referral", withdrawn_at=NOW),
        session=Session.objects.create(
            practice=practice,
            client=client,
            performed_at=NOW,
            zone="Europe/Berlin",
            performed_on=DAY,
            content_hash="v1:any",
            received_at=NOW,
        ),
        version=version,
        day=day,
        block=block,
        erasure=Erasure.objects.create(practice=practice, client_digest="0" * 64, erased_at=NOW),
        prescription=Prescription.objects.create(
            practice=practice,
            block=block,
            position=7,
            exercise=exercise,
            sets=2,
            reps_low=6,
            reps_high=10,
            effort_target="failure",
            load_rule="from_history",
        ),
        assignment=Assignment.objects.create(
            practice=practice, client=client, plan_version=version, starts_on=DAY, created_at=NOW
        ),
        night=Night.objects.create(practice=practice, night_on=DAY, zone="Europe/Berlin", planned_at=NOW),
        webhook=WebhookFactory(practice=practice),
        service_token=ServiceToken.objects.create(
            practice=practice,
            name="Any",
            token_digest=fresh_uid().hex,
            made_by=coach,
            created_at=NOW,
            expires_at=datetime(2026, 9, 1, tzinfo=UTC),
        ),
    )


Fields = dict[str, Any]

SMALLEST: dict[type[models.Model], Callable[[World], Fields]] = {
    Account: lambda w: {"email": f"{fresh_uid()}@example.org", "name": "Any", "created_at": NOW},
    DeviceToken: lambda w: {
        "digest": fresh_uid().hex,
        "token_key": "any",
        "user": w.account,
        "practice": w.practice,
        "membership": w.coach,
        "device_name": "any",
    },
    ServiceToken: lambda w: {
        "practice": w.practice,
        "name": "Any",
        "token_digest": fresh_uid().hex,
        "made_by": w.coach,
        "created_at": NOW,
        "expires_at": datetime(2026, 9, 1, tzinfo=UTC),
    },
    ServiceTokenCoach: lambda w: {"token": w.service_token, "coach": w.coach},
    SecondFactor: lambda w: {"account": w.account, "secret_sealed": "sealed", "made_at": NOW},
    SignInFailures: lambda w: {"key": "account:any", "window_started_at": NOW},
    Practice: lambda w: {"name": "Any", "zone": "Europe/Berlin", "country": "DE", "created_at": NOW},
    Membership: lambda w: {
        "practice": w.practice,
        "account": w.account,
        "role": "coach",
        "joined_at": NOW,
    },
    Invitation: lambda w: {
        "practice": w.practice,
        "role": "coach",
        "email": "new@example.org",
        "token_digest": fresh_uid().hex,
        "created_at": NOW,
        "expires_at": NOW,
    },
    Client: lambda w: {
        "practice": w.practice,
        "coach": w.coach,
        "name": "Any",
        "zone": "Europe/Berlin",
        "country": "DE",
        "created_at": NOW,
    },
    BodyMass: lambda w: {"client": w.client, "measured_on": DAY, "body_mass_kg": 80.0},
    Consent: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "purpose": "health_data",
        "text_version": "1",
        "given_at": NOW,
    },
    CalendarFeed: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "token_digest": fresh_uid().hex,
        "created_at": NOW,
    },
    Referral: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "joint": "knee",
        "side": "left",
        "question": "Any",
        "consent": w.consent,
        "until_on": DAY,
        "created_at": NOW,
    },
    Exercise: lambda w: {
        "code": "any_lift",
        "name": "Any",
        "equipment": "barbell",
        "load_basis": "total",
        "load_step_thousandths": 2500,
        "movement_pattern": "squat",
    },
    ExerciseAlternative: lambda w: {
        "exercise": w.exercise,
        "position": 0,
        "alternative": w.other_exercise,
    },
    MuscleRole: lambda w: {"exercise": w.exercise, "muscle": "glutes", "role": "direct"},
    JointStress: lambda w: {"exercise": w.exercise, "joint": "knee", "stress": 0.5, "reason": "Invented"},
    Injury: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "joint": "knee",
        "side": "left",
        "said": "Any",
        "said_by": "client",
        "created_at": NOW,
    },
    Restriction: lambda w: {
        "practice": w.practice,
        "injury": w.injury,
        "kind": "limit",
        "limit": "No jumping",
        "from_on": DAY,
        "said_by": "coach",
    },
    UrgencySignOff: lambda w: {
        "clinician_name": "Dana Doctor",
        "clinician_profession": "surgeon",
        "signed_on": DAY,
        "country": "DE",
        "table_version": "1",
        "recorded_at": NOW,
    },
    Clearance: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "clinician_name": "Dana Doctor",
        "clinician_profession": "surgeon",
        "cleared_on": DAY,
        "recorded_at": NOW,
    },
    InterventionNote: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "joint": "knee",
        "side": "left",
        "noted_on": DAY,
        "changed": "Any",
        "created_at": NOW,
    },
    Plan: lambda w: {"practice": w.practice, "name": "Any", "created_at": NOW},
    PlanVersion: lambda w: {"plan": w.version.plan, "number": 2, "weeks": 4, "created_at": NOW},
    PlanDay: lambda w: {"version": w.version, "position": 1, "weekday": 0, "name": "Any"},
    Block: lambda w: {"day": w.day, "position": 1, "kind": "straight_sets"},
    Prescription: lambda w: {
        "practice": w.practice,
        "block": w.block,
        "position": 0,
        "exercise": w.exercise,
        "sets": 2,
        "reps_low": 6,
        "reps_high": 10,
        "effort_target": "failure",
        "load_rule": "from_history",
    },
    PrescriptionAlternative: lambda w: {
        "prescription": w.prescription,
        "position": 0,
        "exercise": w.other_exercise,
    },
    Assignment: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "plan_version": w.version,
        "starts_on": DAY,
        "created_at": NOW,
    },
    ScheduledSession: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "assignment": w.assignment,
        "plan_day": w.day,
        "due_on": DAY,
        "prescribed_sets": 2,
        "prescribed_reps": 12,
    },
    Session: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "performed_at": NOW,
        "zone": "Europe/Berlin",
        "performed_on": DAY,
        "content_hash": "v1:any",
        "received_at": NOW,
    },
    LoggedSet: lambda w: {
        "practice": w.practice,
        "session": w.session,
        "exercise": w.exercise,
        "position": 1,
        "kind": "work",
        "side": "both",
        "reps": 5,
        "ended_by": "target",
    },
    PainReport: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "joint": "knee",
        "side": "left",
        "moment": "during",
        "pain": 2,
        "reported_at": NOW,
        "felt_on": DAY,
        "content_hash": "v1:any",
        "received_at": NOW,
    },
    Alert: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "kind": "pain_limit",
        "target": "knee:left",
        "severity": 80,
        "opened_on": DAY,
        "opened_at": NOW,
        "seen_on": DAY,
        "sentence": "Any",
        "method": "test",
    },
    AuditEvent: lambda w: {
        "practice": w.practice,
        "at": NOW,
        "account_id": w.account.id,
        "device_id": w.practice.uid,
        "subject_key": w.client.audit_key,
        "action": "read",
        "record_kind": "client",
        "read_hour": datetime(2026, 3, 2, 12, tzinfo=UTC),
    },
    Change: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "kind": "session",
        "record_uid": "0d7a2e0c-0f0e-4a55-9f7b-1a1a60b7c001",
        "at": NOW,
    },
    MailRow: lambda w: {
        "practice": w.practice,
        "kind": "urgent",
        "recipient": "coach@example.org",
        "key": f"any:{fresh_uid()}",
        "created_at": NOW,
        "next_at": NOW,
    },
    Webhook: lambda w: {
        "practice": w.practice,
        "address": "https://hooks.example.org/",
        "events": ["alert.opened"],
        "salt": "5a" * 32,
        "created_at": NOW,
    },
    WebhookDelivery: lambda w: {
        "practice": w.practice,
        "webhook": w.webhook,
        "event": "webhook.test",
        "event_key": f"any:{fresh_uid()}",
        "created_at": NOW,
        "next_at": NOW,
    },
    Erasure: lambda w: {"practice": w.practice, "client_digest": "1" * 64, "erased_at": NOW},
    ErasedDigest: lambda w: {"erasure": w.erasure, "kind": "record", "digest": fresh_uid().hex},
    Installation: lambda w: {"seen_at": NOW},
    Night: lambda w: {
        "practice": w.elsewhere,
        "night_on": DAY,
        "zone": "Europe/Berlin",
        "planned_at": NOW,
    },
    NightClient: lambda w: {"practice": w.practice, "night": w.night, "client": w.client},
    Score: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "night_on": DAY,
        "method": "test",
        "scored_at": NOW,
    },
    JointDay: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "day_on": DAY,
        "joint": "knee",
        "side": "left",
    },
    LiftDay: lambda w: {
        "practice": w.practice,
        "client": w.client,
        "day_on": DAY,
        "exercise": w.exercise,
        "side": "both",
    },
}


def insert(model: type[models.Model], rows: World, **changes: Any) -> models.Model:
    """Put one row straight into its table; a change that is a function is asked with the world."""
    changed = {name: value(rows) if callable(value) else value for name, value in changes.items()}
    row = model(**SMALLEST[model](rows) | changed)
    model._default_manager.bulk_create([row])
    return row
