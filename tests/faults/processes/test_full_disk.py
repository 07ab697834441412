"""A disk that takes nothing more, under the embedded default: a limit on file sizes, lifted again later."""

import resource
import time

import pytest

pytestmark = [pytest.mark.servers, pytest.mark.faults]

FULL_FOR_S = 6.0
FULL_AT_BYTES = 40_000  # less than the database has, more than its log lines


def allow(kept, n_bytes):
    for pid in (kept.served.process.pid, *kept.children()):
        _, most = resource.prlimit(pid, resource.RLIMIT_FSIZE)
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (n_bytes, most))


def test_while_the_disk_is_full_posts_are_503_and_it_recovers_by_itself(embedded_bench, ledger):
    with embedded_bench.round() as night:
        night.start()
        night.wait_until_done()
        served, posted = night.service.kept["serve"], night.devices.posted
        for _ in range(3):
            before = dict(posted.statuses)
            night.strike("disk full for 6 s (SQLite)", lambda: allow(served, FULL_AT_BYTES))
            time.sleep(FULL_FOR_S)
            assert posted.statuses.get(503, 0) > before.get(503, 0)
            allow(served, resource.RLIM_INFINITY)
            time.sleep(2)
        night.settle(ledger, recovered=lambda strike: (night.posts_recovered_in_s(strike) or 0) - FULL_FOR_S)
        assert night.rows("PRAGMA integrity_check") == [("ok",)]


def test_mail_that_cannot_be_written_to_the_folder_is_written_later(embedded_bench):
    with embedded_bench.round() as night:
        night.service.env.pop("EMAIL_URL")  # mail becomes files
        outbox = night.service.folder / "var" / "outbox"
        night.start(has_devices=False)
        served = night.service.kept["serve"]
        night.strike("disk full for 6 s (mail files)", lambda: allow(served, 1))
        assert not night.is_done(), "the disk was full too late"
        time.sleep(FULL_FOR_S)
        assert not list(outbox.glob("*.eml"))
        allow(served, resource.RLIM_INFINITY)
        night.wait_until_done()
        night.wait_until_mailed(120)
        files = list(outbox.glob("*.eml"))
        assert len(files) == night.number("SELECT count(*) FROM coaching_mailrow WHERE state = 'sent'")
        assert len(files) >= len(night.world.coaches)
