"""One practice's run for one local date, each client's outcome in it, and what it scored."""

from typing import Any, ClassVar

from django.db import connection, models
from django.db.models import Q, Value

from coaching.models.base import ListQuerySet, one_of
from coaching.models.scoped import OfPractice, ScopedQuerySet, statement_of


class NightStatus(models.TextChoices):
    DUE = "due"
    RUNNING = "running"
    DONE = "done"
    SKIPPED = "skipped"


class NightQuerySet(ScopedQuerySet["Night"]):
    def unfinished(self) -> "NightQuerySet":
        """Those that are due, or that a worker has begun."""
        return self.filter(status__in=[NightStatus.DUE, NightStatus.RUNNING])


class Night(OfPractice):
    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey(
        "coaching.Practice", on_delete=models.CASCADE, related_name="nights", db_index=False
    )
    night_on = models.DateField()
    zone = models.CharField(max_length=64)
    status = models.CharField(max_length=10, default=NightStatus.DUE)
    planned_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    clients_total = models.PositiveIntegerField(default=0)
    clients_scored = models.PositiveIntegerField(default=0)
    clients_failed = models.PositiveIntegerField(default=0)
    alerts_opened = models.PositiveIntegerField(default=0)
    alerts_closed = models.PositiveIntegerField(default=0)
    reason = models.CharField(max_length=200, blank=True)

    objects: ClassVar = NightQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["practice", "night_on"], name="night_once"),
            one_of("status", NightStatus.values, "night_status_known"),
        ]
        indexes = [
            models.Index(
                fields=["night_on"], condition=Q(status__in=["due", "running"]), name="night_unfinished_idx"
            )
        ]


class NightClientState(models.TextChoices):
    TODO = "todo"
    SCORED = "scored"
    FAILED = "failed"


class NightClientQuerySet(ScopedQuerySet["NightClient"]):
    def list_all(self, clients: ScopedQuerySet[Any], *, night: Night) -> None:
        """A turn in this night for each of the clients who has none, without bringing them here."""
        made = (Value(night.id), Value(0), Value(NightClientState.TODO.value), Value(0), Value(""))
        found, values = statement_of(clients.values_list("practice_id", "id", *made))
        names = "practice_id, client_id, night_id, revision, state, attempts, error_code"
        with connection.cursor() as cursor:
            cursor.execute(
                f"INSERT INTO coaching_nightclient ({names}) {found} ON CONFLICT DO NOTHING", values
            )


class NightClient(OfPractice):
    """One client's turn in a night; `attempts` is committed before the work, so a killer is found out.

    `claimed_at`, by the database's clock, is when an attempt was counted that has not been seen to end.
    """

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey("coaching.Practice", on_delete=models.CASCADE, related_name="+")
    night = models.ForeignKey(Night, on_delete=models.CASCADE, related_name="night_clients", db_index=False)
    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="+")
    revision = models.PositiveSmallIntegerField(default=0)
    state = models.CharField(max_length=8, default=NightClientState.TODO)
    attempts = models.PositiveSmallIntegerField(default=0)
    error_code = models.CharField(max_length=80, blank=True)
    claimed_at = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)

    objects: ClassVar = NightClientQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["night", "client", "revision"], name="nightclient_once_per_revision"
            ),
            one_of("state", NightClientState.values, "nightclient_state_known"),
        ]
        indexes = [
            models.Index(fields=["night", "id"], condition=Q(state="todo"), name="nightclient_todo_idx"),
        ]


class ScoreQuerySet(ListQuerySet["Score"]):
    NARROWING = {"from": "night_on__gte", "until": "night_on__lte"}


class Score(OfPractice):
    """What a night found for one client; never overwritten, a re-score is the next revision."""

    id = models.BigAutoField(primary_key=True)
    practice = models.ForeignKey("coaching.Practice", on_delete=models.CASCADE, related_name="+")
    client = models.ForeignKey(
        "coaching.Client", on_delete=models.CASCADE, related_name="scores", db_index=False
    )
    night_on = models.DateField()
    revision = models.PositiveSmallIntegerField(default=0)
    adherence_low = models.FloatField(null=True)
    adherence_high = models.FloatField(null=True)
    sessions_due = models.PositiveSmallIntegerField(default=0)
    sessions_done = models.PositiveSmallIntegerField(default=0)
    sessions_unknown = models.PositiveSmallIntegerField(default=0)
    details = models.JSONField(default=dict)
    method = models.CharField(max_length=80)
    scored_at = models.DateTimeField()

    objects: ClassVar = ScoreQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["client", "night_on", "revision"], name="score_once_per_revision"
            ),
        ]
