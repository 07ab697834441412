"""Where a person stands in the tables: what erasure deletes, exports tell and retention counts.

A new model with a way to a client belongs here, or a test fails.
"""

from django.db import models

from coaching.models.account import DeviceToken
from coaching.models.alert import Alert
from coaching.models.calendar_feed import CalendarFeed
from coaching.models.change import Change
from coaching.models.client import BodyMass, Client, Consent
from coaching.models.exercise import JointStress
from coaching.models.injury import Clearance, Injury, InterventionNote, Restriction
from coaching.models.membership import Invitation
from coaching.models.night import NightClient, Score
from coaching.models.plan import Assignment, ScheduledSession
from coaching.models.referral import Referral
from coaching.models.rollup import JointDay, LiftDay
from coaching.models.session import LoggedSet, PainReport, Session
from coaching.models.webhook import WebhookDelivery

# Each model with the way from its row to the client; whoever is pointed at stands before who points.
WAY_TO_CLIENT: dict[type[models.Model], str] = {
    Client: "",
    BodyMass: "client",
    Consent: "client",
    JointStress: "client",
    Injury: "client",
    Restriction: "injury__client",
    Clearance: "client",
    InterventionNote: "client",
    Referral: "client",
    Assignment: "client",
    ScheduledSession: "client",
    Session: "client",
    LoggedSet: "session__client",
    PainReport: "client",
    JointDay: "client",
    LiftDay: "client",
    Alert: "client",
    WebhookDelivery: "alert__client",
    Score: "client",
    NightClient: "client",
    Change: "client",
    CalendarFeed: "client",
    Invitation: "client",
    DeviceToken: "client",
}


def rows_of(model: type[models.Model], client: Client) -> models.QuerySet[models.Model]:
    """What a table holds about this client."""
    way = WAY_TO_CLIENT[model]
    return model._default_manager.filter(**{way or "pk": client.pk})
