"""Looking at a plan with one client in mind: refused like an assignment, stored nowhere, on the trail."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime

from coaching.errors import ForbiddenError, GoneError, InvalidError, NotFoundError
from coaching.models import Actor, Membership, Plan, PlanVersion
from coaching.operations.assignment_checks import check_no_red_flag
from coaching.operations.audit import record_reads
from coaching.reads.clients import client_for, local_today
from coaching.reads.laid_out import lay_out
from coaching.reads.plan_preview import PlanPreview, plan_preview
from coaching.reads.plans import plan_for, plan_version


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewQuestion:
    """Which version for whom; None takes the current version, today, and no other plan."""

    client_uid: uuid.UUID
    version: int | None = None
    starts_on: date | None = None
    compare_with: uuid.UUID | None = None


def read_plan_preview(
    *, actor: Actor, plan_uid: uuid.UUID, question: PreviewQuestion, now: datetime
) -> PlanPreview:
    """What the plan would ask of the client. Raises NotFoundError, ForbiddenError, InvalidError, GoneError.

    Raises ConflictError while a red flag of the client stands: then no plan is the coach's to choose.
    """
    plan = plan_for(actor, plan_uid)
    client = client_for(actor, question.client_uid)
    if actor.membership_id is None:
        raise ForbiddenError("Only a coach looks at a plan with a client in mind.")
    version = _version(plan, question.version)
    other = _other(actor, question.compare_with)
    today = local_today(client, now)
    starts_on = question.starts_on or today
    if not lay_out(version, starts_on):
        raise InvalidError.at("starts_on", "nothing_left", "No day of the plan is left in its weeks.")
    if client.archived_at is not None:
        raise GoneError("This client has left the practice.")
    record_reads(actor=actor, subject_keys=[client.audit_key], record_kind="plan_preview", now=now)
    check_no_red_flag(client)
    return plan_preview(
        client=client,
        coach=Membership.objects.get(id=actor.membership_id),
        version=version,
        compare_with=other,
        starts_on=starts_on,
        today=today,
    )


def _version(plan: Plan, number: int | None) -> PlanVersion:
    try:
        return plan_version(plan, plan.version if number is None else number)
    except NotFoundError as error:
        raise InvalidError.at("version", "unknown_version", error.detail) from None


def _other(actor: Actor, plan_uid: uuid.UUID | None) -> PlanVersion | None:
    if plan_uid is None:
        return None
    try:
        other = plan_for(actor, plan_uid)
    except NotFoundError as error:
        raise InvalidError.at("compare_with", "unknown_plan", error.detail) from None
    return plan_version(other, other.version)
