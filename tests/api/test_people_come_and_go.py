"""Who leaves has no access, at once; what they had goes to who stays; a cover is there while it is named."""

from datetime import date, timedelta

import pytest
from django.test import Client as Browser

from coaching.budget import Budget
from coaching.emails import send_due_mail
from coaching.models import Alert, Client, MailRow, MailState, Membership, Plan, ServiceScope
from coaching.operations.urgent import remind_of_unread_red_flags
from tests.api.every_route import every_route, service_token
from tests.api.test_service_tokens import program
from tests.bodies import pain_body, session_body
from tests.factories import NOW, AlertFactory, ClientFactory
from tests.plan_builders import knee_lift, plan_by

TODAY = date(2026, 3, 2)
V1 = "/api/v1/"


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


def leave(cast, signed_in, who, to="owner"):
    member = Membership.objects.get(id=who.id)
    address = f"{V1}memberships/{member.uid}?hand_over_to={getattr(to, 'uid', to)}"
    answer = signed_in(cast.owner).delete(address, headers={"If-Match": f'"{member.version}"'})
    assert answer.status_code == 204, answer.content


def archive(cast, signed_in):
    address = f"{V1}clients/{cast.client.uid}"
    answer = signed_in(cast.coach).patch(address, {"archived": True}, headers={"If-Match": '"1"'})
    assert answer.status_code == 200


def report_red_flag(cast, signed_in):
    body = session_body(
        pain_reports=[pain_body(id="5d1a6d1c-6d0b-4d7b-9a55-0d4b6f6f0001", symptoms={"night_pain": "yes"})]
    )
    body |= {"performed_at": "2026-03-02T10:00:00+01:00", "ended_at": "2026-03-02T10:40:00+01:00"}
    body["pain_reports"][0]["reported_at"] = "2026-03-02T10:40:00+01:00"
    address = f"{V1}sessions/5d1a6d1c-6d0b-4d7b-9a55-0d4b6f6f0002"
    assert signed_in(cast.client).put(address, body).status_code == 201


def test_every_device_of_who_has_left_is_out_on_every_address(cast, signed_in):
    devices = [signed_in(cast.coach), signed_in(cast.coach)]
    leave(cast, signed_in, cast.coach)
    for method, route in every_route():
        if "<" not in route:
            for device in devices:
                assert getattr(device, method)(f"/{route}").status_code == 401, (method, route)


def test_a_client_who_is_archived_is_out_with_devices_and_calendar(cast, signed_in):
    own = signed_in(cast.client)
    made = own.post(f"{V1}clients/{cast.client.uid}/calendar-feed").json()
    address = made["url"].removeprefix("http://127.0.0.1:8000")
    assert Browser().get(address).status_code == 200
    archive(cast, signed_in)
    assert own.get(f"{V1}me").status_code == 401
    assert own.put(f"{V1}sessions/5d1a6d1c-6d0b-4d7b-9a55-0d4b6f6f0003", session_body()).status_code == 401
    assert Browser().get(address).status_code == 404


def test_who_left_while_a_sign_in_was_under_way_gets_no_device(cast, signed_in, client):
    leave(cast, signed_in, cast.coach)
    body = {
        "email": cast.coach.account.email,
        "password": "correct-horse-battery",
        "device_name": "phone",
    }
    answer = client.post(f"{V1}sign-in", body, content_type="application/json")
    assert answer.status_code == 401


def test_a_coachs_leaving_ends_no_token_of_an_owner(cast, signed_in):
    _, token = service_token(cast.owner, [ServiceScope.CLIENTS_READ])
    leave(cast, signed_in, cast.coach)
    assert program(token).get(f"{V1}clients").status_code == 200


def test_all_that_a_coach_had_goes_to_the_successor(cast, signed_in):
    archived = ClientFactory(coach=cast.coach, archived_at=NOW)
    plan = plan_by(cast.coach, knee_lift())
    alert = AlertFactory(client=cast.client)
    Membership.objects.filter(id=cast.coach.id).update(
        away_from_on=TODAY, away_until_on=TODAY + timedelta(days=7), cover=cast.owner
    )
    Membership.objects.filter(id=cast.owner.id).update(cover=cast.coach)
    leave(cast, signed_in, cast.coach, cast.colleague)
    mine = Client.objects.filter(coach=cast.colleague)
    assert set(mine) == {cast.client, cast.colleagues_client, archived}
    assert Membership.objects.get(id=cast.owner.id).cover == cast.colleague
    gone = Membership.objects.get(id=cast.coach.id)
    assert (gone.cover, gone.away_from_on, gone.away_until_on) == (None, None, None)
    assert Plan.objects.get(id=plan.id).author == cast.colleague.account
    successor = signed_in(cast.colleague)
    archived_plan = successor.delete(f"{V1}plans/{plan.uid}", headers={"If-Match": '"1"'})
    assert archived_plan.status_code == 204
    entries = successor.get(f"{V1}morning-sheet").json()["entries"]
    assert [entry["client_name"] for entry in entries] == ["Mira Lift"]
    read = successor.post(f"{V1}alerts/{alert.uid}/acknowledgement", headers={"If-Match": '"1"'})
    assert read.status_code == 200


def test_who_covered_for_the_leaver_covers_nobody_by_it(cast, signed_in):
    Membership.objects.filter(id=cast.colleague.id).update(cover=cast.coach)
    leave(cast, signed_in, cast.coach, cast.colleague)
    assert Membership.objects.get(id=cast.colleague.id).cover is None


def test_urgent_mail_that_waits_goes_to_the_successor(cast, signed_in, mailoutbox):
    report_red_flag(cast, signed_in)
    leave(cast, signed_in, cast.coach, cast.colleague)
    send_due_mail(now=NOW, budget=Budget.of(20), limit=50)
    assert [mail.to for mail in mailoutbox] == [[cast.colleague.account.email]]
    dropped = MailRow.objects.get(recipient=cast.coach.account.email)
    assert (dropped.state, dropped.error_code) == (MailState.DEAD, "recipient_left")


def test_a_cover_sees_clients_as_long_as_it_is_named(cast, signed_in):
    """Not for the days of an absence alone: a red flag that nobody reads is mailed to the cover any day."""
    Membership.objects.filter(id=cast.coach.id).update(
        cover=cast.colleague,
        away_from_on=TODAY - timedelta(days=9),
        away_until_on=TODAY - timedelta(days=2),
    )
    cover, address = signed_in(cast.colleague), f"{V1}clients/{cast.client.uid}"
    assert cover.get(address).status_code == 200
    alert = AlertFactory(
        client=cast.client,
        kind="red_flag",
        opened_at=NOW - timedelta(hours=5),
        evidence={"flags": ["night_pain"], "urgency": "same_day"},
    )
    remind_of_unread_red_flags(now=NOW)
    recipients = set(MailRow.objects.values_list("recipient", flat=True))
    assert recipients == {cast.owner.account.email, cast.colleague.account.email}
    assert cover.get(f"{V1}alerts/{alert.uid}").status_code == 200
    api = signed_in(cast.coach)
    ended = api.patch(f"{V1}memberships/{cast.coach.uid}", {"cover": None}, headers={"If-Match": '"1"'})
    assert ended.status_code == 200
    assert cover.get(address).status_code == 404


@pytest.mark.parametrize(("days", "seen"), [((1, 3), False), ((-3, -1), False), ((-1, 1), True)])
def test_an_absence_begins_and_ends_on_the_sheet_by_itself(cast, signed_in, days, seen):
    first, last = (TODAY + timedelta(days=each) for each in days)
    Membership.objects.filter(id=cast.coach.id).update(
        cover=cast.colleague, away_from_on=first, away_until_on=last
    )
    AlertFactory(client=cast.client)
    sheet = signed_in(cast.colleague).get(f"{V1}morning-sheet").json()
    assert bool(sheet["entries"]) == seen
    assert Alert.objects.count() == 1
