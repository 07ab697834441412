"""The address under which a client's calendar program fetches the scheduled sessions."""

from django.db import models

from coaching.models.base import PracticeRow


class CalendarFeed(PracticeRow):
    """One per client; its token is kept as a digest only."""

    client = models.ForeignKey("coaching.Client", on_delete=models.CASCADE, related_name="calendar_feeds")
    token_digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey("coaching.Account", null=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField()
    last_read_at = models.DateTimeField(null=True)

    class Meta(PracticeRow.Meta):
        constraints = [
            *PracticeRow.Meta.constraints,
            models.UniqueConstraint(fields=["client"], name="calendarfeed_one_per_client"),
        ]
