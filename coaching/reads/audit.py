"""Who did what with a client's records, as the client and their coach may read it."""

import uuid

from django.db.models import OuterRef, Subquery

from coaching.models import Account, Actor, AuditEvent, DeviceToken
from coaching.models.base import ListQuerySet
from coaching.reads.clients import client_for


def audit_trail(actor: Actor, client_uid: uuid.UUID) -> ListQuerySet[AuditEvent]:
    """Every event about this client, with `who` and `device_name` where these still exist.

    Raises NotFoundError.
    """
    client = client_for(actor, client_uid)
    who = Account.objects.filter(id=OuterRef("account_id")).values("name")
    device = DeviceToken.objects.filter(uid=OuterRef("device_id")).values("device_name")
    return AuditEvent.objects.filter(practice_id=actor.practice_id, subject_key=client.audit_key).annotate(
        who=Subquery(who), device_name=Subquery(device)
    )
