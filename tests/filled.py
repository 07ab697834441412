"""A database with rows in every table, and posts that keep coming, in a process on a database of its own."""

import time
import uuid

from django.contrib.auth.models import Group, Permission
from django.db import connection
from rest_framework.test import APIClient

from coaching.models import Client, Lease, Webhook
from tests.bodies import session_body
from tests.canaries import person
from tests.conftest import token_for
from tests.constraint_rows import SMALLEST, insert, world
from tests.factories import NOW


def fill(webhooks: str = "") -> None:
    """Two people in every table, and a smallest row wherever there is none yet."""
    rows = world()
    for word in ("Zaphira", "Quillon"):
        person(rows, word)
    for model in SMALLEST:
        if not model._default_manager.exists():
            insert(model, rows)
    Webhook.objects.update(address=webhooks or "https://127.0.0.1/")
    Lease.objects.create(name="tick", holder="any", until_at=NOW)
    Group.objects.create(name="any").permissions.add(Permission.objects.first())
    assert not empty_tables(), empty_tables()


def empty_tables() -> set[str]:
    with connection.cursor() as cursor:
        empty = set()
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT count(*) FROM {connection.ops.quote_name(table)}")
            if cursor.fetchone()[0] == 0:
                empty.add(table)
    return empty


def post_one(api: APIClient) -> str:
    uid = str(uuid.uuid4())
    answer = api.put(f"/api/v1/sessions/{uid}", session_body(), HTTP_HOST="localhost")
    assert answer.status_code == 201, answer.content
    return uid


def post(times: int, pause_s: float = 0.0) -> None:
    """Sessions of Quillon, over HTTP within this process; each id is printed once it is acknowledged."""
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token_for(Client.objects.get(name='Quillon Lift'))}")
    for _ in range(times):
        print(post_one(api), flush=True)  # noqa: T201
        time.sleep(pause_s)
