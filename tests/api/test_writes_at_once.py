"""Two devices at once, on PostgreSQL: one wins, the others are told, and nobody meets a fault of ours."""

import uuid
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Barrier

import pytest
from django.db import connection

from coaching.models import BodyMass, JointDay, PainReport, Session
from coaching.operations import rollups
from coaching.operations.recompute import compare_practice
from tests.bodies import pain_body, session_body, set_body
from tests.factories import NOW

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]
DEVICES, ROUNDS = 16, 20


@pytest.fixture
def apps(cast, signed_in, settings):
    return [signed_in(cast.client) for _ in range(DEVICES)]


@pytest.fixture
def pool():
    """A thread for each device; a process that serves has fewer than it has connections."""
    connection.pool.resize(1, DEVICES + 2)
    with ThreadPoolExecutor(DEVICES) as made:
        yield made


def at_once(pool, calls):
    """The answers of calls that begin together, each on a connection of its own."""
    start = Barrier(len(calls))

    def run(call):
        try:
            start.wait(30)
            return call()
        finally:
            connection.close()

    return [future.result(60) for future in [pool.submit(run, call) for call in calls]]


def statuses(answers):
    return Counter(answer.status_code for answer in answers)


def sessions(cast, uid, note=""):
    return f"/api/v1/sessions/{uid}", session_body(note=note)


def reports(cast, uid, note=""):
    return f"/api/v1/pain-reports/{uid}", pain_body(note=note, moment="next_morning")


@pytest.mark.parametrize("noun", [sessions, reports])
def test_one_id_with_one_content_is_stored_once(cast, apps, pool, noun):
    for _ in range(ROUNDS):
        address, body = noun(cast, uuid.uuid4())
        answers = at_once(pool, [partial(app.put, address, body, format="json") for app in apps])
        assert statuses(answers) == {201: 1, 200: DEVICES - 1}
    kept = Session if noun is sessions else PainReport
    assert kept.objects.count() == ROUNDS


@pytest.mark.parametrize("noun", [sessions, reports])
def test_of_two_contents_under_one_id_one_wins_and_the_other_is_told(cast, apps, pool, noun):
    for _ in range(ROUNDS // 2):
        uid = uuid.uuid4()
        address, first = noun(cast, uid, "first")
        other = first | {"note": "other"}
        bodies = [first, other] * (DEVICES // 2)
        answers = at_once(
            pool,
            [partial(app.put, address, body, format="json") for app, body in zip(apps, bodies, strict=True)],
        )
        assert statuses(answers) == {201: 1, 200: DEVICES // 2 - 1, 409: DEVICES // 2}
        told = [row for row in answers if row.status_code == 409]
        assert all(row.json()["differences"][0]["pointer"] == "/note" for row in told)


def test_one_body_mass_a_day_is_stored_once_and_never_overwritten(cast, apps, pool):
    address = f"/api/v1/clients/{cast.client.uid}/body-masses"
    for day in range(1, 6):
        bodies = [{"measured_on": f"2026-02-0{day}", "body_mass_kg": kg} for kg in (80, 81)]
        answers = at_once(
            pool,
            [partial(app.post, address, bodies[index % 2], format="json") for index, app in enumerate(apps)],
        )
        assert statuses(answers) == {201: 1, 200: DEVICES // 2 - 1, 409: DEVICES // 2}
    assert BodyMass.objects.count() == 5


def test_a_batch_and_a_single_post_of_one_id_store_it_once(cast, apps, pool):
    for _ in range(ROUNDS // 2):
        uid = str(uuid.uuid4())
        address, body = sessions(cast, uid)
        items = {"items": [body | {"id": uid}, session_body() | {"id": str(uuid.uuid4())}]}
        batch, single = at_once(
            pool,
            [
                partial(apps[0].post, "/api/v1/sessions/batch", items, format="json"),
                partial(apps[1].put, address, body, format="json"),
            ],
        )
        one, other = [item["status"] for item in batch.json()["items"]]
        assert (sorted([one, single.status_code]), other) == ([200, 201], 201)


def test_sessions_of_one_day_posted_at_once_all_count_in_its_sums(cast, apps, pool):
    lifts = ["back_squat", "barbell_bench_press", "deadlift", "overhead_press"]
    for _ in range(ROUNDS // 2):
        posts = [
            partial(
                app.put,
                f"/api/v1/sessions/{uuid.uuid4()}",
                session_body(sets=[set_body(exercise=lifts[index % 4])], pain_reports=[]),
                format="json",
            )
            for index, app in enumerate(apps)
        ]
        assert statuses(at_once(pool, posts)) == {201: DEVICES}
    compared = compare_practice(cast.practice, now=NOW, tell=lambda line: None)
    assert not compared.differences
    assert JointDay.objects.filter(client=cast.client).exists()


def test_of_edits_of_one_version_exactly_one_wins_and_the_others_see_what_differs(cast, apps, pool):
    address, body = sessions(cast, uuid.uuid4())
    apps[0].put(address, body, format="json")
    for version in range(1, 6):
        answers = at_once(
            pool,
            [
                partial(
                    app.patch,
                    address,
                    {"note": f"{version} {index}"},
                    format="json",
                    headers={"If-Match": f'"{version}"'},
                )
                for index, app in enumerate(apps)
            ],
        )
        assert statuses(answers) == {200: 1, 412: DEVICES - 1}
        (won,) = [row.json()["session"]["note"] for row in answers if row.status_code == 200]
        for row in answers:
            if row.status_code == 412:
                (difference,) = row.json()["differences"]
                assert (difference["pointer"], difference["stored"]) == ("/note", won)


def test_a_deletion_and_its_post_at_once_leave_nothing(cast, apps, pool):
    for noun in (sessions, reports):
        for _ in range(ROUNDS // 2):
            address, body = noun(cast, uuid.uuid4())
            put, deleted = at_once(
                pool,
                [
                    partial(apps[0].put, address, body, format="json"),
                    partial(apps[1].delete, address, headers={"If-Match": '"1"'}),
                ],
            )
            assert (put.status_code in (201, 410), deleted.status_code) == (True, 204)
            assert apps[0].get(address).status_code == 410
    assert not Session.objects.kept().exists() and not PainReport.objects.exists()
    assert not JointDay.objects.exists()


def test_a_report_and_an_edit_of_its_session_wait_for_each_other(cast, apps, pool):
    for _ in range(ROUNDS // 2):
        uid = uuid.uuid4()
        address, body = sessions(cast, uid)
        apps[0].put(address, body, format="json")
        report = pain_body(session=str(uid))
        edit, added = at_once(
            pool,
            [
                partial(apps[0].patch, address, {"note": "x"}, format="json", headers={"If-Match": '"1"'}),
                partial(apps[1].put, f"/api/v1/pain-reports/{uuid.uuid4()}", report, format="json"),
            ],
        )
        assert (edit.status_code in (200, 412), added.status_code) == (True, 201)
        assert len(apps[0].get(address).json()["pain_reports"]) == 2


def test_a_connection_lost_in_a_post_is_told_with_the_time_to_try_again(cast, apps, monkeypatch):

    rebuild = rollups.rebuild_days

    def cut(**kwargs):
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(pg_backend_pid())")
        rebuild(**kwargs)

    address, body = sessions(cast, uuid.uuid4())
    monkeypatch.setattr(rollups, "rebuild_days", cut)
    answer = apps[0].put(address, body, format="json")
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/unavailable")
    assert int(answer["Retry-After"]) > 0
    monkeypatch.undo()
    connection.close()
    assert apps[0].put(address, body, format="json").status_code == 201
    assert Session.objects.count() == 1
