"""Answers served from memory, by their names: the least that a Django view can do."""

import os
from functools import cache
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.urls import path

FOLDER = "FORBEAR_BENCH_BODIES"


@cache
def _body(name: str) -> bytes:
    return (Path(os.environ[FOLDER]) / f"{name}.json").read_bytes()


def answer(request: HttpRequest, name: str) -> HttpResponse:
    return HttpResponse(_body(name), content_type="application/json")


urlpatterns = [path("<slug:name>", answer)]
