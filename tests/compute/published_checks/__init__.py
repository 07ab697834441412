"""Every published check of the computing core: the tests run this table, the page is written from it."""

from tests.compute.published_checks.check import Check
from tests.compute.published_checks.load import LOAD
from tests.compute.published_checks.next_load import NEXT_LOAD
from tests.compute.published_checks.plans import PLANS, SIDES, TOLERATED
from tests.compute.published_checks.records import ADHERENCE, DAYS, PAIN, UNITS
from tests.compute.published_checks.strength import EFFORT, EXPOSURE, STRENGTH
from tests.compute.published_checks.trends import FALSE_DISCOVERIES, PROGRESS, TRENDS

TOPICS: dict[str, tuple[Check, ...]] = {
    "Strength": STRENGTH,
    "Effort": EFFORT,
    "Exposure": EXPOSURE,
    "Workload": LOAD,
    "Trends": TRENDS,
    "False discoveries": FALSE_DISCOVERIES,
    "Progress": PROGRESS,
    "Next load": NEXT_LOAD,
    "Pain": PAIN,
    "Adherence": ADHERENCE,
    "Plans": PLANS,
    "Tolerated exposure": TOLERATED,
    "Sides": SIDES,
    "Units": UNITS,
    "Local days": DAYS,
}
CHECKS = tuple(check for checks in TOPICS.values() for check in checks)
