"""What can be measured, with its sizes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from coaching.speed import growth, ingest, load, night, reads, starts
from coaching.speed.measuring import Measured

Tell = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Suite:
    """`run` takes a folder of its own, the sizes, the rounds, the seed, and whom to tell how far it is."""

    what: str
    sizes: Mapping[str, int]
    rounds: int
    run: Callable[[Path, Mapping[str, int], int, int, Tell], Measured]


SUITES = {
    "night": Suite(
        "a night of all practices, as a whole process",
        {"clients": 10_000, "practices": 20, "weeks": 16, "sets_per_session": 20},
        3,
        night.run,
    ),
    "ingest": Suite(
        "posts of sessions under gunicorn, one by one and in batches",
        {"posters": 8, "posts": 400, "sets": 20},
        5,
        ingest.run,
    ),
    "growth": Suite(
        "years of many clients on PostgreSQL: sizes, two workers, sets in one table or in parts",
        {"clients": 10_000, "practices": 20, "weeks": 104, "sets_per_session": 20},
        3,
        growth.run,
    ),
    "reads": Suite(
        "a morning sheet, a history and a page of sessions under gunicorn",
        {"clients": 200, "weeks": 52, "sets_per_session": 20, "requests": 200},
        5,
        reads.run,
    ),
    "starts": Suite(
        "imports, the start of a worker, and the replay of a history",
        {"sites": 900, "nights": 280},
        5,
        starts.run,
    ),
    "load": Suite(
        "apps that post and coaches who read, with nights meanwhile, for so many seconds a round",
        {"clients": 400, "weeks": 16, "sets_per_session": 20, "posters": 8, "readers": 4, "seconds": 300},
        1,
        load.run,
    ),
}
