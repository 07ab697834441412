"""The main job, end to end, on invented people: posts over HTTP, the nights, the morning sheet."""

import json
import os
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connections
from django.utils import timezone

from coaching.budget import Budget
from coaching.demo.pictures import fetch_pictures
from coaching.demo.plans import PLANS
from coaching.demo.posting import Posted, post_everything, post_late
from coaching.demo.practice import DemoPractice, set_up
from coaching.demo.service import DemoError, served
from coaching.demo.telling import sheet_lines
from coaching.demo.training import WEEKS
from coaching.emails import send_due_mail
from coaching.management.arguments import day
from coaching.management.by_hand import ASKED_WRONGLY, COULD_NOT, CommandByHand
from coaching.models import Membership, Night
from coaching.models.scope import across_practices
from coaching.nightly import night_by_hand, rescore_dirty_clients, run_night
from coaching.operations.leases import is_leased
from coaching.reads.sheet import morning_sheet
from coaching.ticker import LEASE_NAME

NIGHTS = 42
RESCORING_BUDGET_S = 30.0
MAIL_BUDGET_S = 60.0
MAILS_AT_MOST = 200


class Command(CommandByHand):
    help = (
        "Starts the server, makes an invented practice, posts sixteen weeks of sessions over HTTP, runs the "
        "nights of six weeks and prints the morning sheet. Starts from scratch each time; touches no data "
        "but a demo's own. Writes a database, mails, pictures and the demo's tokens into FORBEAR_VAR_DIR; "
        "tells on the error stream how far it is."
    )
    ends = (
        "Ends with 0 if done; with 1 if it could not be, as while a server uses the demo's data; with 2 if "
        "asked wrongly, or beside data that no demo made; with 130 if interrupted: the server that it "
        "started is stopped, and the next demo starts from scratch."
    )
    interrupted = "Its server is stopped, and the next demo starts from scratch."
    needs_database = False  # it makes one

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--on",
            type=day,
            help="play the demo as if this were today; a day gone by writes no morning mail",
        )

    @across_practices("the demo's database holds nothing but the demo")
    def handle(self, *args: Any, **options: Any) -> None:
        var = Path(settings.VAR_DIR)
        self._start_afresh(var)
        today: date = options["on"] or timezone.localdate()
        start_on = today - timedelta(days=today.weekday() or 7, weeks=WEEKS)
        try:
            with served(var / "demo-server.log") as address:
                self._tell(f"The server answers at {address}; setting up the practice")
                made = set_up(address, start_on, timezone.now(), self._tell)
                self._keep_tokens(var, made)
                self._tell(f"Posting {WEEKS} weeks of sessions with the clients' own tokens")
                posted = post_everything(made, start_on, today, self._tell)
                self._run_nights(made, today)
                late = post_late(posted)
                rescored = rescore_dirty_clients(now=timezone.now(), budget=Budget.of(RESCORING_BUDGET_S))
                self._tell(f"{late} sessions came late: {rescored} scores of past nights made again")
                mail = send_due_mail(now=timezone.now(), budget=Budget.of(MAIL_BUDGET_S), limit=MAILS_AT_MOST)
                pictures = fetch_pictures(made, var / "pictures")
                self._tell(f"{mail.sent} mails and {pictures} pictures written")
        except DemoError as error:
            raise CommandError(str(error), returncode=COULD_NOT) from None
        self._show(made, posted, today, var)

    def _start_afresh(self, var: Path) -> None:
        """Remove the last demo's data; anything that is not a demo's stays, and the command says so."""
        if settings.DATABASE_URL or settings.EMAIL_URL:
            raise CommandError(
                "The demo runs on the embedded default: unset DATABASE_URL and EMAIL_URL.",
                returncode=ASKED_WRONGLY,
            )
        database, marker = Path(settings.DATABASES["default"]["NAME"]), var / "demo.json"
        if database.exists() and not marker.exists():
            raise CommandError(
                f"{database} holds data that no demo made. Move it, or set FORBEAR_VAR_DIR.",
                returncode=ASKED_WRONGLY,
            )
        if database.exists() and is_leased(name=LEASE_NAME, now=timezone.now()):
            raise CommandError(
                "A server is using the demo's data. Stop it, then try again.", returncode=COULD_NOT
            )
        connections.close_all()
        marker.write_text("{}")
        for path in (database, *(database.with_name(database.name + end) for end in ("-wal", "-shm"))):
            path.unlink(missing_ok=True)
        for mail in Path(settings.OUTBOX_DIR).glob("*.eml"):
            mail.unlink()
        call_command("migrate", verbosity=0)

    def _keep_tokens(self, var: Path, made: DemoPractice) -> None:
        """The demo's own tokens, readable by this user only; they open nothing but the demo's data."""
        tokens = {
            "owner": made.coaches[0].token,
            "coach": made.coaches[1].token,
            "clients": {client.story.name: client.person.token for client in made.clients},
        }
        path = var / "demo.json"
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600), "w") as file:
            json.dump(tokens, file, indent=2)

    def _run_nights(self, made: DemoPractice, today: date) -> None:
        for days_ago in range(NIGHTS - 1, -1, -1):
            night_on = today - timedelta(days=days_ago)
            night = night_by_hand(practice=made.practice, night_on=night_on, now=timezone.now())
            run_night(night=night, now=timezone.now())
            if days_ago % 7 == 0:
                done = Night.objects.get(id=night.id)
                self._tell(f"Night of {night_on}: {done.clients_scored} clients scored")

    def _show(self, made: DemoPractice, posted: Posted, today: date, var: Path) -> None:
        self.stderr.write("")
        of_practice = Membership.objects.filter(practice=made.practice).order_by("id")
        for member in of_practice.select_related("practice", "account"):
            for line in sheet_lines(morning_sheet(membership=member, on=today)):
                self.stdout.write(line)
        for line in self._further(made, posted, var):
            self.stdout.write(line)

    def _further(self, made: DemoPractice, posted: Posted, var: Path) -> list[str]:
        address, bearer = settings.PUBLIC_URL, f'-H "Authorization: Bearer {made.coaches[0].token}"'
        flare = next(client.uid for client in made.clients if client.story.key == "flare")
        sent = posted.sessions + len(posted.late)
        return [
            f"Posted: {sent} sessions ({posted.replays} twice), {posted.mornings} other pain reports.",
            f"Plans: {', '.join(plan.name.lower() for plan in PLANS)}.",
            f"Mails: {settings.OUTBOX_DIR} (open an .eml file with any mail program)",
            f"Pictures: {var / 'pictures'}",
            f"Tokens: {var / 'demo.json'} (for this demo's data only)",
            "To look further, run `make serve` in another window, then:",
            f"  API page:  {address}/api/v1/docs",
            f"  the sheet: curl {bearer} {address}/api/v1/morning-sheet",
            f"  a picture: curl {bearer} -o shoulder.png "
            f"{address}/api/v1/clients/{flare}/sites/shoulder/right/picture.png",
        ]

    def _tell(self, line: str) -> None:
        self.stderr.write(f"{timezone.localtime():%H:%M:%S}  {line}", style_func=str)
        self.stderr.flush()
