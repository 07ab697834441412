"""Storing what a file of sets says, through the same door as what client apps post."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from coaching.errors import NotFoundError
from coaching.models import Actor, Client, LoggedSet, Practice, Role
from coaching.models.membership import Membership
from coaching.operations.import_checks import FileSession, check_rows
from coaching.operations.import_rows import RowProblem, SetRow
from coaching.operations.sessions import Outcome, record_batch

BATCH = 100

Tell = Callable[[int, int], None]


def tell_nobody(done: int, total: int) -> None:
    """For whoever does not wait at a screen."""


@dataclass(frozen=True, slots=True)
class Asked:
    """How a file is to be taken: as that of `only` one client; links that lead nowhere refused or not."""

    only: Client | None = None
    is_dry_run: bool = False
    skips_bad: bool = False
    leaves_out_links: bool = False


AS_IT_IS = Asked()


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file: sessions that are new, that stood already, that were refused for a bad row.

    Where nothing was written, `sessions_new` and `sets_new` are those that would have been.
    """

    rows: int
    bad_rows: int
    sessions_new: int
    sessions_standing: int
    sessions_refused: int
    sets_new: int
    sets_to_confirm: int
    is_written: bool
    problems: tuple[RowProblem, ...]

    @property
    def has_good(self) -> bool:
        return bool(self.sessions_new or self.sessions_standing)


def import_sets(
    *,
    actor: Actor,
    rows: Sequence[SetRow],
    now: datetime,
    asked: Asked = AS_IT_IS,
    tell: Tell = tell_nobody,
) -> Imported:
    """Check every row, then store the sessions that are new.

    Nothing is written while any row is bad, unless it is asked to skip these: then whole sessions without a
    bad row are. Safe to repeat, also after a break: each batch is a transaction of its own, so that a long
    file does not keep everybody else from writing, and a session's id stands in the file or follows from it.
    """
    checked = check_rows(
        actor=actor, rows=rows, now=now, only=asked.only, leaves_out_links=asked.leaves_out_links
    )
    done = _Stored()
    is_written = not asked.is_dry_run and (asked.skips_bad or not checked.problems)
    if is_written:
        done = _store(actor, checked.fresh, now, tell)
    problems = (*checked.problems, *done.problems)
    return Imported(
        rows=len(rows),
        bad_rows=len({problem.line for problem in problems}),
        sessions_new=done.sessions if is_written else len(checked.fresh),
        sessions_standing=checked.n_standing + done.standing,
        sessions_refused=checked.n_refused + len(done.problems),
        sets_new=done.sets if is_written else sum(len(session.sets) for session in checked.fresh),
        sets_to_confirm=done.to_confirm,
        is_written=is_written,
        problems=problems,
    )


def owner_of(practice: Practice) -> Actor:
    """On whose behalf a file is brought in by hand. Raises NotFoundError for a practice without an owner."""
    owner = Membership.objects.filter(practice=practice, role=Role.OWNER, left_at__isnull=True)
    found = owner.order_by("id").first()
    if found is None:
        raise NotFoundError("This practice has no owner yet: the invitation waits to be accepted.")
    return Actor(
        account_id=found.account_id,
        device_id=None,
        practice_id=practice.id,
        role=Role.OWNER,
        membership_id=found.id,
        sees_all_clients=True,
    )


@dataclass(slots=True)
class _Stored:
    sessions: int = 0
    standing: int = 0
    sets: int = 0
    to_confirm: int = 0
    problems: tuple[RowProblem, ...] = ()


def _store(actor: Actor, sessions: Sequence[FileSession], now: datetime, tell: Tell) -> _Stored:
    stored = _Stored()
    n_done = 0
    for _, group in groupby(sessions, key=lambda session: session.client.id):
        of_client = list(group)
        for start in range(0, len(of_client), BATCH):
            batch = of_client[start : start + BATCH]
            _store_batch(actor, batch, now, stored)
            n_done += len(batch)
            tell(n_done, len(sessions))
    return stored


def _store_batch(actor: Actor, batch: Sequence[FileSession], now: datetime, stored: _Stored) -> None:
    """Store one client's sessions; what has changed since the check is told as a problem."""
    entries = [session.entry() for session in batch]
    items = record_batch(actor=actor, client=batch[0].client, entries=entries, now=now)
    fresh: list[int] = []
    for session, item in zip(batch, items, strict=True):
        if item.error is not None:
            problem = RowProblem(session.rows[0].line, "", item.error.code, item.error.detail)
            stored.problems = (*stored.problems, problem)
        elif item.recorded is not None and item.recorded.outcome == Outcome.CREATED:
            fresh.append(item.recorded.session.id)
            stored.sets += len(session.sets)
        else:
            stored.standing += 1
    stored.sessions += len(fresh)
    stored.to_confirm += LoggedSet.objects.filter(session__in=fresh, is_to_confirm=True).count()
