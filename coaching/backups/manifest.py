"""What a backup says about itself."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.utils.crypto import salted_hmac

from coaching.backups.refusals import BackupRefusedError

FORMAT = 1
SERVICE = "forbear"


@dataclass(frozen=True, slots=True)
class Counted:
    """The rows of a table: how many, and a sum over their digests in which their order plays no part."""

    rows: int
    checksum: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """`key_check` tells whether a SECRET_KEY is the one of that time, and nothing else about it."""

    made_at: datetime
    engine: str
    engine_version: str
    migrations: tuple[tuple[str, str], ...]
    tables: Mapping[str, Counted]
    dump_bytes: int
    dump_sha256: str
    key_check: str

    @property
    def rows(self) -> int:
        return sum(counted.rows for counted in self.tables.values())

    def as_json(self) -> bytes:
        plain = {
            "service": SERVICE,
            "format": FORMAT,
            "made_at": self.made_at.isoformat(),
            "engine": self.engine,
            "engine_version": self.engine_version,
            "key_check": self.key_check,
            "dump": {"bytes": self.dump_bytes, "sha256": self.dump_sha256},
            "migrations": [list(each) for each in self.migrations],
            "tables": {
                name: {"rows": each.rows, "checksum": each.checksum} for name, each in self.tables.items()
            },
        }
        return json.dumps(plain, indent=1).encode() + b"\n"


def read_manifest(text: bytes) -> Manifest:
    """Raises BackupRefusedError for what this code does not understand."""
    try:
        plain = json.loads(text)
        if plain["service"] != SERVICE or plain["format"] != FORMAT:
            raise BackupRefusedError(f"It is of the kind {plain['service']} {plain['format']}.")
        return Manifest(
            made_at=datetime.fromisoformat(plain["made_at"]),
            engine=plain["engine"],
            engine_version=plain["engine_version"],
            migrations=tuple((app, name) for app, name in plain["migrations"]),
            tables={
                name: Counted(int(each["rows"]), str(each["checksum"]))
                for name, each in plain["tables"].items()
            },
            dump_bytes=int(plain["dump"]["bytes"]),
            dump_sha256=plain["dump"]["sha256"],
            key_check=plain["key_check"],
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        raise BackupRefusedError("Its manifest cannot be read.") from None


def key_check(secret: str) -> str:
    return salted_hmac("coaching.backups", "key check", secret=secret, algorithm="sha256").hexdigest()[:16]


def has_its_key(manifest: Manifest) -> bool:
    """Whether second factors and webhooks of the backup can be used with the secrets of this process."""
    secrets = (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    return manifest.key_check in {key_check(secret) for secret in secrets}
