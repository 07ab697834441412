"""The invented practice, set up the way a real one is: by invitations, over HTTP."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from coaching.demo.plans import PLANS
from coaching.demo.service import Person
from coaching.demo.stories import STORIES, Story
from coaching.demo.training import WEEKS, ZONE, first_day
from coaching.models import Practice
from coaching.operations.practices import create_practice

NAME = "Quiet Harbour Strength"
COACHES = (("Ines Varga", "ines@quiet-harbour.example"), ("Tomas Berg", "tomas@quiet-harbour.example"))
NIGHT_HOUR = 0
CONSENT_TEXT = "2026-01"


@dataclass(frozen=True, slots=True)
class DemoClient:
    story: Story
    uid: str
    person: Person


@dataclass(frozen=True, slots=True)
class DemoPractice:
    practice: Practice
    coaches: tuple[Person, ...]
    clients: tuple[DemoClient, ...]


def set_up(address: str, start_on: date, now: datetime, tell: Callable[[str], None]) -> DemoPractice:
    """Practice, two coaches, five plans and twelve clients with consent, injuries and assignments."""
    made = create_practice(name=NAME, zone=ZONE, country="PT", owner_email=COACHES[0][1], now=now)
    practice = made.practice
    Practice.objects.filter(id=practice.id).update(night_hour=NIGHT_HOUR)
    owner = _accept(address, made.invitation.token, COACHES[0][0], "owner's laptop")
    invited = owner.ask("POST", "/invitations", {"role": "coach", "email": COACHES[1][1]})
    colleague = _accept(address, invited["token"], COACHES[1][0], "coach's tablet")
    coaches = (owner, colleague)
    plans = {plan.key: owner.ask("POST", "/plans", plan.body(WEEKS + 1))["id"] for plan in PLANS}
    tell(f"{NAME}: 2 coaches, {len(plans)} plans")
    clients = tuple(_client(address, coaches[story.coach], story, plans, start_on) for story in STORIES)
    tell(f"{len(clients)} clients invited, with consent, injuries and assigned plans")
    return DemoPractice(practice, coaches, clients)


def _accept(address: str, token: str, name: str, device_name: str) -> Person:
    body = {"token": token, "password": secrets.token_urlsafe(16), "device_name": device_name, "name": name}
    signed_in = Person(address).ask("POST", "/invitations/accept", body)
    return Person(address, signed_in["token"])


def _client(address: str, coach: Person, story: Story, plans: dict[str, str], start_on: date) -> DemoClient:
    body: dict[str, Any] = {"name": story.name, "training_status": story.training_status}
    if story.uses_pounds:
        body["load_unit"] = "lb"
    uid = coach.ask("POST", "/clients", body)["id"]
    email = f"{story.name.split()[0].lower()}@quiet-harbour.example"
    invited = coach.ask("POST", "/invitations", {"role": "client", "email": email, "client": uid})
    person = _accept(address, invited["token"], story.name, "phone")
    person.ask("PUT", f"/clients/{uid}/consents/health_data", {"text_version": CONSENT_TEXT})
    if story.injury is not None:
        _report_injury(coach, uid, story)
    assignment = {"plan": plans[story.plan.key], "starts_on": str(first_day(story, start_on))}
    coach.ask(
        "POST", f"/clients/{uid}/assignments", assignment | {"override_reason": "As agreed with the client."}
    )
    return DemoClient(story, uid, person)


def _report_injury(coach: Person, uid: str, story: Story) -> None:
    injury = story.injury
    if injury is not None:
        body = {
            "joint": injury.joint,
            "side": injury.side,
            "said": injury.said,
            "said_by": "client",
            "cautions": injury.cautions,
            "weekly_joint_reps_cap": injury.weekly_joint_reps_cap,
            "pain_limit": injury.pain_limit,
        }
        coach.ask("POST", f"/clients/{uid}/injuries", body)
