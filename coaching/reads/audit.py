"""Who did what with a client's records, as the client, their coach and the operator may read it."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Case, CharField, F, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from coaching.compute.local_days import local_day_bounds
from coaching.models import Account, Actor, AuditEvent, Client, DeviceToken, ServiceToken
from coaching.models.base import ListQuerySet
from coaching.reads.clients import merged_into

# Written for colleagues as well: that one was written or read is the client's affair, which one is not.
COLLEAGUES_OWN = ("intervention_note",)


@dataclass(frozen=True, slots=True)
class TrailFilter:
    """Days on the client's calendar, both inclusive, and one kind of record."""

    from_on: date | None = None
    until_on: date | None = None
    kind: str | None = None


def audit_trail(actor: Actor, client: Client, wanted: TrailFilter) -> ListQuerySet[AuditEvent]:
    """Events about this client, with `who`, `device_name` and `shown_id` as far as the actor may see them.

    What was done with a duplicate before it was merged into this client is among them.
    """
    keys = [client.audit_key, *merged_into(client).values_list("audit_key", flat=True)]
    events = AuditEvent.objects.filter(practice_id=actor.practice_id, subject_key__in=keys)
    if wanted.from_on is not None:
        events = events.filter(at__gte=local_day_bounds(client.zone, wanted.from_on).starts_at)
    if wanted.until_on is not None:
        events = events.filter(at__lt=local_day_bounds(client.zone, wanted.until_on).ends_at)
    if wanted.kind is not None:
        events = events.filter(record_kind=wanted.kind)
    who = Account.objects.filter(id=OuterRef("account_id")).values("name")
    return events.annotate(
        who=Subquery(who),
        device_name=Coalesce(
            Subquery(_devices_named_to(actor).values("device_name")),
            Subquery(ServiceToken.objects.filter(uid=OuterRef("device_id")).values("name")),
        ),
        shown_id=_id_shown_to(actor),
    )


def _devices_named_to(actor: Actor) -> QuerySet[DeviceToken]:
    """What somebody calls their telephone is their own affair, and the owner's, who looks into a breach."""
    devices: QuerySet[DeviceToken] = DeviceToken.objects.filter(uid=OuterRef("device_id"))
    return devices if actor.is_owner else devices.filter(user=actor.account_id)


def _id_shown_to(actor: Actor) -> Case | F:
    if actor.is_coach:
        return F("record_id")
    return Case(
        When(Q(record_kind__in=COLLEAGUES_OWN), then=Value("")),
        default=F("record_id"),
        output_field=CharField(),
    )
