"""Invented people and their records, as small as the database allows."""

import uuid
from datetime import UTC, date, datetime

import factory
from factory.django import DjangoModelFactory

from coaching.models import (
    Account,
    Alert,
    Client,
    Consent,
    Exercise,
    Injury,
    Membership,
    Practice,
    Role,
    Webhook,
    WebhookEvent,
)

JOINED_AT = datetime(2025, 12, 1, 12, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
PASSWORD = "correct-horse-battery"


class PracticeFactory(DjangoModelFactory[Practice]):
    class Meta:
        model = Practice

    name = factory.Sequence(lambda n: f"Harbour Strength {n}")
    zone = "Europe/Berlin"
    country = "DE"
    emergency_text = "112"
    created_at = JOINED_AT


class AccountFactory(DjangoModelFactory[Account]):
    class Meta:
        model = Account
        skip_postgeneration_save = True

    email = factory.Sequence(lambda n: f"person{n}@example.org")
    name = factory.Sequence(lambda n: f"Person {n}")
    created_at = JOINED_AT

    @factory.post_generation
    def password(self, create, extracted, **kwargs):
        self.set_password(extracted or PASSWORD)
        if create:
            self.save()


class MembershipFactory(DjangoModelFactory[Membership]):
    class Meta:
        model = Membership

    practice = factory.SubFactory(PracticeFactory)
    account = factory.SubFactory(AccountFactory)
    role = Role.COACH
    joined_at = JOINED_AT


class ClientFactory(DjangoModelFactory[Client]):
    class Meta:
        model = Client

    coach = factory.SubFactory(MembershipFactory)
    practice = factory.SelfAttribute("coach.practice")
    account = factory.SubFactory(AccountFactory)
    name = factory.Sequence(lambda n: f"Client {n}")
    zone = "Europe/Berlin"
    country = "DE"
    emergency_text = "112"
    created_at = JOINED_AT


class ConsentFactory(DjangoModelFactory[Consent]):
    class Meta:
        model = Consent

    client = factory.SubFactory(ClientFactory)
    practice = factory.SelfAttribute("client.practice")
    purpose = "health_data"
    text_version = "2026-01"
    given_at = JOINED_AT


class InjuryFactory(DjangoModelFactory[Injury]):
    class Meta:
        model = Injury

    client = factory.SubFactory(ClientFactory)
    practice = factory.SelfAttribute("client.practice")
    joint = "knee"
    side = "left"
    said = "Sore on stairs since a fall."
    said_by = "client"
    created_at = JOINED_AT


class AlertFactory(DjangoModelFactory[Alert]):
    class Meta:
        model = Alert

    client = factory.SubFactory(ClientFactory)
    practice = factory.SelfAttribute("client.practice")
    kind = "pain_with_volume"
    target = "knee:left"
    severity = 60
    opened_on = date(2026, 3, 2)
    opened_at = NOW
    seen_on = date(2026, 3, 2)
    sentence = "Pain of the left knee climbs while its repetitions climb."
    method = "test"


class WebhookFactory(DjangoModelFactory[Webhook]):
    class Meta:
        model = Webhook

    practice = factory.SubFactory(PracticeFactory)
    address = "https://hooks.example.org/forbear"
    events = WebhookEvent.values
    salt = "5a" * 32
    created_at = JOINED_AT


class ExerciseFactory(DjangoModelFactory[Exercise]):
    class Meta:
        model = Exercise

    code = factory.Sequence(lambda n: f"invented_lift_{n}")
    name = factory.Sequence(lambda n: f"Invented lift {n}")
    equipment = "barbell"
    load_basis = "total"
    load_step_thousandths = 2500
    movement_pattern = "squat"


def fresh_uid() -> uuid.UUID:
    return uuid.uuid4()
