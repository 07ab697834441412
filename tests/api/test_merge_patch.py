"""RFC 7396, Appendix A: every example of it; and the one way in which a PATCH is read."""

import json

import pytest

from api.merge_patch import merge_patch

MERGE_PATCH = "application/merge-patch+json"
# Original, patch, result: RFC 7396, Appendix A, in its order; from memory.
APPENDIX_A = [
    ({"a": "b"}, {"a": "c"}, {"a": "c"}),
    ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
    ({"a": "b"}, {"a": None}, {}),
    ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
    ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
    ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
    ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
    ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
    (["a", "b"], ["c", "d"], ["c", "d"]),
    ({"a": "b"}, ["c"], ["c"]),
    ({"a": "foo"}, None, None),
    ({"a": "foo"}, "bar", "bar"),
    ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
    ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
    ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
]


@pytest.mark.parametrize(("original", "patch", "result"), APPENDIX_A)
def test_an_example_of_the_rfc_comes_out_as_it_should(original, patch, result):
    before = json.dumps(original)
    assert merge_patch(original, patch) == result
    assert json.dumps(original) == before


@pytest.fixture
def record(cast, signed_in):
    return signed_in(cast.coach), f"/api/v1/clients/{cast.client.uid}"


def patch(record, body, content_type=MERGE_PATCH):
    api, address = record
    version = api.get(address)["ETag"]
    return api.patch(address, json.dumps(body), content_type=content_type, headers={"If-Match": version})


@pytest.mark.parametrize("content_type", [MERGE_PATCH, "application/json"])
def test_null_takes_a_member_out(record, content_type):
    patch(record, {"private_note": "Careful", "birth_on": "1980-02-29"})
    answer = patch(record, {"private_note": None, "birth_on": None}, content_type)
    assert answer.status_code == 200, answer.content
    assert (answer.json()["private_note"], answer.json()["birth_on"]) == ("", None)


def test_null_where_there_must_be_a_value_is_pointed_at(record):
    answer = patch(record, {"name": None})
    assert answer.status_code == 422
    assert [(row["pointer"], row["code"]) for row in answer.json()["errors"]] == [("/name", "null")]


@pytest.mark.parametrize("body", [[], "name", 3, None])
def test_a_patch_that_is_no_object_would_replace_the_record_and_is_refused(record, body):
    assert patch(record, body).status_code == 422


def test_an_empty_patch_is_an_edit_that_changes_nothing_else(record):
    answer = patch(record, {})
    assert answer.status_code == 200
    assert answer.json()["version"] == 2


def test_only_a_patch_comes_as_a_merge_patch(record):
    api, address = record
    put = api.put(f"{address}/consents/referral", '{"text_version":"1"}', content_type=MERGE_PATCH)
    assert put.status_code == 415
