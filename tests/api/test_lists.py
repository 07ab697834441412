"""What every list does alike: its declared filters and orders, its pages, cursors and links."""

import uuid
from datetime import date, timedelta
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from rest_framework import serializers

from api.fields import DayField, IdField, InstantField
from api.listing import PAGING_WORDS, ListQuery, link_header
from coaching.models import AuditEvent, Clearance, Restriction, Score
from coaching.reads.pages import page_of
from tests.api.rows_of_routes import OWNERS, add_rows, address_of, furnish, get_routes
from tests.bodies import pain_body, session_body, set_body
from tests.factories import NOW, AlertFactory, ClientFactory, InjuryFactory

ALERTS = "/api/v1/alerts"


@pytest.fixture(autouse=True)
def monday_noon(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def coach(cast, signed_in):
    return signed_in(cast.coach)


def lists():
    """Route -> query of every paged list."""
    views = {route: getattr(view, "view_class", None) for route, view in get_routes().items()}
    return {
        route: view.query
        for route, view in views.items()
        if isinstance(getattr(view, "query", None), type) and issubclass(view.query, ListQuery)
    }


def pages(api, address):
    """Every page from `address` on, by its `next` links."""
    while address:
        answer = api.get(address)
        assert answer.status_code == 200, answer.content
        yield answer
        address = answer.json()["next"]


def ids(api, address):
    return [item["id"] for answer in pages(api, address) for item in answer.json()["items"]]


def links(answer):
    """The links of an answer as httpx reads them."""
    return {
        rel: link["url"] for rel, link in httpx.Response(200, headers={"Link": answer["Link"]}).links.items()
    }


def alerts_on(client, *days):
    return [
        AlertFactory(client=client, target=f"site:{number}", opened_on=date(2026, 2, day))
        for number, day in enumerate(days)
    ]


def uids(rows):
    return [str(row.uid) for row in rows]


# RFC 8288, 3.5, from memory: two of its examples, without the title.
def test_links_are_written_as_in_the_examples_of_rfc_8288_3_5():
    one = link_header({"previous": "http://example.com/TheBook/chapter2"})
    assert one == '<http://example.com/TheBook/chapter2>; rel="previous"'
    two = link_header({"start": "https://example.org/", "index": "https://example.org/index"})
    assert two == '<https://example.org/>; rel="start", <https://example.org/index>; rel="index"'


def test_a_page_links_the_first_the_next_and_the_one_before(cast, coach):
    rows = alerts_on(cast.client, 1, 2, 3, 4, 5)
    first = coach.get(f"{ALERTS}?ordering=opened_on&page_size=2&client={cast.client.uid}")
    assert set(links(first)) == {"first", "next"}
    assert links(first)["next"] == first.json()["next"]
    second = coach.get(links(first)["next"])
    assert [item["id"] for item in second.json()["items"]] == uids(rows[2:4])
    assert set(links(second)) == {"first", "prev", "next"}
    assert coach.get(links(second)["prev"]).json()["items"] == first.json()["items"]
    assert coach.get(links(second)["first"]).json() == first.json()
    third = coach.get(links(second)["next"])
    assert set(links(third)) == {"first", "prev"} and third.json()["next"] is None
    assert coach.get(links(third)["prev"]).json()["items"] == second.json()["items"]


def test_every_list_links_its_first_page(furnished, reader_of):
    for route in [*lists(), "api/v1/changes"]:
        assert "first" in links(reader_of(route).get(address_of(route, furnished))), route


def test_the_feed_links_where_it_goes_on_and_where_it_begins(cast, coach):
    add_rows(furnish(cast), coach, 0, 2)
    answer = coach.get("/api/v1/changes?page_size=1")
    assert coach.get(links(answer)["next"]).json()["items"] != answer.json()["items"]
    assert coach.get(links(answer)["first"]).json() == answer.json()
    assert set(links(coach.get("/api/v1/changes?page_size=200"))) == {"first"}


@pytest.mark.parametrize("ordering", ["opened_on", "-opened_on", "stored", "-stored"])
def test_rows_added_meanwhile_make_no_row_come_twice_or_be_left_out(cast, coach, ordering):
    """Ties on purpose: of one day there are more rows than a page takes."""
    there = uids(alerts_on(cast.client, 3, 3, 3, 3, 2, 2, 4, 4, 4, 1))
    found = []
    for number, answer in enumerate(pages(coach, f"{ALERTS}?ordering={ordering}&page_size=3")):
        found += [item["id"] for item in answer.json()["items"]]
        for day in (1, 2, 3, 4):
            AlertFactory(client=cast.client, target=f"new:{number}:{day}", opened_on=date(2026, 2, day))
        if number == 20:
            break
    assert len(found) == len(set(found))
    assert set(there) <= set(found)


def test_a_row_deleted_meanwhile_takes_no_other_with_it(cast, coach):
    rows = alerts_on(cast.client, 1, 2, 3, 4)
    walk = pages(coach, f"{ALERTS}?ordering=opened_on&page_size=2")
    assert [item["id"] for item in next(walk).json()["items"]] == uids(rows[:2])
    rows[1].delete()
    assert [item["id"] for item in next(walk).json()["items"]] == uids(rows[2:])


def test_the_page_before_begins_anew_where_all_before_it_is_gone(cast, coach):
    rows = alerts_on(cast.client, 1, 2, 3, 4)
    first = coach.get(f"{ALERTS}?ordering=opened_on&page_size=2")
    second = coach.get(first.json()["next"])
    rows[0].delete(), rows[1].delete()
    before = coach.get(links(second)["prev"])
    assert [item["id"] for item in before.json()["items"]] == uids(rows[2:])


@pytest.fixture
def ordered_by(monkeypatch):
    """The columns by which pages were ordered."""
    seen = []

    def page(rows, *, order, **asked):
        seen.append(rows.model._meta.get_field(order.column))
        return page_of(rows, order=order, **asked)

    monkeypatch.setattr("api.endpoint.page_of", page)
    return seen


@pytest.fixture
def furnished(cast, coach):
    place = furnish(cast)
    add_rows(place, coach, 0, 3)
    return place


@pytest.fixture
def reader_of(cast, coach, signed_in):
    """Who may read a route: its owner alone, or a coach as well."""
    owner = signed_in(cast.owner)
    return lambda route: owner if route.startswith(OWNERS) else coach


@pytest.mark.parametrize("route", sorted(lists()))
def test_every_order_of_every_list_comes_in_pages_as_it_comes_whole(furnished, reader_of, route, ordered_by):
    address, reader = address_of(route, furnished), reader_of(route)
    for word in ["stored", *lists()[route].orders]:
        whole = reader.get(f"{address}?ordering={word}&page_size=200").json()["items"]
        size = max(1, len(whole) // 3)
        by_page = list(pages(reader, f"{address}?ordering={word}&page_size={size}"))
        assert [item for page in by_page for item in page.json()["items"]] == whole, word
        down = reader.get(f"{address}?ordering=-{word}&page_size=200").json()["items"]
        assert len(whole) >= 2 and down == whole[::-1], word
        if word not in ("stored", "name"):  # names are compared as the database's collation has them
            assert [row[word] for row in whole] == sorted(row[word] for row in whole), word
    assert not any(column.null for column in ordered_by)


UNDECLARED = [
    ("colour=red", "colour"),
    ("id__gt=1", "id__gt"),
    ("ordering=password", "ordering"),
    ("ordering=practice__owner__email", "ordering"),
    ("ordering=stored,id", "ordering"),
    ("ordering=stored&ordering=stored", "ordering"),
    ("page_size=0", "page_size"),
    ("page_size=201", "page_size"),
    ("page_size=%D9%A1", "page_size"),
    ("cursor=bmljZSB0cnk", "cursor"),
    ("cursor=%00", "cursor"),
]


@pytest.mark.parametrize("route", sorted(lists()))
def test_what_a_list_does_not_declare_is_refused_by_name(furnished, reader_of, route):
    for query, named in UNDECLARED:
        answer = reader_of(route).get(f"{address_of(route, furnished)}?{query}")
        assert answer.status_code == 400, query
        assert answer.json()["detail"].startswith(named), answer.json()


@pytest.mark.parametrize(
    "address", ["devices", "symptoms", "me", "clients/{client}", "clients/{client}/tolerated-exposure"]
)
def test_what_is_no_list_refuses_what_it_does_not_know_as_well(cast, coach, address):
    address = f"/api/v1/{address.format(client=cast.client.uid)}"
    assert coach.get(address).status_code == 200
    for query in ("colour=red", "cursor=a", "ordering=stored", "page_size=5", "fields=id&fields=id"):
        assert coach.get(f"{address}?{query}").status_code == 400, query


def test_a_cursor_is_good_for_the_list_the_order_and_the_filters_it_was_made_for(cast, coach, signed_in):
    alerts_on(cast.client, 1, 2, 3)
    following = coach.get(f"{ALERTS}?ordering=opened_on&page_size=1").json()["next"]
    cursor = parse_qs(urlsplit(following).query)["cursor"][0]
    good = f"{ALERTS}?ordering=opened_on&cursor={cursor}"
    assert coach.get(f"{good}&page_size=2").status_code == 200  # another size is no other list
    assert coach.get(f"{good}&fields=target").status_code == 200
    for bad in (
        f"{ALERTS}?cursor={cursor}",
        f"{ALERTS}?ordering=-opened_on&cursor={cursor}",
        f"{good}&kind=red_flag",
        f"{good}x",
        f"/api/v1/clients?cursor={cursor}",
    ):
        answer = coach.get(bad)
        assert (answer.status_code, answer.json()["type"]) == (400, "/problems/bad_cursor"), bad
    for other in (cast.owner, cast.stranger, cast.client):
        assert signed_in(other).get(good).status_code == 400


def test_a_refused_list_is_not_on_the_trail(cast, coach):
    alerts_on(cast.client, 1)
    AuditEvent.objects.all().delete()
    for query in ("cursor=made-up", "colour=red", "fields=colour"):
        coach.get(f"{ALERTS}?{query}")
    assert not AuditEvent.objects.exists()


def some_value(field):
    """A value that the filter takes."""
    if isinstance(field, serializers.ChoiceField):
        return next(iter(field.choices))
    if isinstance(field, InstantField):
        return "2026-02-01T00:00:00Z"
    if isinstance(field, DayField):
        return "2026-02-01"
    return str(uuid.uuid4()) if isinstance(field, IdField) else "squat"


@pytest.mark.parametrize("route", sorted(lists()))
def test_every_filter_that_a_list_declares_is_answered(furnished, reader_of, route):
    address, query = address_of(route, furnished), lists()[route]
    for word, field in query().fields.items():
        if word not in PAGING_WORDS:
            status = reader_of(route).get(f"{address}?{word}={some_value(field)}").status_code
            assert status == (404 if (route, word) == ("api/v1/alerts", "client") else 200), word


# One fact of each filter: of the rows that are there, those that it lets through.


def test_alerts_are_narrowed_by_target_and_by_the_days_on_which_they_opened(cast, coach):
    rows = alerts_on(cast.client, 1, 2, 3)
    assert ids(coach, f"{ALERTS}?target=site:1") == [str(rows[1].uid)]
    assert ids(coach, f"{ALERTS}?from=2026-02-02&ordering=stored") == uids(rows[1:])
    assert ids(coach, f"{ALERTS}?until=2026-02-02&ordering=stored") == uids(rows[:2])
    assert ids(coach, f"{ALERTS}?from=2026-02-02&until=2026-02-02") == [str(rows[1].uid)]
    AlertFactory(client=cast.colleagues_client, target="site:1")
    assert ids(coach, f"{ALERTS}?target=site:1") == [str(rows[1].uid)]


@pytest.mark.parametrize(
    "query", ["from=2026-02-03&until=2026-02-02", "from=yesterday", "until=2026-02-30", "from=0001-01-01"]
)
def test_days_that_are_none_or_out_of_order_are_refused(coach, query):
    assert coach.get(f"{ALERTS}?{query}").status_code == 400


def test_sessions_are_narrowed_by_day_and_exercise_and_come_once_each(cast, coach, signed_in):
    app = signed_in(cast.client)
    found = {}
    for day, exercise in (("26", "back_squat"), ("27", "front_squat"), ("28", "back_squat")):
        body = session_body(
            performed_at=f"2026-02-{day}T08:00:00Z",
            ended_at=None,
            sets=[set_body(exercise=exercise), set_body(exercise=exercise)],
            pain_reports=[],
        )
        found[day] = str(uuid.uuid4())
        assert app.put(f"/api/v1/sessions/{found[day]}", body, format="json").status_code == 201
    base = f"/api/v1/clients/{cast.client.uid}/sessions?ordering=performed_at"
    assert ids(coach, f"{base}&exercise=front_squat") == [found["27"]]
    assert ids(coach, f"{base}&exercise=back_squat") == [found["26"], found["28"]]
    assert ids(coach, f"{base}&until=2026-02-26") == [found["26"]]
    assert ids(coach, f"{base}&exercise=no_such") == []


def test_pain_reports_are_narrowed_by_site_moment_and_day(cast, coach, signed_in):
    app, found = signed_in(cast.client), []
    for side, moment, day in (("left", "during", "26"), ("right", "during", "26"), ("left", "after", "27")):
        found.append(str(uuid.uuid4()))
        body = pain_body(side=side, moment=moment, reported_at=f"2026-02-{day}T08:00:00Z")
        assert app.put(f"/api/v1/pain-reports/{found[-1]}", body, format="json").status_code == 201
    base = f"/api/v1/clients/{cast.client.uid}/pain-reports?ordering=stored"
    assert ids(coach, f"{base}&side=left") == [found[0], found[2]]
    assert ids(coach, f"{base}&joint=knee&side=right") == [found[1]]
    assert ids(coach, f"{base}&moment=after") == [found[2]]
    assert ids(coach, f"{base}&from=2026-02-27") == [found[2]]
    assert ids(coach, f"{base}&joint=hip") == []


def test_clients_are_narrowed_by_coach_and_training_status_within_those_you_may_see(cast, coach, signed_in):
    novice, advanced = (
        ClientFactory(coach=cast.coach),
        ClientFactory(coach=cast.coach, training_status="advanced"),
    )
    assert ids(coach, "/api/v1/clients?training_status=advanced") == [str(advanced.uid)]
    assert ids(coach, f"/api/v1/clients?coach={cast.colleague.uid}") == []
    owner = signed_in(cast.owner)
    assert ids(owner, f"/api/v1/clients?coach={cast.colleague.uid}") == [str(cast.colleagues_client.uid)]
    assert str(novice.uid) in ids(owner, f"/api/v1/clients?coach={cast.coach.uid}&training_status=novice")


def test_injuries_and_their_restrictions_are_narrowed_by_their_words(cast, coach):
    knee = InjuryFactory(client=cast.client)
    hip = InjuryFactory(client=cast.client, joint="hip", status="settled")
    base = f"/api/v1/clients/{cast.client.uid}/injuries"
    assert ids(coach, f"{base}?status=settled") == ids(coach, f"{base}?joint=hip") == [str(hip.uid)]
    rows = [
        Restriction.objects.create(
            practice=cast.practice, injury=knee, kind="limit", limit="None", said_by=said_by, from_on=day
        )
        for said_by, day in (("coach", date(2026, 1, 1)), ("clinician", date(2026, 2, 1)))
    ]
    address = f"{base}/{knee.uid}/restrictions"
    assert (
        ids(coach, f"{address}?said_by=clinician")
        == ids(coach, f"{address}?from=2026-01-15")
        == uids(rows[1:])
    )
    assert ids(coach, f"{address}?kind=avoid_pattern") == []


def test_the_trail_is_narrowed_by_day_action_and_record(cast, coach):
    for days, action in ((0, "create"), (1, "update"), (2, "update")):
        AuditEvent.objects.create(
            practice=cast.practice,
            at=NOW - timedelta(days=days),
            subject_key=cast.client.audit_key,
            action=action,
            record_kind="injury",
        )
    base = f"/api/v1/clients/{cast.client.uid}/audit?record_kind=injury"

    def count(query=""):
        return len(coach.get(f"{base}{query}").json()["items"])

    assert (count(), count("&action=update")) == (3, 2)
    assert (count("&from=2026-03-02"), count("&until=2026-03-01"), count("&until=2026-02-01")) == (1, 2, 0)
    assert coach.get(f"{base}&from=2026-03-02T11:30:00Z").status_code == 400


def test_scores_and_clearances_are_narrowed_by_day(cast, coach):
    for day in (1, 2, 3):
        Score.objects.create(
            practice=cast.practice,
            client=cast.client,
            night_on=date(2026, 2, day),
            method="test",
            scored_at=NOW,
        )
        Clearance.objects.create(
            practice=cast.practice,
            client=cast.client,
            clinician_name="Dana",
            clinician_profession="surgeon",
            cleared_on=date(2026, 2, day),
            recorded_at=NOW,
        )
    base = f"/api/v1/clients/{cast.client.uid}"
    nights = coach.get(f"{base}/scores?from=2026-02-02&ordering=night_on").json()["items"]
    assert [row["night_on"] for row in nights] == ["2026-02-02", "2026-02-03"]
    cleared = coach.get(f"{base}/clearances?until=2026-02-01").json()["items"]
    assert [row["cleared_on"] for row in cleared] == ["2026-02-01"]
