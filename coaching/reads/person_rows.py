"""A person's rows as an archive tells them: which kinds there are, and each row as plain JSON.

A row has its own columns by name. Whatever it points at is told by the id that the world sees (`uid`, an
exercise's code, a plan version's plan and number), so that another database can find it again.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Q, QuerySet

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
    Exercise,
    ExerciseAlternative,
    Injury,
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
    Session,
    WebhookDelivery,
)
from coaching.models.person import rows_of

Plain = dict[str, Any]
Rows = QuerySet[Any]
READ_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Kind:
    """One file of an archive: its table, how its rows are found, and which columns stay behind."""

    name: str
    model: type[models.Model]
    left_out: frozenset[str] = frozenset()
    find: Callable[[Client], Rows] | None = None
    is_brought_in: bool = True

    def rows(self, client: Client) -> Rows:
        found = self.find(client) if self.find else rows_of(self.model, client)
        return found.order_by("pk")

    @property
    def fields(self) -> "list[models.Field[Any, Any]]":
        """The columns that are told, in the order of the model."""
        return [
            field
            for field in self.model._meta.concrete_fields
            if field.name not in self.left_out and field.name not in NEVER_TOLD
        ]

    @property
    def columns(self) -> list[str]:
        return [field.name for field in self.fields if not is_whose(self, field)]


# Keys of this database, and whose the row is, which the archive says once.
NEVER_TOLD = frozenset({"id", "practice"})


def _versions(client: Client) -> Rows:
    """The plan versions that were given to the client, and those that their sets answer."""
    given = Q(assignments__client=client)
    answered = Q(
        id__in=LoggedSet.objects.filter(session__client=client, prescription__isnull=False).values(
            "prescription__block__day__version"
        )
    )
    return PlanVersion.objects.filter(given | answered).distinct()


def _exercises(client: Client) -> Rows:
    """Whatever exercise the archive names anywhere."""
    within = {"block__day__version__in": _versions(client).values("id")}
    prescribed = Prescription.objects.filter(**within)
    named: list[Rows] = [
        LoggedSet.objects.filter(session__client=client),
        prescribed,
        PrescriptionAlternative.objects.filter(prescription__in=prescribed),
        JointStress.objects.filter(client=client),
        Restriction.objects.filter(injury__client=client, exercise__isnull=False),
    ]
    wanted = Q()
    for rows in named:
        wanted |= Q(id__in=rows.order_by().values("exercise"))
    return Exercise.objects.filter(wanted)


def _in_versions(model: type[models.Model], way: str) -> Callable[[Client], Rows]:
    return lambda client: model._default_manager.filter(**{f"{way}__in": _versions(client).values("id")})


def _of_exercises(model: type[models.Model], **only: Any) -> Callable[[Client], Rows]:
    """Details of a practice's own exercises, which another practice does not know."""
    own = {"exercise__practice__isnull": False} | only
    return lambda client: model._default_manager.filter(exercise__in=_exercises(client).values("id"), **own)


def _account(client: Client) -> Rows:
    return Account.objects.filter(clients=client)


def _mails(client: Client) -> Rows:
    address = client.account.email if client.account else ""
    return MailRow.objects.filter(practice_id=client.practice_id, recipient__iexact=address)


def _trail(client: Client) -> Rows:
    return AuditEvent.objects.filter(practice_id=client.practice_id, subject_key=client.audit_key)


SECRETS = frozenset({"digest", "token_digest", "token_key", "password", "salt"})
OF_HERE = frozenset({"account", "coach", "audit_key", "dirty_from_on"})

# In the order in which they are brought in: whoever is pointed at comes first.
KINDS = (
    Kind("client", Client, OF_HERE),
    Kind("exercises", Exercise, find=_exercises),
    Kind("muscle_roles", MuscleRole, find=_of_exercises(MuscleRole)),
    Kind("exercise_stresses", JointStress, find=_of_exercises(JointStress, client__isnull=True)),
    Kind("body_masses", BodyMass),
    Kind("consents", Consent),
    Kind("joint_stresses", JointStress),
    Kind("injuries", Injury),
    Kind("restrictions", Restriction),
    Kind("clearances", Clearance),
    Kind("intervention_notes", InterventionNote),
    Kind("referrals", Referral),
    Kind("plans", Plan, find=lambda client: Plan.objects.filter(versions__in=_versions(client)).distinct()),
    Kind("plan_versions", PlanVersion, find=_versions),
    Kind("plan_days", PlanDay, find=_in_versions(PlanDay, "version")),
    Kind("blocks", Block, find=_in_versions(Block, "day__version")),
    Kind("prescriptions", Prescription, find=_in_versions(Prescription, "block__day__version")),
    Kind(
        "prescription_alternatives",
        PrescriptionAlternative,
        find=_in_versions(PrescriptionAlternative, "prescription__block__day__version"),
    ),
    Kind("assignments", Assignment),
    Kind("scheduled_sessions", ScheduledSession),
    Kind("sessions", Session),
    Kind("logged_sets", LoggedSet),
    Kind("pain_reports", PainReport),
    Kind("alerts", Alert),
    Kind("scores", Score),
    Kind("account", Account, SECRETS, _account, is_brought_in=False),
    Kind("devices", DeviceToken, SECRETS | {"user", "client", "membership"}, is_brought_in=False),
    Kind("invitations", Invitation, SECRETS | {"client"}, is_brought_in=False),
    Kind("calendar_feeds", CalendarFeed, SECRETS | {"client"}, is_brought_in=False),
    Kind("mails", MailRow, frozenset({"payload", "key"}), _mails, is_brought_in=False),
    Kind("trail", AuditEvent, frozenset({"subject_key"}), _trail, is_brought_in=False),
)
NOTES_OF_COACHES = frozenset({"private_note", "close_note"})
KIND_NAMED = {kind.name: kind for kind in KINDS}
BROUGHT_IN = tuple(kind for kind in KINDS if kind.is_brought_in)

# What holds something about a person and stands in no archive, with the reason.
NOT_TOLD: dict[type[models.Model], str] = {
    JointDay: "made from sessions and pain reports, and made again where they are brought in",
    LiftDay: "made from sessions, and made again where they are brought in",
    NightClient: "which turn a client had in a night; what it found stands in the scores",
    WebhookDelivery: "that an address was told of an alert, by its id",
    Change: "in which order records changed; the records are told",
    SecondFactor: "a secret of the account",
    Night: "of a practice, and of nobody in it",
    Practice: "of nobody in it",
    Membership: "coaches, of whom an archive of a client says no more than an account's id",
    ExerciseAlternative: "of the catalogue",
}
# Who somebody else is: told by id, and found again only where they are known.
POINTS_AT_PEOPLE = frozenset(
    {"recorded_by", "acknowledged_by", "author", "referred_by", "assigned_by", "made_by", "invited_by"}
)


def plain_rows(kind: Kind, client: Client, *, for_client: bool = False) -> Iterator[Plain]:
    """The rows of a kind, some hundred at once; for the client without what coaches noted for themselves."""
    rows = with_references(kind, kind.rows(client))
    if for_client and kind.model is InterventionNote:
        rows = rows.filter(is_shared=True)
    kept_from = NOTES_OF_COACHES if for_client else frozenset()
    for row in rows.iterator(chunk_size=READ_AT_ONCE):
        plain = plain_row(kind, row)
        yield plain | {name: "" for name in kept_from if name in plain}


def with_references(kind: Kind, rows: Rows) -> Rows:
    """The rows with all that has to be read along for their references to be told."""
    ways = [
        f"{field.name}{WAY_ON.get(field.related_model, '')}"
        for field in kind.fields
        if field.is_relation and not is_whose(kind, field)
    ]
    return rows.select_related(*ways) if ways else rows


def plain_row(kind: Kind, row: Any) -> Plain:
    return {field.name: _value(row, field) for field in kind.fields if not is_whose(kind, field)}


def is_whose(kind: Kind, field: "models.Field[Any, Any]") -> bool:
    """It says whose the row is, and in an archive all rows are one person's."""
    return field.related_model is Client and kind.model is not Client


WAY_ON: dict[type[models.Model] | None, str] = {
    PlanVersion: "__plan",
    PlanDay: "__version__plan",
    Block: "__day__version__plan",
}


def _value(row: Any, field: "models.Field[Any, Any]") -> Any:
    if field.is_relation:
        return reference(getattr(row, field.name)) if getattr(row, field.attname) is not None else None
    return plain_value(getattr(row, field.attname))


def plain_value(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


def reference(row: Any) -> Any:
    """How the world finds a row again."""
    match row:
        case Exercise():
            return row.code
        case Account():
            return str(row.id)
        case PlanVersion():
            return [str(row.plan.uid), row.number]
        case PlanDay():
            return [*reference(row.version), row.position]
        case Block():
            return [*reference(row.day), row.position]
    return str(row.uid)
