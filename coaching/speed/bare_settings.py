"""The service's own settings, for a view with nothing around it."""

from coaching.settings import *  # noqa: F403

ROOT_URLCONF = "coaching.speed.bare_view"
MIDDLEWARE = []
