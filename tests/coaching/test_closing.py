"""A practice that closes: who gets in, what stops, how long its data stays, and that all of it goes."""

from datetime import date, timedelta
from io import StringIO

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models

from coaching.models import (
    Account,
    AuditEvent,
    Exercise,
    ExerciseAlternative,
    MailRow,
    Membership,
    Night,
    Practice,
    ServiceScope,
)
from coaching.operations.deletion import IN_ORDER, delete_practice
from coaching.reads.health import troubles
from coaching.tick import tick
from tests.api.every_route import Filled, every_route, service_token
from tests.api.test_service_tokens import program
from tests.bodies import session_body
from tests.constraint_rows import SMALLEST
from tests.constraint_rows import world as rows_of_everything
from tests.factories import NOW, PASSWORD, AccountFactory, AlertFactory, ClientFactory

V1 = "/api/v1/"
ADDRESS = f"{V1}practice/closing"
KEPT_BY_THE_DEVICE = {
    ("post", "api/v1/sign-out"),
    ("delete", "api/v1/devices"),
    ("delete", "api/v1/devices/<uuid:device_id>"),
    ("put", "api/v1/me/password"),
}


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


def close(api, **changes):
    return api.post(ADDRESS, {"current_password": PASSWORD} | changes, format="json")


def sign_in(client, who):
    body = {"email": who.account.email, "password": PASSWORD, "device_name": "phone"}
    return client.post(f"{V1}sign-in", body, content_type="application/json")


@pytest.mark.parametrize(("who", "status"), [("coach", 403), ("client", 403), ("owner", 200)])
def test_who_closes_a_practice(cast, signed_in, who, status):
    assert close(signed_in(getattr(cast, who))).status_code == status


def test_closing_needs_the_password(cast, signed_in):
    answer = close(signed_in(cast.owner), current_password="not-the-password")
    assert answer.json()["errors"][0]["pointer"] == "/current_password"
    assert Practice.objects.get(id=cast.practice.id).closed_at is None


@pytest.mark.parametrize(
    ("wish", "kept"),
    [(None, "2026-05-31"), ("2026-04-01", "2026-04-01"), ("2026-03-31", None), ("2036-03-12", None)],
)
def test_the_data_is_kept_from_thirty_days_to_ten_years(cast, signed_in, wish, kept):
    answer = close(signed_in(cast.owner), **({"keep_until_on": wish} if wish else {}))
    if kept is None:
        assert answer.json()["errors"][0]["pointer"] == "/keep_until_on"
    else:
        assert answer.json() == {
            "id": str(cast.practice.uid),
            "closed_at": "2026-03-02T12:00:00Z",
            "keep_until_on": kept,
        }
    assert AuditEvent.objects.filter(action="close").exists() == (kept is not None)


def test_every_device_and_service_token_ends_and_another_practices_goes_on(cast, signed_in):
    owner, coach, own = (signed_in(who) for who in (cast.owner, cast.coach, cast.client))
    service = program(service_token(cast.owner, list(ServiceScope))[1])
    stranger = signed_in(cast.stranger)
    assert close(owner).status_code == 200
    for api in (owner, coach, own, service):
        assert api.get(f"{V1}clients").status_code == 401
    assert stranger.get(f"{V1}clients").status_code == 200


@pytest.mark.parametrize(("who", "status"), [("owner", 200), ("coach", 401), ("client", 401)])
def test_only_an_owner_comes_back_in(cast, signed_in, client, who, status):
    close(signed_in(cast.owner))
    assert sign_in(client, getattr(cast, who)).status_code == status


def test_a_device_that_came_in_meanwhile_opens_nothing(cast, signed_in):
    close(signed_in(cast.owner))
    for who in (cast.coach, cast.client):
        assert signed_in(who).get(f"{V1}me").status_code == 401


def test_an_owner_reads_and_exports_and_changes_nothing(cast, signed_in):
    filled = Filled(cast, signed_in)
    close(signed_in(cast.owner))
    owner = signed_in(cast.owner)
    for route in (
        "exports/sessions.csv",
        "exports/pain-reports.csv",
        "exports/plans.csv",
        "clients/<uuid:client_id>",
    ):
        assert owner.get(filled.address(f"api/v1/{route}")).status_code == 200, route
    for method, route in every_route():
        if method != "get" and (method, route) not in KEPT_BY_THE_DEVICE:
            answer = getattr(owner, method)(filled.address(route), {}, format="json")
            assert (answer.status_code, answer.json()["detail"][:23]) == (403, "This practice is closed"), (
                route
            )
    assert owner.post(f"{V1}sign-out").status_code == 204


def test_nights_stop_and_nothing_is_mailed(cast, signed_in, mailoutbox):
    AlertFactory(client=cast.client, kind="red_flag", opened_at=NOW - timedelta(hours=9))
    MailRow.objects.create(
        practice=cast.practice,
        kind="morning",
        recipient="any@example.org",
        key="any",
        payload={"membership": cast.coach.id, "on": "2026-03-02"},
        created_at=NOW,
        next_at=NOW,
    )
    close(signed_in(cast.owner))
    report = tick(now=NOW + timedelta(days=1))
    assert (report.nights.planned, report.mail.sent) == (1, 1)  # those of the stranger's practice
    assert {recipient for mail in mailoutbox for recipient in mail.to} == {cast.stranger.account.email}
    assert not Night.objects.filter(practice=cast.practice, status="done").exists()


def test_a_posted_session_finds_the_door_shut(cast, signed_in):
    own = signed_in(cast.client)
    close(signed_in(cast.owner))
    answer = own.put(f"{V1}sessions/0d7bfb63-6f0f-4f53-a4b8-1a1ecf4f1a11", session_body(), format="json")
    assert answer.status_code == 401


def test_the_doctor_misses_no_night_and_no_mail_of_a_practice_that_has_closed(cast, signed_in):
    rows = {"practice": cast.practice, "recipient": cast.coach.account.email}
    MailRow.objects.create(kind="morning", key="any", payload={}, created_at=NOW, next_at=NOW, **rows)
    close(signed_in(cast.owner))
    said = " ".join(trouble.what for trouble in troubles(now=NOW + timedelta(days=3)))
    assert "Hillside Strength: the night" in said
    assert "Harbour Strength" not in said
    assert "never be sent" not in said


def due(practice, days=0):
    practice.closed_at, practice.keep_until_on = NOW, date(2026, 3, 1) + timedelta(days=days)
    practice.save()
    return practice


def of_practice(practice):
    """How many rows each table holds that are of this practice, by whatever way."""
    return {model: model._default_manager.filter(practice=practice).count() for model in IN_ORDER}


def test_every_table_with_a_practice_is_deleted_from():
    with_practice = {
        model
        for model in apps.get_app_config("coaching").get_models()
        if any(
            field.name == "practice" and isinstance(field, models.ForeignKey) for field in model._meta.fields
        )
    }
    assert with_practice == set(IN_ORDER)


def test_all_of_a_practice_goes_and_nothing_of_another(db, cast):
    rows = rows_of_everything()
    own = Exercise.objects.create(
        practice=rows.practice,
        code="own_lift",
        name="Own",
        equipment="barbell",
        load_basis="total",
        load_step_thousandths=2500,
        movement_pattern="squat",
    )
    ExerciseAlternative.objects.create(exercise=own, position=0, alternative=rows.exercise)
    ExerciseAlternative.objects.create(exercise=rows.other_exercise, position=0, alternative=own)
    for model in IN_ORDER:
        if model in SMALLEST and not model._default_manager.filter(practice=rows.practice).exists():
            changed = {"practice": rows.practice}
            model._default_manager.bulk_create([model(**SMALLEST[model](rows) | changed)])
    assert not [model for model, count in of_practice(rows.practice).items() if not count]
    others = of_practice(cast.practice)
    deleted = delete_practice(practice=due(rows.practice), now=NOW)
    assert deleted.rows > len(IN_ORDER)
    assert not Practice.objects.filter(id=rows.practice.id).exists()
    assert sum(of_practice(rows.practice.id).values()) == 0
    assert of_practice(cast.practice) == others


def test_an_account_goes_unless_it_is_at_home_elsewhere(cast):
    both = AccountFactory()
    for practice in (cast.practice, cast.stranger.practice):
        Membership.objects.create(practice=practice, account=both, role="coach", joined_at=NOW)
    trains_elsewhere = ClientFactory(coach=cast.stranger, account=cast.colleague.account)
    delete_practice(practice=due(cast.practice), now=NOW)
    kept = {both, trains_elsewhere.account, cast.stranger.account, cast.strangers_client.account}
    assert set(Account.objects.all()) == kept


@pytest.mark.parametrize("days", [1, 30])
def test_nothing_goes_before_its_last_day_is_over(cast, days):
    deleted = delete_practice(practice=due(cast.practice, days), now=NOW)
    assert deleted.rows == 0
    assert Practice.objects.filter(id=cast.practice.id).exists()


def test_an_open_practice_is_never_deleted(cast):
    assert delete_practice(practice=cast.practice, now=NOW).rows == 0


def test_the_command_names_first_and_deletes_then(cast):
    due(cast.practice)

    def said(*words):
        out = StringIO()
        call_command("delete_closed_practices", *words, stdout=out)
        return out.getvalue()

    assert said("--dry-run").startswith(f"Would delete practice {cast.practice.uid}")
    assert Practice.objects.filter(id=cast.practice.id).exists()
    assert said().startswith(f"Deleted practice {cast.practice.uid}")
    assert said() == "No closed practice is due.\n"
