"""What a service token may be allowed to do; a token has some of these, and everything else is refused."""

from django.db import models


class ServiceScope(models.TextChoices):
    SHEET_READ = "sheet:read", "The morning sheet of a coach"
    CLIENTS_READ = "clients:read", "Clients and their records, without the coach's private note"
    HISTORY_READ = "history:read", "Sites, lifts and adherence over weeks, injuries, shared notes, pictures"
    ALERTS_READ = "alerts:read", "Alerts with their evidence, and scores"
    ALERTS_WRITE = "alerts:write", "Acknowledging alerts and putting them off"
    SESSIONS_READ = "sessions:read", "Sessions, their sets, and pain reports"
    SESSIONS_WRITE = "sessions:write", "Posting, editing and deleting sessions and pain reports"
    PLANS_READ = "plans:read", "Plans, who has them, the calendar and the exercises"
    CHANGES_READ = "changes:read", "The changes feed, of the kinds that the other scopes let it read"
