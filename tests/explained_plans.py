"""Runs a night, posts and reads, and prints the plan of each statement: `python -m tests.explained_plans`.

On the bench's practices, in the database that is set.
"""

import json
import os
import random
import sys
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

EXPLAINED = ("SELECT", "UPDATE", "DELETE", "WITH", "(SELECT")


@dataclass
class Plans:
    """An execute wrapper that asks for the plan of each statement before it is run."""

    what: str = ""
    found: list[tuple[str, str, str, str]] = field(default_factory=list)

    def __call__(self, execute: Any, sql: Any, params: Any, many: bool, context: dict[str, Any]) -> Any:
        if isinstance(sql, str) and sql.lstrip().upper().startswith(EXPLAINED) and not many:
            execute("EXPLAIN (FORMAT JSON) " + sql, params, many, context)
            told = context["cursor"].fetchone()[0]
            plan = json.loads(told) if isinstance(told, str | bytes) else told
            self.found.extend(self._nodes(plan[0]["Plan"], f"{self.what}: {sql[:600]}"))
        return execute(sql, params, many, context)

    def _nodes(self, plan: Mapping[str, Any], statement: str) -> Iterator[tuple[str, str, str, str]]:
        yield statement, plan.get("Relation Name", ""), plan["Node Type"], plan.get("Index Name", "")
        for inner in plan.get("Plans", []):
            yield from self._nodes(inner, statement)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from django.db import connection

    from coaching.models.scope import across_practices
    from coaching.speed.people import devices_of_people

    plans = Plans()
    with across_practices("a test looks at plans"):
        people = devices_of_people(posters=1, readers=1)
    with connection.execute_wrapper(plans):
        _night(plans)
        for person in people:
            (_post if person["role"] == "poster" else _read)(plans, person)
    json.dump(plans.found, sys.stdout)


def _night(plans: Plans) -> None:
    from django.utils import timezone

    from coaching.models import Practice
    from coaching.models.scope import across_practices
    from coaching.nightly import night_by_hand, run_night

    plans.what, now = "night", timezone.now()
    with across_practices("a test looks at plans"):
        practice = Practice.objects.order_by("id").first()
    assert practice is not None
    night = night_by_hand(practice=practice, night_on=now.date(), now=now)
    run_night(night=night, now=now)


def _post(plans: Plans, person: Mapping[str, Any]) -> None:
    from coaching.speed.bodies import session_body

    api, chance = _api(person), random.Random(7)
    plans.what = "post"
    for day in range(3):
        body = session_body(day, sets=20, chance=chance)
        answer = api.put(f"/api/v1/sessions/{uuid.uuid4()}", body, format="json")
        assert answer.status_code == 201, answer.content
    plans.what = "batch"
    bodies = [session_body(day, sets=20, chance=chance) for day in range(5, 15)]
    items = [body | {"id": str(uuid.uuid4())} for body in bodies]
    answer = api.post("/api/v1/sessions/batch", {"items": items}, format="json")
    assert answer.status_code == 200, answer.content


def _read(plans: Plans, person: Mapping[str, Any]) -> None:
    api, plans.what = _api(person), "read"
    for address in (*person["addresses"], "/api/v1/clients", "/api/v1/alerts", "/api/v1/changes"):
        answer = api.get(address)
        assert answer.status_code == 200, (address, answer.content)


def _api(person: Mapping[str, Any]) -> Any:
    from rest_framework.test import APIClient

    api = APIClient(SERVER_NAME="127.0.0.1")
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {person['token']}")
    return api


if __name__ == "__main__":
    main()
