"""Who did what with a client's records, as the client and their coach may read it."""

import uuid

from django.db.models import OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from coaching.models import Account, Actor, AuditEvent, Client, DeviceToken, ServiceToken
from coaching.reads.clients import client_for


def audit_trail(actor: Actor, client_uid: uuid.UUID) -> QuerySet[AuditEvent]:
    """Every event about this client, with `who` and `device_name` where these still exist.

    What a service did bears its name and its maker's; what was done with a duplicate before it was merged
    into this client is in it. Raises NotFoundError.
    """
    client = client_for(actor, client_uid)
    who = Account.objects.filter(id=OuterRef("account_id")).values("name")
    device = DeviceToken.objects.filter(uid=OuterRef("device_id")).values("device_name")
    service = ServiceToken.objects.filter(uid=OuterRef("device_id")).values("name")
    keys = Client.objects.filter(merged_into=client).values_list("audit_key", flat=True)
    return AuditEvent.objects.filter(
        practice_id=actor.practice_id, subject_key__in=[client.audit_key, *keys]
    ).annotate(who=Subquery(who), device_name=Coalesce(Subquery(device), Subquery(service)))
