"""Every address that the URL resolver knows, filled with ids of a practice that has one of each."""

import re
import uuid
from datetime import date
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from api.endpoint import Endpoint
from api.sign_in import PublicEndpoint
from coaching.models import (
    AuditEvent,
    Clearance,
    Consent,
    Injury,
    InterventionNote,
    Membership,
    Night,
    NightStatus,
    Referral,
    Restriction,
    Score,
    ServiceScope,
    ServiceToken,
    Session,
)
from coaching.operations.service_tokens import ServiceTokenContent, make_service_token
from tests.api.test_hostile_inputs import World
from tests.bodies import pain_body, session_body
from tests.factories import NOW, ConsentFactory
from tests.plan_builders import actor_of

METHODS = ("get", "post", "put", "patch", "delete")
FIRST_DAY = date(2026, 3, 1)
SITE = {"joint": "knee", "side": "left"}


def every_route(*, is_public: bool = False) -> list[tuple[str, str]]:
    """(method, route) of every method of every view for those who are signed in, or for anybody."""
    found = []

    def walk(patterns: Any, before: str) -> None:
        for each in patterns:
            route = before + str(each.pattern)
            if isinstance(each, URLResolver):
                walk(each.url_patterns, route)
            elif isinstance(each, URLPattern):
                view = getattr(each.callback, "cls", object)
                if issubclass(view, Endpoint) and issubclass(view, PublicEndpoint) == is_public:
                    found.extend((method, route) for method in METHODS if hasattr(view, method))

    walk(get_resolver().url_patterns, "")
    return sorted(found)


def service_token(owner: Membership, scopes: list[ServiceScope], **changes: Any) -> tuple[ServiceToken, str]:
    fields = {
        "name": "Invented dashboard",
        "scopes": tuple(scopes),
        "expires_at": NOW.replace(month=9),
    }
    content = ServiceTokenContent(**fields | changes)
    made = make_service_token(actor=actor_of(owner), content=content, now=NOW)
    return made.row, made.token


class Filled:
    """A practice in which the client of the cast has one of everything that an address can name."""

    def __init__(self, cast: Any, signed_in: Any) -> None:
        self.cast, self.sign = cast, signed_in
        self.world = World(cast, signed_in)
        self.ids = self._fill()

    def address(self, route: str) -> str:
        return "/" + re.sub(r"<\w+:(\w+)>", lambda found: str(self.ids[found[1]]), route)

    def read(self, route: str) -> str:
        """The address with the query that a GET of it cannot do without."""
        window = "?from=2026-03-01&until=2026-03-14" if route.endswith("/scheduled-sessions") else ""
        swaps = f"?client={self.cast.client.uid}&joint=knee&side=left" if route.endswith("/swaps") else ""
        return self.address(route) + window + swaps

    def _fill(self) -> dict[str, Any]:
        cast, world = self.cast, self.world
        of_client = {"practice": cast.practice, "client": cast.client}
        injury = Injury.objects.create(
            **of_client, **SITE, said="Sore on stairs.", said_by="clinician", created_at=NOW
        )
        restriction = Restriction.objects.create(
            practice=cast.practice,
            injury=injury,
            kind="limit",
            limit="No jumping",
            from_on=FIRST_DAY,
            said_by="clinician",
        )
        self._record_health(of_client)
        report = uuid.uuid4()
        own = self.sign(cast.client)
        for address, body in (
            (f"sessions/{uuid.uuid4()}", session_body()),
            (f"pain-reports/{report}", pain_body()),
        ):
            assert own.put(f"/api/v1/{address}", body, format="json").status_code == 201
        session = Session.objects.get()
        world.__dict__["session"] = str(session.uid)
        return {
            "client_id": cast.client.uid,
            "injury_id": injury.uid,
            "restriction_id": restriction.uid,
            "alert_id": world.alert.uid,
            "session_id": session.uid,
            "set_id": session.sets.get().uid,
            "report_id": report,
            "plan_id": world.plan.uid,
            "number": 1,
            "scheduled_session_id": world.scheduled.uid,
            "assignment_id": world.scheduled.assignment.uid,
            "membership_id": cast.coach.uid,
            "webhook_id": world.webhook.uid,
            "referral_id": Referral.objects.get().uid,
            "token_id": service_token(cast.owner, [ServiceScope.CLIENTS_READ])[0].uid,
            "device_id": uuid.uuid4(),
            "code": "back_squat",
            "joint": "knee",
            "side": "left",
            "purpose": "referral",
        }

    def _record_health(self, of_client: dict[str, Any]) -> None:
        cast = self.cast
        Clearance.objects.create(
            **of_client,
            **SITE,
            clinician_name="Dana Doctor",
            clinician_profession="surgeon",
            cleared_on=FIRST_DAY,
            recorded_at=NOW,
        )
        for is_shared in (True, False):
            InterventionNote.objects.create(
                **of_client,
                **SITE,
                noted_on=FIRST_DAY,
                changed="Depth" if is_shared else "PRIVATE-NOTE",
                is_shared=is_shared,
                created_at=NOW,
            )
        consent: Consent = ConsentFactory(client=cast.client, purpose="referral")
        Referral.objects.create(
            **of_client, **SITE, question="What now?", consent=consent, until_on=FIRST_DAY, created_at=NOW
        )
        Score.objects.create(**of_client, night_on=FIRST_DAY, method="test", scored_at=NOW)
        Night.objects.create(
            practice=cast.practice,
            night_on=FIRST_DAY,
            zone="Europe/Berlin",
            status=NightStatus.DONE,
            planned_at=NOW,
        )
        AuditEvent.objects.create(
            practice=cast.practice,
            at=NOW,
            subject_key=cast.client.audit_key,
            action="read",
            record_kind="client",
        )
        cast.client.private_note = "PRIVATE-NOTE"
        cast.client.save()
