"""What became of the posts, counted in the processes that answered them and added up in one folder.

Each process has a file there (multiprocess mode of prometheus_client). A count is worth less than a post:
whatever is wrong with the folder, the post is answered, and counts are lost.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import structlog
from django.conf import settings
from prometheus_client import Counter
from prometheus_client.mmap_dict import MmapedDict

# The settings have named the folder to prometheus_client, so that it counts for many processes.
POSTS = Counter("forbear_posts", "Posts of sessions and pain reports, by what became of them.", ["outcome"])
FILES = "counter_*.db"
OF_THE_GONE = "counter_gone.db"
BYTES_AT_FIRST = 64 * 1024

log = structlog.get_logger("post_counts")
_given_up_by: set[int] = set()
_allocated_by: set[int] = set()


def folder() -> Path:
    return Path(settings.METRICS_DIR)


def count_posts(outcome: str, number: int = 1) -> None:
    """Count; nothing is raised. A process that could not once does not try again."""
    pid = os.getpid()
    if pid in _given_up_by:
        return
    try:
        if pid not in _allocated_by:
            _allocate(folder() / f"counter_{pid}.db")
            _allocated_by.add(pid)
        POSTS.labels(outcome).inc(number)
    except Exception as error:  # a full disk, a folder of somebody else's, a file that is damaged
        _given_up_by.add(pid)
        log.warning("posts_are_not_counted", error=type(error).__name__)


def _allocate(file: Path) -> None:
    """Take the disk's room before the file is mapped: a hole that cannot be filled would kill the process."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not file.exists():
        file.write_bytes(bytes(BYTES_AT_FIRST))


def add_up_the_gone() -> None:
    """Put the counts of processes that have ended into one file; safe to repeat. Nothing is raised."""
    try:
        with _locked(fcntl.LOCK_EX):
            for file in folder().glob(FILES):
                if file.name != OF_THE_GONE and _is_gone(int(file.stem.partition("_")[2])):
                    _move_counts(file, folder() / OF_THE_GONE)
    except Exception as error:
        log.warning("counts_of_the_gone_are_lost", error=type(error).__name__)


@contextmanager
def read_together() -> Iterator[Path]:
    """The folder, while no file is moved in it. Raises OSError if there is none."""
    with _locked(fcntl.LOCK_SH):
        yield folder()


@contextmanager
def _locked(how: int) -> Iterator[None]:
    descriptor = os.open(folder(), os.O_RDONLY)
    try:
        fcntl.flock(descriptor, how)
        yield
    finally:
        os.close(descriptor)


def _is_gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _move_counts(file: Path, into: Path) -> None:
    """A file that is damaged is taken away as well."""
    counts = {}
    try:
        counts = {key: value for key, value, _, _ in MmapedDict.read_all_values_from_file(file)}
    finally:
        file.unlink()
    if counts:
        _allocate(into)
        sums = MmapedDict(str(into))
        for key, value in counts.items():
            sums.write_value(key, sums.read_value(key)[0] + value, 0.0)
        sums.close()
