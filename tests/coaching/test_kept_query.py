"""A query that is put together once gives what the query itself gives."""

import pytest

from coaching.models import DeviceToken
from coaching.models.kept_query import KeptQuery
from coaching.models.scope import UnscopedQueryError, across_practices, outside_of_practices, within_practice

RELATED = ("user", "practice", "membership", "client")


@pytest.fixture
def of_key():
    return KeptQuery(lambda: DeviceToken.objects.filter(token_key="").select_related(*RELATED))


def fields_of(row):
    return None if row is None else {field.attname: getattr(row, field.attname) for field in row._meta.fields}


def test_it_gives_rows_and_what_is_selected_with_them(of_key, cast, signed_in, django_assert_num_queries):
    signed_in(cast.client)
    signed_in(cast.owner)
    with across_practices("a test"):
        of_client, of_owner = DeviceToken.objects.select_related(*RELATED).order_by("created")
        for expected in (of_client, of_owner, of_client):
            [found] = of_key.rows(expected.token_key)
            with django_assert_num_queries(0):
                assert fields_of(found) == fields_of(expected)
                for name in RELATED:
                    assert fields_of(getattr(found, name)) == fields_of(getattr(expected, name))
        assert (of_client.membership, of_owner.client) == (None, None)
        assert of_key.rows("nobody's") == []


def test_it_is_asked_in_the_scope_that_it_was_made_in(of_key, cast):
    with across_practices("a test"):
        of_key.rows("")
    with within_practice(cast.practice.id), pytest.raises(UnscopedQueryError):
        of_key.rows("")


def test_it_is_not_asked_outside_of_any(of_key, db):
    with outside_of_practices(), pytest.raises(UnscopedQueryError):
        of_key.rows("")
