"""Writes the page of the published checks to standard output."""

import sys

from tests.compute.published_checks.page import render

sys.stdout.write(render())
