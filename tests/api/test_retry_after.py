"""Every 429 and 503 says when to come again, whoever answers it."""

import pytest
from django.db import InterfaceError, OperationalError
from django.test import Client as Browser
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.test import APIRequestFactory

from api.exception_handler import handle_exception
from api.problems import STATUS_OF_CODE, Problem, problem_of
from coaching.errors import ForbearError, TooManyAttemptsError, TrailError
from tests.factories import NOW


def kinds_of(error):
    for kind in error.__subclasses__():
        yield kind
        yield from kinds_of(kind)


def handled(error):
    return handle_exception(error, {"request": Request(APIRequestFactory().get("/api/v1/me"))})


def told_to_wait(answer):
    return int(answer.headers["Retry-After"]) > 0


@pytest.mark.parametrize("error", [OperationalError("gone"), InterfaceError("gone")])
def test_a_database_that_is_away_is_503_with_a_time(error, db):
    answer = handled(error)
    assert answer.status_code == 503 and told_to_wait(answer)


def test_every_error_of_ours_that_means_429_or_503_says_when():
    told = {kind for kind in kinds_of(ForbearError) if "code" in vars(kind)}
    waiting = {kind for kind in told if STATUS_OF_CODE[kind.code] in (429, 503)}
    assert waiting == {TooManyAttemptsError, TrailError}
    answer = handled(problem_of(TooManyAttemptsError("Wait.", 7)))
    assert (answer.status_code, answer.headers["Retry-After"]) == (429, "7")
    answer = handled(problem_of(TrailError("The trail is away.")))
    assert answer.status_code == 503 and told_to_wait(answer)


@pytest.mark.parametrize(
    "error", [Throttled(wait=3), Throttled(), Problem("busy", 503, "Busy."), Problem("busy", 429, "Busy.")]
)
def test_who_forgets_to_say_when_gets_the_usual_time(error, db):
    assert told_to_wait(handled(error))


def test_too_many_sign_ins_say_when(cast, time_machine):
    time_machine.move_to(NOW, tick=False)
    body = {"email": cast.coach.account.email, "password": "wrong-horse-battery", "device_name": "phone"}
    statuses = []
    for _ in range(12):
        answer = Browser().post("/api/v1/sign-in", body, content_type="application/json")
        statuses.append(answer.status_code)
    assert statuses[-1] == 429 and told_to_wait(answer)


def test_a_service_that_is_not_ready_says_when(monkeypatch, db):
    monkeypatch.setattr("api.health.is_ready", lambda: False)
    answer = Browser().get("/readyz")
    assert answer.status_code == 503 and told_to_wait(answer)
