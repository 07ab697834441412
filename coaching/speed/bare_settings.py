"""The service's own settings and apps, with nothing of the service around a view."""

from coaching.settings import *  # noqa: F403

ROOT_URLCONF = "coaching.speed.bare_views"
MIDDLEWARE = []
