"""The changes feed: what an app that was away must know, from a mark on, page by page."""

from typing import Any

from django.core.signing import BadSignature, Signer
from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from api.alerts import AlertForClientOut, AlertOut
from api.assignments import AssignmentOut, ScheduledSessionOut
from api.clearances import ClearanceOut, NoteOut
from api.clients import ClientOut, OwnRecordOut
from api.endpoint import Endpoint
from api.fields import IdField, StrictSerializer, TextField
from api.injuries import InjuryOut, RestrictionOut
from api.listing import DigitsField, link_header
from api.pain_fields import PainReportOut
from api.problems import Problem
from api.sessions import SessionOut
from coaching.models import Actor, ChangeKind
from coaching.operations.change_reads import read_changes
from coaching.reads.changes import ChangedRecord

USUAL_PAGE = 100
LARGEST_PAGE = 200

Shape = type[serializers.Serializer[Any]]
# A kind of record that apps keep is shown as its own address shows it.
SHAPES: dict[ChangeKind, Shape] = {
    ChangeKind.CLIENT: ClientOut,
    ChangeKind.INJURY: InjuryOut,
    ChangeKind.RESTRICTION: RestrictionOut,
    ChangeKind.CLEARANCE: ClearanceOut,
    ChangeKind.INTERVENTION_NOTE: NoteOut,
    ChangeKind.ASSIGNMENT: AssignmentOut,
    ChangeKind.SCHEDULED_SESSION: ScheduledSessionOut,
    ChangeKind.SESSION: SessionOut,
    ChangeKind.PAIN_REPORT: PainReportOut,
    ChangeKind.ALERT: AlertOut,
}
SHAPES_FOR_SERVICES: dict[ChangeKind, Shape] = SHAPES | {ChangeKind.CLIENT: OwnRecordOut}
SHAPES_FOR_CLIENTS: dict[ChangeKind, Shape] = SHAPES_FOR_SERVICES | {ChangeKind.ALERT: AlertForClientOut}


class ChangesQuery(StrictSerializer):
    since = TextField(
        max_length=100,
        required=False,
        help_text="The mark of the last answer; without it, from the beginning.",
    )
    client = IdField(required=False, help_text="One client only; its marks are good for this client alone.")
    page_size = DigitsField(min_value=1, max_value=LARGEST_PAGE, default=USUAL_PAGE)


ALL_SHAPES: list[Shape] = [*SHAPES.values(), OwnRecordOut, AlertForClientOut]


# Not oneOf: what a client sees is a part of what a coach sees, so that a record may fit two shapes.
@extend_schema_field({"anyOf": [{"$ref": f"#/components/schemas/{shape.__name__}"} for shape in ALL_SHAPES]})
class RecordField(serializers.DictField):
    """A record in the shape of its own address."""


class ChangeOut(serializers.Serializer[Any]):
    """The last change of one record."""

    kind = serializers.ChoiceField(choices=ChangeKind.values)
    id = serializers.UUIDField()
    client = serializers.UUIDField(help_text="Whose record it is.")
    version = serializers.IntegerField(
        allow_null=True,
        help_text=(
            "For If-Match; null for kinds without one. What is only derived changes without a new version, "
            "so take the record as it comes."
        ),
    )
    changed_at = serializers.DateTimeField()
    is_deleted = serializers.BooleanField(help_text="A tombstone: remove what you hold under this id.")
    record = RecordField(allow_null=True, help_text="As its own address shows it to you; null when deleted.")


class ChangesOut(serializers.Serializer[Any]):
    items = ChangeOut(many=True)
    mark = serializers.CharField(help_text="Send it as since; keep it once the items are stored.")
    has_more = serializers.BooleanField(help_text="Ask again at once with the new mark.")


class ChangesView(Endpoint):
    query = ChangesQuery

    @extend_schema(operation_id="change_list", responses={200: ChangesOut})
    def get(self, request: Request) -> Response:
        """What changed since a mark: a client's own records, or those of every client a coach may see.

        Each record comes once, as it stands now, however often it changed; deleted ones as tombstones. A
        record may come again unchanged: store it by kind and id. Pain reports of a session come within it,
        even one that had come by itself before: keep one of each id. Who gains access to a client gets all
        their records; who loses it gets no tombstones: drop the clients that GET /clients no longer lists.
        A mark that is not accepted (400) means to start without one. What is committed only seconds from
        now may follow in the next call.
        """
        query = self.asked
        signer = mark_signer(self.actor, str(query.get("client", "")))
        page = read_changes(
            actor=self.actor,
            client_uid=query.get("client"),
            since=place_of(signer, query.get("since")),
            page_size=query["page_size"],
            now=timezone.now(),
        )
        items = [change_body(self.actor, item) for item in page.items]
        mark = signer.sign(str(page.upto))
        links = feed_links(request, mark if page.has_more else None)
        body = {"items": items, "mark": mark, "has_more": page.has_more}
        return Response(body, headers={"Link": link_header(links)})


def feed_links(request: Request, next_mark: str | None) -> dict[str, str]:
    """RFC 8288: where the feed begins, and where it goes on; it is not read backwards."""
    here = request.build_absolute_uri()
    links = {"first": remove_query_param(here, "since")}
    return links if next_mark is None else links | {"next": replace_query_param(here, "since", next_mark)}


def mark_signer(actor: Actor, named: str) -> Signer:
    """Marks are good for who asked and for what was asked: another's would leave records out."""
    return Signer(salt=f"changes:{actor.own_name}:{named}", sep=".")


def shapes_for(actor: Actor) -> dict[ChangeKind, Shape]:
    if actor.is_coach:
        return SHAPES
    return SHAPES_FOR_SERVICES if actor.is_service else SHAPES_FOR_CLIENTS


def place_of(signer: Signer, mark: str | None) -> int:
    if mark is None:
        return 0
    try:
        return int(signer.unsign(mark))
    except BadSignature:
        raise Problem("bad_mark", 400, "This mark is not one of yours. Start again without one.") from None


def change_body(actor: Actor, item: ChangedRecord) -> dict[str, Any]:
    change, shapes = item.change, shapes_for(actor)
    is_deleted = item.record is None
    versioned = (
        item.record.session if change.kind == ChangeKind.SCHEDULED_SESSION and item.record else item.record
    )
    return {
        "kind": change.kind,
        "id": str(change.record_uid),
        "client": str(item.client.uid),
        "version": getattr(versioned, "version", None),
        "changed_at": serializers.DateTimeField().to_representation(change.at),
        "is_deleted": is_deleted,
        "record": None if is_deleted else shapes[ChangeKind(change.kind)](item.record).data,
    }


urlpatterns = [path("changes", ChangesView.as_view())]
