"""Members over HTTP: absence and cover, and leaving once somebody has the clients."""

import pytest

from coaching.models import AuditEvent, Client, Membership
from tests.bodies import version_of


def address(member):
    return f"/api/v1/memberships/{member.uid}"


def patch(api, member, body, version=1):
    return api.patch(address(member), body, HTTP_IF_MATCH=f'"{version}"')


def leave(api, member, query="", version=1):
    return api.delete(address(member) + query, HTTP_IF_MATCH=f'"{version}"')


def test_the_members_of_the_practice_are_listed_for_each_other(cast, signed_in):
    items = signed_in(cast.coach).get("/api/v1/memberships").json()["items"]
    assert [item["name"] for item in items] == ["Cleo Colleague", "Carl Coach", "Olga Owner"]


def test_a_member_is_shown_whole(cast, signed_in):
    answer = signed_in(cast.colleague).get(address(cast.coach))
    assert version_of(answer) == '"1"'
    assert answer.json() == {
        "id": str(cast.coach.uid),
        "name": "Carl Coach",
        "email": cast.coach.account.email,
        "role": "coach",
        "joined_at": "2025-12-01T12:00:00Z",
        "away_from_on": None,
        "away_until_on": None,
        "cover": None,
        "wants_digest": True,
        "weekly_sets_floor": None,
        "weekly_sets_ceiling": None,
        "version": 1,
    }


def test_a_coach_sets_their_own_absence_and_cover(cast, signed_in):
    body = {
        "away_from_on": "2026-04-01",
        "away_until_on": "2026-04-14",
        "cover": str(cast.colleague.uid),
    }
    answer = patch(signed_in(cast.coach), cast.coach, body)
    assert answer.status_code == 200
    assert answer.json() | body | {"version": 2} == answer.json()


def test_null_ends_an_absence(cast, signed_in):
    api = signed_in(cast.coach)
    patch(api, cast.coach, {"away_from_on": "2026-04-01", "away_until_on": "2026-04-14"})
    answer = patch(api, cast.coach, {"away_from_on": None, "away_until_on": None}, 2)
    assert (answer.json()["away_from_on"], answer.json()["away_until_on"]) == (None, None)


def test_the_digest_can_be_switched_off(cast, signed_in):
    assert patch(signed_in(cast.coach), cast.coach, {"wants_digest": False}).json()["wants_digest"] is False


def test_a_coach_sets_their_own_floor_and_ceiling_of_weekly_sets(cast, signed_in):
    api = signed_in(cast.coach)
    answer = patch(api, cast.coach, {"weekly_sets_floor": 4, "weekly_sets_ceiling": 12.5})
    assert (answer.json()["weekly_sets_floor"], answer.json()["weekly_sets_ceiling"]) == (4, 12.5)
    assert patch(api, cast.coach, {"weekly_sets_floor": None}, 2).json()["weekly_sets_floor"] is None


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"away_from_on": "2026-04-01"}, "/away_until_on"),
        ({"away_until_on": "2026-04-01"}, "/away_from_on"),
        ({"away_from_on": "2026-04-02", "away_until_on": "2026-04-01"}, "/away_until_on"),
        ({"cover": "7"}, "/cover"),
        ({"cover": "11111111-1111-4111-8111-111111111111"}, "/cover"),
        ({"wants_digest": 1}, "/wants_digest"),
        ({"role": "client"}, "/role"),
        ({"role": "service"}, "/role"),
        ({"weekly_sets_floor": -1}, "/weekly_sets_floor"),
        ({"weekly_sets_floor": 4.3}, "/weekly_sets_floor"),
        ({"weekly_sets_ceiling": 100.5}, "/weekly_sets_ceiling"),
        ({"weekly_sets_ceiling": "20"}, "/weekly_sets_ceiling"),
        ({"weekly_sets_floor": 10, "weekly_sets_ceiling": 9.5}, "/weekly_sets_ceiling"),
    ],
)
def test_a_bad_absence_is_422_at_its_field(cast, signed_in, body, pointer):
    answer = patch(signed_in(cast.coach), cast.coach, body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert Membership.objects.get(id=cast.coach.id).version == 1


@pytest.mark.parametrize("other", ["coach", "stranger"])
def test_the_cover_is_another_member_of_the_practice(cast, signed_in, other):
    answer = patch(signed_in(cast.coach), cast.coach, {"cover": str(getattr(cast, other).uid)})
    assert answer.status_code == 422


@pytest.mark.parametrize(
    ("who", "status"), [("owner", 200), ("colleague", 403), ("stranger", 404), ("client", 403)]
)
def test_who_sets_a_coachs_absence(cast, signed_in, who, status):
    answer = patch(signed_in(getattr(cast, who)), cast.coach, {"wants_digest": False})
    assert answer.status_code == status


def test_an_edit_needs_the_current_version(cast, signed_in):
    api = signed_in(cast.coach)
    assert api.patch(address(cast.coach), {"wants_digest": False}).status_code == 428
    assert patch(api, cast.coach, {"wants_digest": False}, 9).status_code == 412


def test_leaving_is_refused_while_there_are_clients(cast, signed_in):
    assert leave(signed_in(cast.owner), cast.coach).status_code == 409
    assert Membership.objects.get(id=cast.coach.id).left_at is None


def test_the_owner_takes_the_clients_of_who_leaves(cast, signed_in):
    assert leave(signed_in(cast.owner), cast.coach, "?hand_over_to=owner").status_code == 204
    client = Client.objects.get(id=cast.client.id)
    assert (client.coach, client.version) == (cast.owner, 2)
    assert AuditEvent.objects.filter(action="hand_over", subject_key=client.audit_key).exists()


def test_a_colleague_takes_the_clients_of_who_leaves(cast, signed_in):
    query = f"?hand_over_to={cast.colleague.uid}"
    assert leave(signed_in(cast.owner), cast.coach, query).status_code == 204
    assert Client.objects.get(id=cast.client.id).coach == cast.colleague


def test_who_has_left_is_out_on_every_device_and_the_successor_covers(cast, signed_in):
    theirs = signed_in(cast.coach)
    cast.colleague.cover = cast.coach
    cast.colleague.save()
    leave(signed_in(cast.owner), cast.coach, "?hand_over_to=owner")
    assert theirs.get("/api/v1/me").status_code == 401
    assert Membership.objects.get(id=cast.colleague.id).cover == cast.owner
    assert signed_in(cast.owner).get(address(cast.coach)).status_code == 404


def test_the_last_owner_stays(cast, signed_in):
    query = f"?hand_over_to={cast.coach.uid}"
    assert leave(signed_in(cast.owner), cast.owner, query).status_code == 409


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("?hand_over_to=nobody", 400),
        ("?to=owner", 400),
        ("?hand_over_to=11111111-1111-4111-8111-111111111111", 422),
    ],
)
def test_an_unknown_successor_changes_nothing(cast, signed_in, query, status):
    assert leave(signed_in(cast.owner), cast.coach, query).status_code == status
    assert Client.objects.get(id=cast.client.id).coach == cast.coach


def test_who_leaves_does_not_take_over(cast, signed_in):
    query = f"?hand_over_to={cast.coach.uid}"
    assert leave(signed_in(cast.owner), cast.coach, query).status_code == 422


@pytest.mark.parametrize(("who", "status"), [("coach", 403), ("client", 403), ("stranger", 404)])
def test_who_ends_a_membership(cast, signed_in, who, status):
    answer = leave(signed_in(getattr(cast, who)), cast.coach, "?hand_over_to=owner")
    assert answer.status_code == status


def test_an_owner_shares_ownership_and_passes_it_on(cast, signed_in):
    owner = signed_in(cast.owner)
    assert patch(owner, cast.coach, {"role": "owner"}).json()["role"] == "owner"
    assert patch(signed_in(cast.coach), cast.owner, {"role": "coach"}).json()["role"] == "coach"
    assert patch(owner, cast.colleague, {"role": "owner"}).status_code == 403


def test_the_last_owner_is_not_demoted_by_anybody(cast, signed_in):
    assert patch(signed_in(cast.owner), cast.owner, {"role": "coach"}).status_code == 409
    assert Membership.objects.get(id=cast.owner.id).role == "owner"


@pytest.mark.parametrize(("who", "status"), [("coach", 403), ("colleague", 403), ("stranger", 404)])
def test_nobody_but_an_owner_makes_an_owner(cast, signed_in, who, status):
    assert patch(signed_in(getattr(cast, who)), cast.coach, {"role": "owner"}).status_code == status


def test_who_is_no_owner_any_more_sees_their_own_clients_at_once(cast, signed_in):
    owner = signed_in(cast.owner)
    patch(owner, cast.coach, {"role": "owner"})
    assert owner.get(f"/api/v1/clients/{cast.client.uid}").status_code == 200
    patch(signed_in(cast.coach), cast.owner, {"role": "coach"})
    assert owner.get(f"/api/v1/clients/{cast.client.uid}").status_code == 404


def test_the_trail_says_what_was_changed_of_a_member(cast, signed_in):
    patch(signed_in(cast.owner), cast.coach, {"role": "owner"})
    event = AuditEvent.objects.get(record_kind="membership")
    assert (event.action, event.detail) == ("update", {"fields": ["role"]})


def test_a_client_does_not_list_the_members(cast, signed_in):
    assert signed_in(cast.client).get("/api/v1/memberships").status_code == 403
