"""What day it is where the practice is."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from coaching.models import Actor, Practice


def practice_today(actor: Actor, now: datetime) -> date:
    zone = Practice.objects.values_list("zone", flat=True).get(id=actor.practice_id)
    return now.astimezone(ZoneInfo(zone)).date()
