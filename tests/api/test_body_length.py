"""What is answered before a body is read; the same over a real socket stands in journeys."""

import pytest
from django.test import RequestFactory

from api.middleware import LengthRequiredMiddleware
from api.parsers import MAX_BODY_BYTES


class Service:
    def __init__(self) -> None:
        self.was_asked = False

    def __call__(self, request):
        self.was_asked = True


@pytest.fixture
def service() -> Service:
    return Service()


def ask(service: Service, body: bytes = b"", **headers: str):
    request = RequestFactory().generic("PUT", "/api/v1/anything", body, "application/json", **headers)
    return LengthRequiredMiddleware(service)(request)


def test_a_body_of_the_greatest_length_passes(service):
    ask(service, b"0" * MAX_BODY_BYTES)
    assert service.was_asked


def test_a_body_one_byte_longer_is_refused(service):
    answer = ask(service, b"0" * (MAX_BODY_BYTES + 1))
    assert answer.status_code == 413
    assert answer["Content-Type"] == "application/problem+json"
    assert not service.was_asked


def test_a_chunked_body_is_refused(service):
    answer = ask(service, HTTP_TRANSFER_ENCODING="chunked", CONTENT_LENGTH="")
    assert answer.status_code == 411
    assert not service.was_asked


def test_a_request_without_a_body_passes(service):
    ask(service)
    assert service.was_asked


@pytest.mark.parametrize("length", ["two", "-1", "9" * 5000])
def test_a_length_that_is_no_number_is_left_to_the_parser(service, length):
    ask(service, CONTENT_LENGTH=length)
    assert service.was_asked
