"""The digest by which a post is known again."""

from dataclasses import replace
from datetime import UTC, datetime
from uuid import UUID

import pytest

from coaching.operations.entries import PainEntry, SessionEntry, SetEntry, content_hash

AT = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
SET = SetEntry(
    uid=UUID(int=2),
    exercise_code="back_squat",
    kind="work",
    side="both",
    load_thousandths=100_000,
    load_unit="kg",
    reps=8,
    duration_s=None,
    rir=2.0,
    ended_by="target",
    tempo="",
    rest_s=None,
    follows_previous=False,
    prescription_uid=None,
)
PAIN = PainEntry(UUID(int=3), "knee", "left", "", "during", 2, {}, "", AT)
# Written down before a set had a guess and a pain report an explanation.
DIGEST = "v1:5f1b3646aab6d08dc8d2e754c6be7f849c15d773cea6341f432cf2bd0509fea9"


def session(row: SetEntry = SET, report: PainEntry = PAIN) -> SessionEntry:
    return SessionEntry(UUID(int=1), AT, None, None, "", None, (row,), (report,))


def test_what_was_stored_before_a_field_came_keeps_its_digest():
    assert content_hash(session()) == DIGEST


@pytest.mark.parametrize(
    "changed",
    [
        session(row=replace(SET, guessed_rir=0.0, guessed_after_reps=0)),
        session(row=replace(SET, guessed_rir=2.0, guessed_after_reps=5)),
        session(report=replace(PAIN, explanation="Fell off a ladder.")),
    ],
)
def test_a_later_field_that_says_something_is_part_of_the_content(changed):
    assert content_hash(changed) != DIGEST
