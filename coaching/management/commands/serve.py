"""Serve the API from this one process: the embedded default, with no broker and no other service."""

import os
import platform
from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connections
from gunicorn.app.base import Application
from gunicorn.util import import_app

from coaching.reads.readiness import is_migrated
from coaching.ticker import Ticker

TICKER_STOPS_WITHIN_S = 3.0


class Command(BaseCommand):
    help = "Serves the API, with a ticker thread that runs due nights and sends waiting mail."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=4)
        parser.add_argument("--no-ticker", action="store_true", help="leave due work to another process")

    def handle(self, *args: Any, **options: Any) -> None:
        if not is_migrated():
            self.stdout.write("The database is behind this code: migrating it first.")
            call_command("migrate", verbosity=0)
            self.stdout.write("The database is up to date.")
        address = f"{options['host']}:{options['port']}"
        self.stdout.write(f"Serving on http://{address}/api/v1/docs (stop with Ctrl-C).")
        connections.close_all()  # the worker is a fork: it must not inherit a connection
        ServedProcess(address, options["threads"], has_ticker=not options["no_ticker"]).run()


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
            own |= {"post_worker_init": self.start_ticker, "worker_exit": self.stop_ticker}
        for name, value in own.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        return import_app("api.wsgi:application")

    def start_ticker(self, worker: Any) -> None:
        # Named after the parent, so that a worker that takes a dead one's place takes its lease over at once.
        self.ticker = Ticker(holder=f"{platform.node()}:{os.getppid()}")
        self.ticker.start()

    def stop_ticker(self, arbiter: Any, worker: Any) -> None:
        if self.ticker is not None:
            self.ticker.stop(wait_s=TICKER_STOPS_WITHIN_S)
