"""Whether the doors tell by their time that an address has an account: medians, known over unknown.

A benchmark, not a test. Both are asked in turn, in random order, in one run, over the HTTP API in this
process, on a database of its own beside the one of DATABASE_URL, or in a file where none is named:
`.venv/bin/python -m tests.security.door_times [--rounds 60]`. Ends with 1 where a door is above the goal.
"""

import argparse
import gc
import logging
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import Any

import django

GOAL = 1.15
PASSWORD = "a-quiet-harbour-at-dawn"
WARM_UP = 5

Ask = Callable[[], Any]
Door = Callable[[int], tuple[Ask, Ask, int]]


@contextmanager
def database_of_its_own() -> Iterator[None]:
    from django.db import connection
    from django.test.utils import (
        setup_databases,
        setup_test_environment,
        teardown_databases,
        teardown_test_environment,
    )

    from coaching.models import scope
    from tests.scopes import Owner

    owner = Owner()
    setup_test_environment()
    with tempfile.TemporaryDirectory() as folder:
        if connection.vendor == "sqlite":
            connection.settings_dict["TEST"]["NAME"] = str(Path(folder) / "doors.sqlite3")
        owner.take_over()
        made = setup_databases(verbosity=0, interactive=False, serialized_aliases=())
        owner.hand_over()
        scope._unless_said = (
            scope.EVERYWHERE
        )  # as in the tests: what is asked begins outside of all by itself
        try:
            yield
        finally:
            owner.take_over()
            teardown_databases(made, verbosity=0)
            owner.stay.close()
            teardown_test_environment()


class Doors:
    """Each gives, for a number, how a known and how an unknown address are asked, and the status of both."""

    def __init__(self, rounds: int) -> None:
        from django.contrib.auth.hashers import make_password
        from rest_framework.test import APIClient

        from tests.conftest import token_for
        from tests.factories import ClientFactory, MembershipFactory

        self.known = [MembershipFactory() for _ in range(rounds)]
        password = make_password(PASSWORD)
        for member in self.known:
            member.account.password = password
            member.account.save()
        coach = MembershipFactory()
        self.newcomers = [ClientFactory(coach=coach, account=None) for _ in range(2 * rounds)]
        self.public, self.coach = APIClient(), APIClient()
        self.coach.credentials(HTTP_AUTHORIZATION=f"Bearer {token_for(coach)}")
        self.tokens: dict[str, str] = {}
        self.asked = 0

    def address(self) -> str:
        """Another network each time, so that no limit is met."""
        self.asked += 1
        return f"10.{self.asked >> 16 & 255}.{self.asked >> 8 & 255}.{self.asked & 255}"

    def emails(self, number: int) -> tuple[str, str]:
        known: str = self.known[number].account.email
        return known, f"{'x' * 4}{known[4:]}"

    def post(self, path: str, **body: Any) -> Ask:
        address = self.address()
        return lambda: self.public.post(f"/api/v1/{path}", body, format="json", REMOTE_ADDR=address)

    def sign_in(self, number: int) -> tuple[Ask, Ask, int]:
        known, unknown = (
            self.post("sign-in", email=email, password="not it at all", device_name="any")
            for email in self.emails(number)
        )
        return known, unknown, 401

    def reset(self, number: int) -> tuple[Ask, Ask, int]:
        known, unknown = (self.post("password-resets", email=email) for email in self.emails(number))
        return known, unknown, 202

    def invite(self, number: int) -> tuple[Ask, Ask, int]:
        def invite(email: str, place: int) -> Ask:
            body = {"role": "client", "email": email, "client": str(self.newcomers[place].uid)}

            def ask() -> Any:
                answer = self.coach.post("/api/v1/invitations", body, format="json")
                self.tokens[email] = answer.json()["token"]
                return answer

            return ask

        known, unknown = self.emails(number)
        return invite(known, 2 * number), invite(unknown, 2 * number + 1), 201

    def accept(self, number: int) -> tuple[Ask, Ask, int]:
        known, unknown = (
            self.post("invitations/accept", token=self.tokens[email], password=PASSWORD, device_name="any")
            for email in self.emails(number)
        )
        return known, unknown, 201


def timed(ask: Ask, expected: int) -> float:
    gc.collect()
    began = time.perf_counter()
    answer = ask()
    took = time.perf_counter() - began
    if answer.status_code != expected:
        sys.exit(f"{answer.status_code} instead of {expected}: {answer.content!r}")
    return took


def medians_s(door: Door, rounds: int, chance: random.Random) -> tuple[float, float]:
    """Of known and of unknown addresses; the first few are not counted."""
    took: tuple[list[float], list[float]] = ([], [])
    for number in range(rounds):
        known, unknown, expected = door(number)
        turns = [(took[0], known), (took[1], unknown)]
        chance.shuffle(turns)
        for times, ask in turns:
            times.append(timed(ask, expected))
    return median(took[0][WARM_UP:]), median(took[1][WARM_UP:])


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rounds", type=int, default=60, choices=range(10, 95), metavar="10-94")
    rounds = parser.parse_args().rounds
    with database_of_its_own():
        from django.db import connection

        logging.disable(logging.CRITICAL)

        doors = Doors(rounds)
        of_name: dict[str, Door] = {
            "sign-in, wrong password": doors.sign_in,
            "password reset": doors.reset,
            "password reset, again": doors.reset,
            "invitation of a client": doors.invite,
            "its acceptance": doors.accept,
        }
        sys.stdout.write(f"{connection.vendor}, {rounds} rounds, medians in ms\n")
        ratios = []
        for name, door in of_name.items():
            known, unknown = medians_s(door, rounds, random.Random(7))
            ratios.append(known / unknown)
            times = f"known {1e3 * known:7.2f}  unknown {1e3 * unknown:7.2f}"
            sys.stdout.write(f"{name:26} {times}  ratio {ratios[-1]:.3f}\n")
            sys.stdout.flush()
    return int(any(max(ratio, 1 / ratio) > GOAL for ratio in ratios))


if __name__ == "__main__":
    django.setup()
    sys.exit(main())
