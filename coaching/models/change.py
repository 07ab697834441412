"""The feed that apps follow: for each record its last change, numbered in the order of the changes."""

from django.db import models

from coaching.models.base import one_of
from coaching.models.scoped import OfPractice


class ChangeKind(models.TextChoices):
    """The kinds of records that an app keeps; the words are those of the audit trail."""

    CLIENT = "client"
    INJURY = "injury"
    RESTRICTION = "restriction"
    CLEARANCE = "clearance"
    INTERVENTION_NOTE = "intervention_note"
    ASSIGNMENT = "assignment"
    SCHEDULED_SESSION = "scheduled_session"
    SESSION = "session"
    PAIN_REPORT = "pain_report"
    ALERT = "alert"


class Change(OfPractice):
    """One row per record, put to the front with a new id whenever the record changes; never content.

    Ids are given before their transaction commits, so a later one can be seen before an earlier one. On
    PostgreSQL a writer therefore holds a lock that tells the newest id before its own, until it ends
    (`operations/changes.py`), and readers stop at the lowest of these (`reads/changes.py`).
    """

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey(
        "coaching.Practice", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="+", db_index=False)
    kind = models.CharField(max_length=20)
    record_uid = models.UUIDField()
    is_deleted = models.BooleanField(default=False)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            one_of("kind", ChangeKind.values, "change_kind_known"),
            models.UniqueConstraint(fields=["client", "kind", "record_uid"], name="change_once_per_record"),
        ]
        indexes = [
            models.Index(fields=["client", "id"], name="change_client_idx"),
            models.Index(fields=["practice", "id"], name="change_practice_idx"),
        ]


# The key of a writer's lock is this plus an id; 2**40 ids are more than there will ever be.
FIRST_LOCK_KEY = 0x46424C << 40
LAST_LOCK_KEY = FIRST_LOCK_KEY + 2**40 - 1
