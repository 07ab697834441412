"""A file that is there whole or not at all, however its writer ends."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from django.core.management.base import CommandError


def check_folder(path: Path) -> None:
    """Refuse before the work what could not be written after it."""
    folder = path.absolute().parent
    if not folder.is_dir():
        raise CommandError(f"There is no folder {path.parent}.", returncode=1)
    if path.exists() and not path.is_file():
        raise CommandError(f"{path} is there and is no plain file.", returncode=1)
    if not os.access(folder, os.W_OK):
        raise CommandError(f"The folder {path.parent} cannot be written to.", returncode=1)


@contextmanager
def whole_file(path: Path, *, is_private: bool = False) -> Iterator[IO[bytes]]:
    """Write beside `path` first and then in its place; what was there before stays if anything fails.

    A private file is for its owner alone.
    """
    descriptor, beside = tempfile.mkstemp(dir=path.absolute().parent, prefix=path.name, suffix=".part")
    try:
        with os.fdopen(descriptor, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())  # else a power cut may leave the name without the bytes
        Path(beside).chmod(0o600 if is_private else 0o666 & ~_umask())
        Path(beside).replace(path)
    finally:
        Path(beside).unlink(missing_ok=True)


def _umask() -> int:
    """The process's own mask: a temporary file is for its owner only, the file in its place is like any."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
