"""A named lease: at most one holder works at a time, and a dead holder's claim runs out."""

from django.db import models


class Lease(models.Model):
    name = models.CharField(max_length=40, primary_key=True)
    holder = models.CharField(max_length=80)
    until_at = models.DateTimeField()
