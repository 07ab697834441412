"""One process that does what is due until nothing is left, as a worker does tick by tick."""

import os
import time

WAITS_S = 0.2


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from django.utils import timezone

    from coaching.budget import Budget
    from coaching.nightly import run_due_nights

    while not run_due_nights(now=timezone.now(), budget=Budget.of(20)).is_complete:
        time.sleep(WAITS_S)  # what is left is in the hands of another process


if __name__ == "__main__":
    main()
