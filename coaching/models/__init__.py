from coaching.models import any_of as any_of  # registers its lookup
from coaching.models.account import Account, DeviceToken, SignInFailures
from coaching.models.actor import Actor
from coaching.models.alert import (
    PAIN_KINDS,
    SCREENED_KINDS,
    URGENT_KINDS,
    Alert,
    AlertKind,
    AlertStatus,
    Closing,
)
from coaching.models.audit import AuditEvent
from coaching.models.base import MIDLINE_JOINTS, Joint, SiteSide
from coaching.models.calendar_feed import CalendarFeed
from coaching.models.change import Change, ChangeKind
from coaching.models.client import (
    BodyMass,
    Client,
    Consent,
    ConsentPurpose,
    ProgressionRule,
    TrainingStatus,
)
from coaching.models.erasure import DigestKind, ErasedDigest, Erasure, id_digest
from coaching.models.exercise import (
    STRESS_LEVELS,
    WHOLE_LOADS,
    Exercise,
    ExerciseAlternative,
    JointStress,
    LoadBasis,
    Measure,
    MuscleRole,
    MuscleRoleKind,
)
from coaching.models.injury import (
    Clearance,
    Injury,
    InjuryStatus,
    InterventionNote,
    Restriction,
    RestrictionKind,
    SaidBy,
)
from coaching.models.installation import Installation
from coaching.models.lease import Lease
from coaching.models.mail import MailKind, MailRow, MailState
from coaching.models.membership import Invitation, Membership, Role
from coaching.models.night import Night, NightClient, NightClientState, NightStatus, Score
from coaching.models.outbox_row import OutboxRow, OutboxState
from coaching.models.plan import (
    DEFAULT_LEVERS,
    Assignment,
    Block,
    BlockKind,
    EffortTarget,
    Lever,
    LoadRule,
    Plan,
    PlanDay,
    PlanVersion,
    Prescription,
    PrescriptionAlternative,
    ScheduledSession,
    ScheduledStatus,
    SetSide,
)
from coaching.models.practice import Practice
from coaching.models.referral import Referral
from coaching.models.rollup import JointDay, LiftDay
from coaching.models.second_factor import SecondFactor
from coaching.models.service_scope import ServiceScope
from coaching.models.service_token import SCOPE_OF_CHANGES, ServiceToken, ServiceTokenCoach
from coaching.models.session import EndedBy, LoadUnit, LoggedSet, PainMoment, PainReport, Session, SetKind
from coaching.models.urgency import UrgencySignOff
from coaching.models.webhook import (
    TEST_EVENT,
    SwitchedOff,
    Webhook,
    WebhookDelivery,
    WebhookEvent,
)

__all__ = [
    "DEFAULT_LEVERS",
    "MIDLINE_JOINTS",
    "PAIN_KINDS",
    "SCOPE_OF_CHANGES",
    "SCREENED_KINDS",
    "STRESS_LEVELS",
    "TEST_EVENT",
    "URGENT_KINDS",
    "WHOLE_LOADS",
    "Account",
    "Actor",
    "Alert",
    "AlertKind",
    "AlertStatus",
    "Assignment",
    "AuditEvent",
    "Block",
    "BlockKind",
    "BodyMass",
    "CalendarFeed",
    "Change",
    "ChangeKind",
    "Clearance",
    "Client",
    "Closing",
    "Consent",
    "ConsentPurpose",
    "DeviceToken",
    "DigestKind",
    "EffortTarget",
    "EndedBy",
    "ErasedDigest",
    "Erasure",
    "Exercise",
    "ExerciseAlternative",
    "Injury",
    "InjuryStatus",
    "Installation",
    "InterventionNote",
    "Invitation",
    "Joint",
    "JointDay",
    "JointStress",
    "Lease",
    "Lever",
    "LiftDay",
    "LoadBasis",
    "LoadRule",
    "LoadUnit",
    "LoggedSet",
    "MailKind",
    "MailRow",
    "MailState",
    "Measure",
    "Membership",
    "MuscleRole",
    "MuscleRoleKind",
    "Night",
    "NightClient",
    "NightClientState",
    "NightStatus",
    "OutboxRow",
    "OutboxState",
    "PainMoment",
    "PainReport",
    "Plan",
    "PlanDay",
    "PlanVersion",
    "Practice",
    "Prescription",
    "PrescriptionAlternative",
    "ProgressionRule",
    "Referral",
    "Restriction",
    "RestrictionKind",
    "Role",
    "SaidBy",
    "ScheduledSession",
    "ScheduledStatus",
    "Score",
    "SecondFactor",
    "ServiceScope",
    "ServiceToken",
    "ServiceTokenCoach",
    "Session",
    "SetKind",
    "SetSide",
    "SignInFailures",
    "SiteSide",
    "SwitchedOff",
    "TrainingStatus",
    "UrgencySignOff",
    "Webhook",
    "WebhookDelivery",
    "WebhookEvent",
    "id_digest",
]
