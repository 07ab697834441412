def test_without_a_token_the_schema_is_still_public(client):
    assert client.get("/api/v1/schema").status_code == 200


def test_an_unknown_address_is_a_problem_and_not_a_page(client):
    answer = client.get("/api/v1/nothing-here")
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"


def test_the_cast_belongs_to_two_practices(cast):
    assert cast.client.practice != cast.strangers_client.practice
