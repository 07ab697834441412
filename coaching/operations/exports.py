"""Taking a client's records, or those of a whole practice, out as files, with the reading on the trail."""

import hashlib
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from coaching.errors import ForbiddenError
from coaching.models import Actor, Client, Plan
from coaching.operations.audit import record_change, record_reads
from coaching.reads import exports
from coaching.reads.clients import client_for
from coaching.reads.plans import plan_for


@dataclass(frozen=True, slots=True)
class Listed:
    """What a file will hold: the keys of its records in their order, and a digest of what they hold.

    The records themselves are read while the file is written, some at a time.
    """

    keys: tuple[int, ...]
    digest: str


def list_sessions(*, actor: Actor, client_uid: uuid.UUID | None, now: datetime) -> Listed:
    """The kept sessions of a client, or of everybody for an owner. Raises NotFoundError, ForbiddenError."""
    clients = _clients(actor, client_uid, "sessions_file", now)
    return _listed(exports.session_facts(clients))


def list_pain_reports(*, actor: Actor, client_uid: uuid.UUID | None, now: datetime) -> Listed:
    """The pain reports of a client, or of everybody for an owner. Raises NotFoundError, ForbiddenError."""
    clients = _clients(actor, client_uid, "pain_reports_file", now)
    return _listed(exports.pain_report_facts(clients))


def list_plan_versions(*, actor: Actor, plan_uid: uuid.UUID | None, now: datetime) -> Listed:
    """Every version of a plan, or of all plans in use. Raises NotFoundError, ForbiddenError."""
    if plan_uid is None and not actor.is_owner:
        raise ForbiddenError("Only an owner takes out what the whole practice has.")
    plans = Plan.objects.filter(practice_id=actor.practice_id, archived_at__isnull=True)
    if plan_uid is not None:
        plans = Plan.objects.filter(id=plan_for(actor, plan_uid).id)
    record_change(
        actor=actor,
        practice_id=actor.practice_id,
        subject_key=None,
        action="export",
        record_kind="plans_file",
        record_id="" if plan_uid is None else str(plan_uid),
        now=now,
    )
    return _listed(exports.plan_version_facts(plans))


def _clients(actor: Actor, client_uid: uuid.UUID | None, kind: str, now: datetime) -> list[Client]:
    if client_uid is not None:
        clients = [client_for(actor, client_uid)]
    elif actor.is_owner:
        clients = list(Client.objects.visible_to(actor).processed())
    else:
        raise ForbiddenError("Only an owner takes out what the whole practice has.")
    keys = [client.audit_key for client in clients]
    record_reads(actor=actor, subject_keys=keys, record_kind=kind, now=now)
    return clients


def _listed(facts: Iterator[tuple[int, str]]) -> Listed:
    digest = hashlib.sha256()
    keys: list[int] = []
    for key, fact in facts:
        keys.append(key)
        digest.update(f"{fact}\n".encode())
    return Listed(tuple(keys), digest.hexdigest()[:32])
