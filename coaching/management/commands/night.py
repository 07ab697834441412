"""Run one night by hand."""

from argparse import ArgumentParser
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from coaching.models import Night, Practice
from coaching.nightly import night_by_hand, run_night


class Command(BaseCommand):
    help = (
        "Runs the night of one date by hand: it sees the days before that date and ignores later ones. "
        "Running it again changes nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--on", required=True, type=date.fromisoformat, help="the night's date, 2026-03-02"
        )
        parser.add_argument("--practice", type=UUID, help="the practice's id; all practices if left out")

    def handle(self, *args: Any, **options: Any) -> None:
        practices = Practice.objects.order_by("id")
        if options["practice"]:
            practices = practices.filter(uid=options["practice"])
            if not practices.exists():
                raise CommandError("There is no such practice.", returncode=2)
        for practice in practices:
            today = timezone.localdate(timezone=ZoneInfo(practice.zone))
            if options["on"] > today:
                raise CommandError(
                    f"--on: it is {today} at {practice.name}; no night is run ahead.", returncode=2
                )
            night = night_by_hand(practice=practice, night_on=options["on"], now=timezone.now())
            run_night(night=night, now=timezone.now())
            self._tell(Night.objects.get(id=night.id))

    def _tell(self, night: Night) -> None:
        self.stdout.write(
            f"{night.practice.name}, night of {night.night_on}: {night.status}; "
            f"{night.clients_scored} clients scored, {night.clients_failed} could not be; "
            f"{night.alerts_opened} alerts opened, {night.alerts_closed} closed."
        )
