from coaching.models.account import Account, DeviceToken, SignInFailures
from coaching.models.actor import Actor
from coaching.models.alert import PAIN_KINDS, Alert, AlertKind, AlertStatus, Closing
from coaching.models.audit import AuditEvent
from coaching.models.base import MIDLINE_JOINTS, Joint, SiteSide
from coaching.models.client import BodyMass, Client, Consent, ConsentPurpose, TrainingStatus
from coaching.models.exercise import (
    STRESS_LEVELS,
    WHOLE_LOADS,
    Exercise,
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
from coaching.models.lease import Lease
from coaching.models.mail import MailKind, MailRow, MailState
from coaching.models.membership import Invitation, Membership, Role
from coaching.models.night import Night, NightClient, NightClientState, NightStatus, Score
from coaching.models.plan import (
    Assignment,
    Block,
    BlockKind,
    EffortTarget,
    LoadRule,
    Plan,
    PlanDay,
    PlanVersion,
    Prescription,
    ScheduledSession,
    ScheduledStatus,
    SetSide,
)
from coaching.models.practice import Practice
from coaching.models.rollup import JointDay, LiftDay
from coaching.models.session import EndedBy, LoadUnit, LoggedSet, PainMoment, PainReport, Session, SetKind
from coaching.models.urgency import UrgencySignOff

__all__ = [
    "MIDLINE_JOINTS",
    "PAIN_KINDS",
    "STRESS_LEVELS",
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
    "Clearance",
    "Client",
    "Closing",
    "Consent",
    "ConsentPurpose",
    "DeviceToken",
    "EffortTarget",
    "EndedBy",
    "Exercise",
    "Injury",
    "InjuryStatus",
    "InterventionNote",
    "Invitation",
    "Joint",
    "JointDay",
    "JointStress",
    "Lease",
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
    "PainMoment",
    "PainReport",
    "Plan",
    "PlanDay",
    "PlanVersion",
    "Practice",
    "Prescription",
    "Restriction",
    "RestrictionKind",
    "Role",
    "SaidBy",
    "ScheduledSession",
    "ScheduledStatus",
    "Score",
    "Session",
    "SetKind",
    "SetSide",
    "SignInFailures",
    "SiteSide",
    "TrainingStatus",
    "UrgencySignOff",
]
