"""Serve the API from this one process: the embedded default, with no broker and no other service."""

import os
import socket
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connections
from gunicorn.app.base import Application
from gunicorn.util import import_app

from coaching.management.arguments import WholeNumber
from coaching.management.by_hand import COULD_NOT, CommandByHand
from coaching.reads.database_role import role_faults
from coaching.reads.readiness import is_migrated
from coaching.ticker import Ticker, holder_here

TICKER_STOPS_WITHIN_S = 3.0


MOST_THREADS = 256


class Command(CommandByHand):
    help = (
        "Serves the API, with a ticker thread that runs due nights and sends waiting mail. Migrates the "
        "database first if it is behind; writes what is posted, and its log lines to the error stream."
    )
    ends = (
        "Runs until Ctrl-C or SIGTERM, and ends with 0 then; with 1 if the address is taken or there is no "
        "database; with 2 if asked wrongly; with 130 if interrupted before it serves."
    )
    interrupted = "It was not serving yet."
    needs_database = False  # it makes one
    is_quiet = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
        parser.add_argument("--port", type=WholeNumber(1, 65535), default=8000, help="the port to listen on")
        parser.add_argument(
            "--threads", type=WholeNumber(1, MOST_THREADS), default=4, help="requests served at once"
        )
        parser.add_argument("--no-ticker", action="store_true", help="leave due work to another process")

    def handle(self, *args: Any, **options: Any) -> None:
        check_free(options["host"], options["port"])
        if not is_migrated():
            self.stdout.write("The database is behind this code: migrating it first.")
            call_command("migrate", verbosity=0)
            self.stdout.write("The database is up to date.")
        for fault in role_faults():
            self.stderr.write(f"{fault} See README, PostgreSQL.")
        address = f"{options['host']}:{options['port']}"
        self.stdout.write(f"Serving on http://{address}/api/v1/docs (stop with Ctrl-C).")
        connections.close_all()  # the worker is a fork: it must not inherit a connection
        ServedProcess(address, options["threads"], has_ticker=not options["no_ticker"]).run()


def check_free(host: str, port: int) -> None:
    """Say at once, in a sentence, what the server would try five times."""
    try:
        family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except OSError as error:
        raise CommandError(
            f"Cannot listen on {host}, port {port}: {error.strerror}.", returncode=COULD_NOT
        ) from None


class ServedProcess(Application):  # type: ignore[misc]  # gunicorn carries no types
    """One worker with threads; its ticker starts and stops with it."""

    def __init__(self, address: str, threads: int, *, has_ticker: bool) -> None:
        self.address = address
        self.threads = threads
        self.has_ticker = has_ticker
        self.ticker: Ticker | None = None
        super().__init__()

    def load_config(self) -> None:
        self.load_config_from_module_name_or_filename("python:coaching.gunicorn_conf")
        own = {"bind": self.address, "workers": 1, "threads": self.threads}
        if self.has_ticker:
            self.count_posts = self.cfg.post_worker_init
            own |= {"post_worker_init": self.start_ticker, "worker_exit": self.stop_ticker}
        for name, value in own.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        return import_app("api.wsgi:application")

    def start_ticker(self, worker: Any) -> None:
        self.count_posts(worker)
        # Named after the parent, so that a worker that takes a dead one's place takes its lease over at once.
        self.ticker = Ticker(holder=holder_here(os.getppid()), is_process_stopping=lambda: not worker.alive)
        self.ticker.start()

    def stop_ticker(self, arbiter: Any, worker: Any) -> None:
        if self.ticker is not None:
            self.ticker.stop(wait_s=TICKER_STOPS_WITHIN_S)
