"""A person's archive read back: every file held against the manifest before a row of it is believed."""

import hashlib
import json
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coaching.exchange.person_archive import FORM, VERSION
from coaching.reads.person_rows import BROUGHT_IN

UNPACKED_AT_MOST_BYTES = 512 * 1024 * 1024


class ArchiveError(Exception):
    """The file is none of ours, or not as it was written; says so in one sentence."""


@dataclass(frozen=True, slots=True)
class PersonArchive:
    """The rows of every kind that is brought in, and whose they are."""

    client: str
    rows: dict[str, list[dict[str, Any]]]


def read_archive(path: Path) -> PersonArchive:
    """Raises ArchiveError, OSError."""
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive)
            rows = {kind.name: _rows(archive, manifest, f"json/{kind.name}.json") for kind in BROUGHT_IN}
            return PersonArchive(str(manifest["client"]), rows)
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, AttributeError) as error:
        raise ArchiveError("This is no archive of a person.") from error


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    if sum(entry.file_size for entry in archive.infolist()) > UNPACKED_AT_MOST_BYTES:
        raise ArchiveError("This archive is larger than any person's.")
    manifest: dict[str, Any] = json.loads(archive.read("manifest.json"))
    if manifest["form"] != FORM:
        raise ArchiveError("This is no archive of a person.")
    if manifest["version"] != VERSION:
        raise ArchiveError(
            f"This archive is of version {manifest['version']}; version {VERSION} is read here."
        )
    return manifest


def _rows(archive: zipfile.ZipFile, manifest: dict[str, Any], name: str) -> list[dict[str, Any]]:
    stated = {each["name"]: each["sha256"] for each in manifest["files"]}
    content = archive.read(name)
    if hashlib.sha256(content).hexdigest() != stated[name]:
        raise ArchiveError(f"{name} is not as it was written: its digest is another one.")
    rows = json.loads(content)
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise ValueError
    return rows
