"""The invented practices that the bench works on; `python -m coaching.speed.world` makes the templates."""

import argparse
import os
from collections.abc import Callable
from datetime import date

from coaching.speed.own_database import OwnDatabase
from coaching.speed.spreading import spread


def make_world(
    own: OwnDatabase,
    *,
    clients: int,
    practices: int,
    weeks: int,
    sets_per_session: int,
    seed: int,
    until: date,
    tell: Callable[[str], object],
) -> int:
    """Clients of all stories in so many practices, each with so many weeks up to the day before `until`.

    Returns how many clients there are: a whole number of times those of all stories.
    """
    own.run(
        "-m", "coaching.speed.world", "--weeks", str(weeks), "--sets", str(sets_per_session),
        "--seed", str(seed), "--until", until.isoformat(),
    )  # fmt: skip
    return spread(own, clients=clients, practices=practices, tell=tell)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for name in ("weeks", "sets", "seed"):
        parser.add_argument(f"--{name}", type=int, required=True)
    parser.add_argument("--until", type=date.fromisoformat, required=True)
    asked = parser.parse_args()

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    import django

    django.setup()
    from coaching.speed.templates import make_templates

    make_templates(weeks=asked.weeks, sets_per_session=asked.sets, seed=asked.seed, until=asked.until)


if __name__ == "__main__":
    main()
