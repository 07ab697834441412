"""Who asks, and for whose records: two practices with a folder of records for each kind of stranger."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from knox.settings import CONSTANTS
from rest_framework.test import APIClient

from coaching.models import (
    Alert,
    Assignment,
    Client,
    Consent,
    DeviceToken,
    Exercise,
    JointStress,
    LoggedSet,
    Membership,
    PainReport,
    Plan,
    PlanVersion,
    Prescription,
    Referral,
    Restriction,
    ScheduledSession,
    ServiceToken,
    Session,
)
from coaching.operations.calendar_feeds import make_feed
from tests.conftest import token_for
from tests.factories import (
    NOW,
    AlertFactory,
    ClientFactory,
    ConsentFactory,
    ExerciseFactory,
    InjuryFactory,
    MembershipFactory,
    PracticeFactory,
    WebhookFactory,
)
from tests.plan_builders import actor_of, knee_lift, plan_by

TODAY = date(2026, 3, 2)
UNSIGNED = ("anonymous", "expired", "revoked", "malformed", "left", "archived")
ROLES = ("owner", "coach", "colleague", "self", "sibling", "far_coach", "far_owner")
OBJECTS = ("coachs", "colleagues", "elsewheres", "gone", "made_up")


@dataclass(frozen=True)
class Folder:
    """The ids of one client's records, and of what their coach has; every name is a part of an address."""

    client: Any
    newcomer: Any
    membership: Any
    device: Any
    webhook: Any
    service_token: Any
    injury: Any
    restriction: Any
    plan: Any
    prescription: Any
    assignment: Any
    scheduled_session: Any
    session: Any
    set: Any
    report: Any
    alert: Any
    flag: Any
    referral: Any
    code: str
    token: str
    number: int = 1
    joint: str = "knee"
    side: str = "left"
    purpose: str = "health_data"

    def ids(self) -> Iterable[str]:
        return (str(value) for value in vars(self).values() if value not in (1, "knee", "left"))


@dataclass(frozen=True)
class People:
    """Tokens by role and folders by object, with what some calls need besides."""

    tokens: dict[str, str | None]
    folders: dict[str, Folder]
    coach: Membership
    client: Client
    apis: dict[str, APIClient] = field(default_factory=dict)

    def api(self, role: str) -> APIClient:
        """One for each role, since making one loads every middleware anew."""
        if role not in self.apis:
            self.apis[role] = APIClient(raise_request_exception=False)
            token = self.tokens[role]
            if token is not None:
                self.apis[role].credentials(HTTP_AUTHORIZATION=token)
        return self.apis[role]

    def home(self, role: str) -> Folder:
        """The folder that is the role's own, for ids that are not the ones in question."""
        return self.folders[home_of(role)]


def home_of(role: str) -> str:
    of_role = {"colleague": "colleagues", "far_coach": "elsewheres", "far_owner": "elsewheres"}
    return of_role.get(role, "coachs")


def make_people() -> People:
    here, there = PracticeFactory(name="Harbour"), PracticeFactory(name="Hillside")
    lift = knee_lift()
    owner = MembershipFactory(practice=here, role="owner", account__name="Olga Owner")
    coach = MembershipFactory(practice=here, account__name="Carl Coach")
    colleague = MembershipFactory(practice=here, account__name="Cleo Colleague")
    leaver = MembershipFactory(practice=here, account__name="Lena Leaver")
    far_owner = MembershipFactory(practice=there, role="owner", account__name="Sten Stranger")
    far_coach = MembershipFactory(practice=there, account__name="Fay Far")
    client, sibling = (ClientFactory(coach=coach, name=name) for name in ("Mira Lift", "Sia Sibling"))
    gone = ClientFactory(coach=coach, name="Gero Gone")
    token_of_gone = token_for(gone)
    folders = {
        "coachs": folder_of(client, lift),
        "colleagues": folder_of(ClientFactory(coach=colleague, name="Noel Hinge"), lift),
        "elsewheres": folder_of(ClientFactory(coach=far_coach, name="Edda Press"), lift),
        "gone": _gone(folder_of(gone, lift), gone, leaver),
        "made_up": _made_up(),
    }
    ConsentFactory(client=sibling)
    signed_in = {"owner": owner, "coach": coach, "colleague": colleague, "self": client, "sibling": sibling}
    signed_in |= {"far_coach": far_coach, "far_owner": far_owner}
    tokens: dict[str, str | None] = {role: f"Bearer {token_for(who)}" for role, who in signed_in.items()}
    tokens |= _useless_tokens(coach, leaver) | {"archived": f"Bearer {token_of_gone}"}
    DeviceToken.objects.update(last_used_at=timezone.now())
    return People(tokens, folders, coach, client)


def _useless_tokens(coach: Membership, leaver: Membership) -> dict[str, str | None]:
    expired, revoked, left = token_for(coach), token_for(coach), token_for(leaver)
    device_with(expired).update(expiry=timezone.now() - timedelta(seconds=1))
    device_with(revoked).delete()
    return {
        "anonymous": None,
        "expired": f"Bearer {expired}",
        "revoked": f"Bearer {revoked}",
        "malformed": f"Bearer {revoked[:40]}\u00b5",
        "left": f"Bearer {left}",
    }


def device_with(token: str) -> QuerySet[DeviceToken]:
    return DeviceToken.objects.filter(token_key=token[: CONSTANTS.TOKEN_KEY_LENGTH])


def folder_of(client: Client, lift: Exercise) -> Folder:
    """One record of every kind, as small as the database allows."""
    coach, practice = client.coach, client.practice
    of_client = {"practice": practice, "client": client}
    ConsentFactory(client=client)
    referral_consent = Consent.objects.create(**of_client, purpose="referral", text_version="1", given_at=NOW)
    own = ExerciseFactory(practice=practice, code=f"own_lift_of_{client.id}")
    for exercise in (own, lift):
        JointStress.objects.create(
            exercise=exercise, **of_client, joint="knee", stress=1.0, reason="Invented"
        )
    JointStress.objects.create(exercise=own, practice=practice, joint="knee", stress=1.0, reason="Invented")
    injury = InjuryFactory(client=client)
    restriction = Restriction.objects.create(
        practice=practice, injury=injury, kind="limit", limit="No jumping", from_on=TODAY, said_by="coach"
    )
    plan = plan_by(coach, lift)
    scheduled = _scheduled(client, plan)
    session, logged = _session(client, lift)
    alert = AlertFactory(client=client)
    flag = AlertFactory(client=client, kind="red_flag", withdrawal_asked_at=NOW)
    referral = Referral.objects.create(
        **of_client, joint="knee", side="left", question="Any?", consent=referral_consent, until_on=TODAY,
        created_at=NOW,
    )  # fmt: skip
    return Folder(
        client=client.uid,
        newcomer=ConsentFactory(client__coach=coach, client__account=None).client.uid,
        membership=coach.uid,
        device=_device_of(coach),
        webhook=WebhookFactory(practice=practice).uid,
        service_token=_service_token(coach),
        injury=injury.uid,
        restriction=restriction.uid,
        plan=plan.uid,
        prescription=Prescription.objects.filter(block__day__version__plan=plan)[0].uid,
        assignment=scheduled.assignment.uid,
        scheduled_session=scheduled.uid,
        session=session.uid,
        set=logged.uid,
        report=_report(client).uid,
        alert=alert.uid,
        flag=flag.uid,
        referral=referral.uid,
        code=own.code,
        token=make_feed(actor=actor_of(coach), client_uid=client.uid, now=NOW).token,
    )


def _device_of(coach: Membership) -> uuid.UUID:
    return device_with(token_for(coach)).get().uid


def _service_token(coach: Membership) -> uuid.UUID:
    return ServiceToken.objects.create(
        practice=coach.practice, name="Any", scopes=["sheet:read"], token_digest=uuid.uuid4().hex,
        made_by=coach, created_at=NOW, expires_at=NOW + timedelta(days=30),
    ).uid  # fmt: skip


def _scheduled(client: Client, plan: Plan) -> ScheduledSession:
    version = PlanVersion.objects.get(plan=plan)
    of_client = {"practice": client.practice, "client": client}
    assignment = Assignment.objects.create(**of_client, plan_version=version, starts_on=TODAY, created_at=NOW)
    return ScheduledSession.objects.create(
        **of_client, assignment=assignment, plan_day=version.days.all()[0], due_on=date(2026, 3, 5),
        prescribed_sets=2, prescribed_reps=12,
    )  # fmt: skip


def _session(client: Client, lift: Exercise) -> tuple[Session, LoggedSet]:
    session = Session.objects.create(
        practice=client.practice, client=client, performed_at=NOW, zone="Europe/Berlin", performed_on=TODAY,
        content_hash="v1:any", received_at=NOW,
    )  # fmt: skip
    logged = LoggedSet.objects.create(
        practice=client.practice, session=session, exercise=lift, position=1, kind="work", side="both",
        reps=5, ended_by="target", load_thousandths=100_000, is_to_confirm=True,
    )  # fmt: skip
    return session, logged


def _report(client: Client) -> PainReport:
    return PainReport.objects.create(
        practice=client.practice, client=client, joint="knee", side="left", moment="during", pain=2,
        reported_at=NOW, felt_on=TODAY, content_hash="v1:any", received_at=NOW,
    )  # fmt: skip


def _gone(folder: Folder, client: Client, leaver: Membership) -> Folder:
    """A client who was archived, with a plan, a session, a device and a webhook that were there once."""
    client.archived_at = NOW
    client.save()
    leaver.left_at = NOW
    leaver.save()
    Plan.objects.filter(uid=folder.plan).update(archived_at=NOW)
    LoggedSet.objects.filter(uid=folder.set).delete()
    Session.objects.filter(uid=folder.session).update(deleted_at=NOW)
    DeviceToken.objects.filter(uid=folder.device).delete()
    ServiceToken.objects.filter(uid=folder.service_token).update(revoked_at=NOW)
    hook = WebhookFactory(practice=client.practice, removed_at=NOW, is_active=False)
    Alert.objects.filter(uid=folder.alert).update(status="closed", closing="by_coach", closed_on=TODAY)
    Client.objects.filter(uid=folder.newcomer).update(archived_at=NOW)
    return replace(folder, membership=leaver.uid, webhook=hook.uid)


def _made_up() -> Folder:
    names = [
        name for name in Folder.__dataclass_fields__ if name not in ("number", "joint", "side", "purpose")
    ]
    ids: dict[str, Any] = {name: uuid.uuid4() for name in names}
    return Folder(**ids | {"code": "made_up_lift", "token": "fbrcal_" + "x" * 43})
