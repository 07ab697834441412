"""Nights shared with more processes: each claims chunks of clients for itself, as workers do."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import get_context


@contextmanager
def shared_with(processes: int, night_ids: Sequence[int]) -> Iterator[None]:
    """So many more processes are at work on these nights; the block ends when they have done their part."""
    fresh = get_context("spawn")  # a fork would share connections
    started = [fresh.Process(target=_do_a_share, args=(list(night_ids),)) for _ in range(processes)]
    for process in started:
        process.start()
    try:
        yield
    finally:
        for process in started:
            process.join()


def _do_a_share(night_ids: Sequence[int]) -> None:
    """What it leaves, whoever shares with it tries again."""
    import django

    django.setup()
    from django.utils import timezone

    from coaching.models import Night
    from coaching.models.scope import across_practices
    from coaching.nightly import run_night

    with across_practices("by hand, for one practice or for all"):
        nights = [Night.objects.select_related("practice").get(id=each) for each in night_ids]
    for night in nights:
        run_night(night=night, now=timezone.now())
