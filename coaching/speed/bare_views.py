"""The least that a Django view can do: an answer from memory, and a post stored through the ORM as it came.

The latter checks nothing and computes nothing: the roll-ups come with the post.
"""

import json
import os
from functools import cache
from pathlib import Path
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.utils import timezone

from coaching.models import AuditEvent, Change, DeviceToken, JointDay, LiftDay, LoggedSet, PainReport, Session
from coaching.models.row_security import asked_together
from coaching.models.scope import across_practices, within_practice
from coaching.reads.devices import device_with

FOLDER = "FORBEAR_BENCH_BODIES"


@cache
def _body(name: str) -> bytes:
    return (Path(os.environ[FOLDER]) / f"{name}.json").read_bytes()


def answer(request: HttpRequest, name: str) -> HttpResponse:
    return HttpResponse(_body(name), content_type="application/json")


def store(request: HttpRequest) -> JsonResponse:
    with across_practices("the token is what names the practice"), asked_together():
        device = device_with(request.headers["Authorization"].removeprefix("Bearer "))
    if device is None:
        return JsonResponse({}, status=401)
    with within_practice(device.practice_id), transaction.atomic():
        session = _insert(device, json.loads(request.body))
    return JsonResponse({"id": session.pk}, status=201)


def _insert(device: DeviceToken, rows: dict[str, Any]) -> Session:
    now = timezone.now()
    ours = {"practice_id": device.practice_id}
    own = ours | {"client_id": device.client_id}
    session = Session.objects.create(**own, received_at=now, **rows["session"])
    LoggedSet.objects.bulk_create(LoggedSet(**ours, session=session, **row) for row in rows["sets"])
    PainReport.objects.bulk_create(
        PainReport(**own, session=session, received_at=now, **row) for row in rows["pain_reports"]
    )
    JointDay.objects.bulk_create(JointDay(**own, **row) for row in rows["joint_days"])
    LiftDay.objects.bulk_create(LiftDay(**own, **row) for row in rows["lift_days"])
    AuditEvent.objects.create(
        **ours, at=now, account_id=device.user_id, device_id=device.uid,
        subject_key=getattr(device.client, "audit_key", None), action="create", record_kind="session",
        record_id=str(session.uid),
    )  # fmt: skip
    Change.objects.create(**own, kind="session", record_uid=session.uid, at=now)
    return session


urlpatterns = [path("store", store), path("<slug:name>", answer)]
