"""The service's settings and an app of tests, whose migrations change a table that is in use."""

from coaching.settings import *  # noqa: F403
from coaching.settings import INSTALLED_APPS

INSTALLED_APPS = [*INSTALLED_APPS, "tests.trial"]
