"""A small practice with a row of every kind, and where its ids belong in a request."""

import random
import uuid
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.apps import apps
from rest_framework.test import APIClient

from coaching.models import Exercise, MailRow, Plan, ScheduledSession
from tests.api.test_hostile_inputs import ALL_ROUTES, World
from tests.bodies import pain_body, session_body, set_body
from tests.fuzz.ledger import Body
from tests.plan_builders import knee_lift, plan_by

MONDAY = date(2026, 3, 2)
TODAY = "2026-03-16"
ACTORS = ["owner", "coach", "client", "stranger", "nobody"]
# Query parameters take a value that is meant, rather than any text of the right length.
MEANT = {
    "from": ["2026-03-02", TODAY],
    "until": ["2026-03-20", TODAY],
    "on": ["2026-03-10", TODAY],
    "page_size": ["1", "5", "200"],
    "weeks": ["1", "4", "12"],
    "purpose": ["health_data", "referral"],
    "number": ["1", "2"],
}
# A name in an address or a body stands for rows of a model, by their own or another column.
ROWS_OF = {
    "client": "client", "client_id": "client", "coach": "membership", "membership_id": "membership",
    "hand_over_to": "membership", "cover": "membership", "alert_id": "alert", "assignment_id": "assignment",
    "injury_id": "injury", "injury": "injury", "restriction_id": "restriction", "referral_id": "referral",
    "scheduled_session": "scheduledsession", "scheduled_session_id": "scheduledsession",
    "device_id": "devicetoken", "report_id": "painreport", "plan_id": "plan", "plan": "plan",
    "compare_with": "plan", "session": "session", "session_id": "session", "set_id": "loggedset",
    "prescription": "prescription", "practice": "practice",
}  # fmt: skip


@dataclass
class Known:
    """The rows of a practice as the world names them, and who may ask."""

    tokens: dict[str, str]
    values: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    versions: dict[str, int] = field(default_factory=dict)
    bodies: dict[str, Body] = field(default_factory=dict)

    def value(self, name: str, chance: random.Random) -> str | None:
        known = MEANT.get(name) or self.values.get(ROWS_OF.get(name, name))
        return chance.choice(known) if known else None


def build_practice(cast: Any, signed_in: Callable[[Any], APIClient], run_night: Callable[[], None]) -> Known:
    """Two weeks of a client's life over HTTP, at the moment that the clock shows."""
    coach, app, owner = signed_in(cast.coach), signed_in(cast.client), signed_in(cast.owner)
    base = f"/api/v1/clients/{cast.client.uid}"
    told = Known(tokens={})
    plan_by(cast.coach, knee_lift())
    plan = coach.get("/api/v1/plans").json()["items"][0]["id"]
    posted(
        coach, f"{base}/assignments", {"plan": plan, "starts_on": str(MONDAY), "override_reason": "Agreed"}
    )
    train(app, told)
    one_of_each(coach, owner, base, told)
    run_night()
    token = posted(coach, f"{base}/calendar-feed", None)["url"].rsplit("/", 1)[-1].removesuffix(".ics")
    told.values["token"] = [token]
    collect(told)
    for who, api in {"owner": owner, "coach": coach, "client": app}.items():
        told.values["since"].append(api.get("/api/v1/changes?page_size=5").json()["mark"])
        told.tokens[who] = api._credentials["HTTP_AUTHORIZATION"]
    told.tokens["stranger"] = signed_in(cast.stranger)._credentials["HTTP_AUTHORIZATION"]
    cursor = coach.get("/api/v1/exercises?page_size=2").json()["next"]
    told.values["cursor"] = [cursor.split("cursor=")[1].split("&")[0]]
    world = World(cast, signed_in)
    world.plan = Plan.objects.get(uid=plan)
    for route in ALL_ROUTES.values():
        told.bodies[route.serializer.__name__] = route.body(world)
    told.bodies["BatchIn"] = {"items": [session_body(id=str(uuid.uuid4()), pain_reports=[])]}
    return told


def posted(api: APIClient, address: str, body: Any) -> Any:
    answer = api.post(address, body, format="json")
    assert answer.status_code in (200, 201), answer.content
    return answer.json()


def train(app: APIClient, told: Known) -> None:
    """Four sessions, one of them deleted again, one with a load that is to be confirmed, and pain."""
    for day, load, pain in [(2, 80, 2), (5, 80, 3), (9, 200, 5), (12, 82.5, 7)]:
        at = f"2026-03-{day:02}"
        body = session_body(
            performed_at=f"{at}T18:00:00+01:00",
            ended_at=f"{at}T18:40:00+01:00",
            sets=[set_body(load=load), set_body(load=load, side="left")],
            pain_reports=[pain_body(id=str(uuid.uuid4()), pain=pain, reported_at=f"{at}T18:40:00+01:00")],
        )
        uid = uuid.uuid4()
        assert app.put(f"/api/v1/sessions/{uid}", body, format="json").status_code == 201
        morning = pain_body(moment="next_morning", reported_at=f"{at}T22:00:00+01:00")
        assert app.put(f"/api/v1/pain-reports/{uuid.uuid4()}", morning, format="json").status_code == 201
    gone = uuid.uuid4()
    app.put(f"/api/v1/sessions/{gone}", session_body(pain_reports=[]), format="json")
    assert app.delete(f"/api/v1/sessions/{gone}", headers={"If-Match": '"1"'}).status_code == 204


def one_of_each(coach: APIClient, owner: APIClient, base: str, told: Known) -> None:
    site = {"joint": "knee", "side": "left"}
    injury = posted(coach, f"{base}/injuries", site | {"said": "Sore on stairs."})["id"]
    limit = {"kind": "limit", "limit": "No jumping", "from_on": "2026-03-01", "said_by": "coach"}
    posted(coach, f"{base}/injuries/{injury}/restrictions", limit)
    posted(coach, f"{base}/intervention-notes", site | {"noted_on": "2026-03-10", "changed": "Less depth"})
    posted(coach, f"{base}/body-masses", {"measured_on": "2026-03-10", "body_mass_kg": 80.5})
    assert coach.put(f"{base}/consents/referral", {"text_version": "1"}, format="json").status_code == 201
    posted(coach, f"{base}/referrals", site | {"question": "Any?", "consent_text_version": "1"})
    stress = {"stress": 0.5, "reason": "Judged"}
    for place in ("/api/v1/exercises", f"{base}/exercises"):
        assert coach.put(f"{place}/back_squat/stress/knee", stress, format="json").status_code in (200, 201)
    asked = {"role": "coach", "email": "new@example.org"}
    told.values["invitation"] = [posted(owner, "/api/v1/invitations", asked)["token"]]


def collect(told: Known) -> None:
    """Every id by its model, and the versions that If-Match names."""
    for model in apps.get_app_config("coaching").get_models():
        for row in model._default_manager.all():
            uid = getattr(row, "uid", None)
            if uid is None:
                continue
            told.values[model._meta.model_name or ""].append(str(uid))
            told.versions[str(uid)] = getattr(row, "version", 1)
    told.values["code"] = ["back_squat", "belt_squat", *Exercise.objects.values_list("code", flat=True)[:3]]
    told.values["exercise"] = told.values["code"][:2]
    assert MailRow.objects.exists()
    assert ScheduledSession.objects.filter(due_on__gt=MONDAY + timedelta(days=7)).exists()
