"""The compose file as tests read it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "docker-compose.yml").read_text()
COMPOSE: dict[str, Any] = yaml.safe_load(TEXT)
SERVICES: dict[str, Any] = COMPOSE["services"]


@dataclass(frozen=True)
class Command:
    service: str
    words: tuple[str, ...]


def command_of(service: str) -> Command:
    return Command(service, tuple(SERVICES[service]["command"]))
