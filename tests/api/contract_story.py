"""The examples of the API document, played in order against a practice that they themselves set up.

What an example calls by an id or a token stands for what the service made when it was played: `stand_for`
keeps the pairs, and requests and answers are translated with them.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pyotp
import yaml
from rest_framework.test import APIClient

from api.examples import EXAMPLES
from coaching.demo.plans import FEWER_REPS
from coaching.demo.stories import STORIES
from coaching.demo.training import SkippedDay, days_of
from coaching.models import Account
from coaching.nightly import night_by_hand, run_night
from coaching.operations.password_resets import reset_token
from coaching.operations.practices import create_practice

DOCUMENT = Path(__file__).parents[2] / "api" / "openapi.yaml"
NOW = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
TODAY = date(2026, 3, 2)
BEGAN_ON = TODAY - timedelta(weeks=16)
NIGHTS = 2
BATCH = 12
MORNINGS = 12
CLIENT_PASSWORD = "cold water at dawn"


def read_document() -> dict[str, Any]:
    document: dict[str, Any] = yaml.load(DOCUMENT.read_text(encoding="utf-8"), yaml.CSafeLoader)
    return document


def operations_of(document: dict[str, Any]) -> Iterator[tuple[str, str, str, dict[str, Any]]]:
    """Id, method, path and content of every operation."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield operation["operationId"], method.upper(), path, operation


@dataclass
class Played:
    """What the service answered to an example; `body` has the ids of the example where it has JSON."""

    status: int
    body: Any
    content_type: str


@dataclass
class Stage:
    """Sends examples, and remembers what their ids stand for and what was answered."""

    routes: dict[str, tuple[str, str, dict[str, Any]]]
    real: dict[str, str] = field(default_factory=dict)
    played: dict[tuple[str, int], Played] = field(default_factory=dict)

    def stand_for(self, shown: str, real: str) -> None:
        self.real[shown] = real

    def id_in(self, operation_id: str, parameter: str) -> str:
        return str(EXAMPLES[operation_id]["parameters"][parameter])

    def play(self, operation_id: str, status: int, who: APIClient, version: int | None = None) -> Any:
        """Send the example; its answer's JSON, in real ids."""
        method, path, operation = self.routes[operation_id]
        example = EXAMPLES[operation_id]
        query = {}
        headers = {}
        for parameter in operation.get("parameters", ()):
            name, where = parameter["name"], parameter["in"]
            if name not in example["parameters"]:
                continue
            value = in_an_address(translated(example["parameters"][name], self.real))
            if where == "path":
                path = path.replace("{" + name + "}", value)
            elif where == "query":
                query[name] = value
            else:
                headers["HTTP_IF_MATCH"] = value if version is None else f'"{version}"'
        if query:
            path += f"?{urlencode(query)}"
        body = translated(example["request"], self.real)
        if not isinstance(body, str):
            body = "" if body is None else json.dumps(body)
        media_type = next(iter(operation.get("requestBody", {}).get("content", ())), "application/json")
        answer: Any = who.generic(method, path, body, media_type, **headers)
        content: bytes = answer.getvalue()
        assert answer.status_code == status, (operation_id, answer.status_code, content[:600])
        content_type = answer.get("Content-Type", "").split(";")[0]
        found = None
        if content_type.endswith("json"):
            found = json.loads(content)
        elif content_type.startswith("text/") or content_type.endswith("svg+xml"):
            found = content.decode()
        shown = {real: shown for shown, real in self.real.items()}
        self.played[operation_id, status] = Played(status, translated(found, shown), content_type)
        return found


def in_an_address(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def translated(value: Any, names: dict[str, str]) -> Any:
    """`value` with what `names` knows replaced, as a whole string or within an address or a file."""
    if isinstance(value, dict):
        return {key: translated(each, names) for key, each in value.items()}
    if isinstance(value, list):
        return [translated(each, names) for each in value]
    if isinstance(value, str) and ("://" in value or "\n" in value):
        for name, other in names.items():
            value = value.replace(name, other)
    return names.get(value, value) if isinstance(value, str) else value


def with_token(token: str) -> APIClient:
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api


def ask(who: APIClient, method: str, path: str, body: Any = None) -> Any:
    """A request that is no example, which must succeed."""
    answer: Any = who.generic(
        method, f"/api/v1{path}", "" if body is None else json.dumps(body), "application/json"
    )
    assert answer.status_code < 300, (path, answer.content[:600])
    return json.loads(answer.content) if answer.content else None


def accepted(token: str, name: str, password: str) -> str:
    body = {"token": token, "name": name, "password": password, "device_name": "phone"}
    return str(ask(APIClient(), "POST", "/invitations/accept", body)["token"])


class Story:
    """A coach and a client over sixteen weeks and one Monday."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.owner = self.client = APIClient()
        self.made: Any = None

    def tell(self) -> None:
        self.people()
        self.client_record()
        self.plans()
        self.weeks_before()
        self.morning()
        self.client_day()
        self.red_flags()
        self.exercises()
        self.files()
        self.csv_files()
        self.webhooks()
        self.service_tokens()
        self.merging()
        self.endings()
        self.closing()

    def people(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        self.made = create_practice(
            name="Quiet Harbour Strength",
            zone="Europe/Lisbon",
            country="PT",
            owner_email="ines@quiet-harbour.example",
            now=NOW,
        )
        stand_for(EXAMPLES["invitation_accept"]["request"]["token"], self.made.invitation.token)
        accepted_first = play("invitation_accept", 201, APIClient())
        self.owner = with_token(accepted_first["token"])
        stand_for(EXAMPLES["sign_in"]["request"]["device_proof"], accepted_first["device_proof"])
        second = play("sign_in", 200, APIClient())
        stand_for(self.stage.id_in("device_sign_out", "device_id"), second["me"]["device"])
        stand_for(self.stage.id_in("membership_get", "membership_id"), second["me"]["membership"])
        play("me_get", 200, self.owner)
        play("device_list", 200, self.owner)
        play("device_sign_out", 204, self.owner)
        invited = ask(
            self.owner, "POST", "/invitations", {"role": "coach", "email": "tomas@quiet-harbour.example"}
        )
        colleague = with_token(accepted(invited["token"], "Tomas Berg", "a bell across the water"))
        stand_for(
            self.stage.id_in("membership_end", "membership_id"), ask(colleague, "GET", "/me")["membership"]
        )
        play("membership_list", 200, self.owner)
        play("membership_get", 200, self.owner)
        play("membership_update", 200, self.owner)
        play("practice_get", 200, self.owner)
        play("practice_update", 200, self.owner)
        self.second_factor()
        webhook = play("webhook_create", 201, self.owner)["webhook"]
        stand_for(self.stage.id_in("webhook_get", "webhook_id"), webhook["id"])

    def second_factor(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        secret = play("second_factor_create", 201, self.owner)["secret"]
        stand_for(EXAMPLES["second_factor_confirm"]["request"]["code"], pyotp.TOTP(secret).at(NOW))
        recovery_codes = play("second_factor_confirm", 200, self.owner)["recovery_codes"]
        stand_for(EXAMPLES["second_factor_delete"]["request"]["code"], recovery_codes[0])
        play("second_factor_delete", 204, self.owner)

    def client_record(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        play("client_create", 201, self.owner)
        play("client_create", 200, self.owner)
        client_id = self.stage.id_in("client_get", "client_id")
        stand_for(client_id, client_id)
        invited = play("invitation_create", 201, self.owner)
        self.client = with_token(accepted(invited["token"], "Maren Holt", CLIENT_PASSWORD))
        play("client_list", 200, self.owner)
        play("client_update", 200, self.owner)
        play("client_get", 200, self.owner)
        play("consent_give", 201, self.client)
        play("consent_give", 200, self.client)
        play("consent_get", 200, self.owner)
        play("consent_list", 200, self.owner)
        play("body_mass_create", 201, self.client)
        play("body_mass_create", 200, self.client)
        play("body_mass_list", 200, self.owner)
        play("injury_create", 201, self.owner)
        play("injury_create", 200, self.owner)
        play("injury_list", 200, self.owner)
        play("injury_update", 200, self.owner)
        play("injury_get", 200, self.owner)
        play("restriction_create", 201, self.owner)
        play("restriction_create", 200, self.owner)
        play("restriction_list", 200, self.owner)

    def plans(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        play("plan_create", 201, self.owner)
        play("plan_create", 200, self.owner)
        other = ask(self.owner, "POST", "/plans", FEWER_REPS.body(12))
        stand_for(self.stage.id_in("plan_archive", "plan_id"), other["id"])
        play("plan_list", 200, self.owner)
        play("plan_get", 200, self.owner)
        play("plan_version_get", 200, self.owner)
        play("assignment_create", 201, self.owner)
        play("assignment_create", 200, self.owner)
        play("assignment_list", 200, self.owner)
        play("assignment_get", 200, self.owner)
        client_id = self.stage.real[self.stage.id_in("client_get", "client_id")]
        path = f"/clients/{client_id}/scheduled-sessions?from=2026-03-02&until=2026-03-04"
        monday, wednesday = ask(self.owner, "GET", path)["items"]
        stand_for(self.stage.id_in("next_load_list", "scheduled_session_id"), monday["id"])
        stand_for(self.stage.id_in("scheduled_session_get", "scheduled_session_id"), wednesday["id"])

    def weeks_before(self) -> None:
        days = [day for day in days_of(STORIES[0], BEGAN_ON, TODAY) if not isinstance(day, SkippedDay)]
        for first in range(0, len(days), BATCH):
            items = [{"id": day.session_id} | day.body for day in days[first : first + BATCH]]
            answers = ask(self.client, "POST", "/sessions/batch", {"items": items})["items"]
            assert {answer["status"] for answer in answers} == {201}
        for day in days[-MORNINGS:]:
            if day.morning_body is not None:
                ask(self.client, "PUT", f"/pain-reports/{day.morning_id}", day.morning_body)
        for days_ago in range(NIGHTS - 1, -1, -1):
            night_on = TODAY - timedelta(days=days_ago)
            night = night_by_hand(practice=self.made.practice, night_on=night_on, now=NOW)
            run_night(night=night, now=NOW)

    def morning(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        alert = ask(self.owner, "GET", "/alerts?kind=pain_with_volume")["items"][0]
        stand_for(self.stage.id_in("alert_get", "alert_id"), alert["id"])
        for operation_id in (
            *("morning_sheet_get", "alert_list", "alert_get", "score_list", "history_get"),
            *("tolerated_exposure_get", "side_difference_list", "next_load_list"),
            *("plan_preview", "swap_list"),
        ):
            play(operation_id, 200, self.owner)
        version = alert["version"]
        for step, operation_id in enumerate(("alert_acknowledge", "alert_put_off", "alert_close")):
            play(operation_id, 200, self.owner, version + step)
        play("intervention_note_create", 201, self.owner)
        play("intervention_note_create", 200, self.owner)
        play("intervention_note_list", 200, self.client)

    def client_day(self) -> None:
        play = self.stage.play
        play("symptom_list", 200, self.client)
        play("pain_report_put", 201, self.client)
        play("pain_report_put", 200, self.client)
        play("session_put", 201, self.client)
        play("session_put", 200, self.client)
        play("session_put_batch", 200, self.client)
        play("pain_report_get", 200, self.client)
        play("pain_report_list", 200, self.client)
        play("session_update", 200, self.client)
        play("session_get", 200, self.client)
        play("session_list", 200, self.owner)
        play("set_confirm", 200, self.owner)
        play("session_delete", 204, self.client)
        play("pain_report_delete", 204, self.client)
        play("scheduled_session_list", 200, self.client)
        play("scheduled_session_update", 200, self.owner)
        play("scheduled_session_get", 200, self.client)
        play("change_list", 200, self.client)

    def red_flags(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        self.report_swollen_calf("f0b8e9c6-0c7e-4e0b-8c55-5a3b1de2a901")
        flag = ask(self.owner, "GET", "/alerts?kind=red_flag")["items"][0]
        stand_for(self.stage.id_in("alert_ask_withdrawal", "alert_id"), flag["id"])
        play("alert_ask_withdrawal", 200, self.client)
        asked = ask(self.owner, "GET", f"/alerts/{flag['id']}")
        play("alert_confirm_withdrawal", 200, self.owner, asked["version"])
        self.report_swollen_calf("f0b8e9c6-0c7e-4e0b-8c55-5a3b1de2a902")
        play("clearance_create", 201, self.owner)
        play("clearance_create", 200, self.owner)
        play("clearance_list", 200, self.owner)

    def report_swollen_calf(self, uid: str) -> None:
        body = {
            "joint": "ankle",
            "side": "left",
            "moment": "at_rest",
            "pain": 2,
            "symptoms": {"swollen_calf": "yes"},
            "reported_at": NOW.isoformat(),
        }
        assert ask(self.client, "PUT", f"/pain-reports/{uid}", body)["urgent"]

    def exercises(self) -> None:
        play = self.stage.play
        play("exercise_list", 200, self.owner)
        play("exercise_create", 201, self.owner)
        play("exercise_create", 200, self.owner)
        play("exercise_get", 200, self.client)
        for noun in ("exercise_stress", "client_exercise_stress"):
            play(f"{noun}_set", 201, self.owner)
            play(f"{noun}_set", 200, self.owner)
            if noun == "client_exercise_stress":
                play("client_exercise_get", 200, self.client)
            play(f"{noun}_delete", 204, self.owner)

    def files(self) -> None:
        play, stand_for = self.stage.play, self.stage.stand_for
        for picture in ("site_picture", "lift_picture", "lift_sides_picture", "adherence_picture"):
            play(f"{picture}_get_svg", 200, self.owner)
            play(f"{picture}_get_png", 200, self.owner)
        play("referral_create", 201, self.owner)
        play("referral_create", 200, self.owner)
        play("referral_list", 200, self.owner)
        for form in ("html", "pdf", "fhir"):
            play(f"referral_get_{form}", 200, self.owner)
        play("client_export", 200, self.client)
        url = play("calendar_feed_create", 201, self.client)["url"]
        shown = self.stage.id_in("calendar_feed_get", "token")
        token = re.sub(r".*/(.*)\.ics", r"\1", url)
        stand_for(shown, token)
        play("calendar_feed_get", 200, APIClient())
        play("calendar_feed_delete", 204, self.client)

    def csv_files(self) -> None:
        for file in ("session_file", "pain_report_file"):
            for operation in ("import", "import_all", "get", "get_all"):
                self.stage.play(f"{file}_{operation}", 200, self.owner)
        for operation_id in ("plan_file_import", "plan_file_get", "plan_file_get_all"):
            self.stage.play(operation_id, 200, self.owner)

    def webhooks(self) -> None:
        play = self.stage.play
        play("webhook_test", 202, self.owner)
        play("webhook_delivery_list", 200, self.owner)
        play("webhook_list", 200, self.owner)
        play("webhook_get", 200, self.owner)
        play("webhook_update", 200, self.owner)
        play("webhook_rotate_secret", 201, self.owner)
        play("webhook_delete", 204, self.owner)

    def service_tokens(self) -> None:
        play = self.stage.play
        made = play("service_token_create", 201, self.owner)
        shown = EXAMPLES["service_token_delete"]["parameters"]["token_id"]
        self.stage.stand_for(shown, made["service_token"]["id"])
        assert ask(with_token(made["token"]), "GET", "/alerts")
        play("service_token_list", 200, self.owner)
        play("service_token_delete", 204, self.owner)

    def merging(self) -> None:
        duplicate = ask(self.owner, "POST", "/clients", {"name": "M. Holt"})
        self.stage.stand_for(EXAMPLES["client_merge"]["request"]["duplicate"], duplicate["id"])
        client_id = self.stage.real[self.stage.id_in("client_get", "client_id")]
        version = ask(self.owner, "GET", f"/clients/{client_id}")["version"]
        self.stage.play("client_merge", 200, self.owner, version)

    def endings(self) -> None:
        play = self.stage.play
        play("plan_replace", 200, self.owner)
        play("plan_archive", 204, self.owner)
        play("restriction_delete", 204, self.owner)
        play("assignment_end", 204, self.owner)
        play("audit_event_list", 200, self.owner)
        play("consent_withdraw", 204, self.client)
        play("password_change", 204, self.client)
        play("device_sign_out_everywhere", 204, self.client)
        play("password_reset_create", 202, APIClient())
        account = Account.objects.get(email=EXAMPLES["password_reset_create"]["request"]["email"])
        self.stage.stand_for(EXAMPLES["password_reset_accept"]["request"]["token"], reset_token(account, NOW))
        play("password_reset_accept", 204, APIClient())
        play("client_erase", 200, self.owner)
        play("membership_end", 204, self.owner)
        play("sign_out", 204, self.owner)

    def closing(self) -> None:
        body = EXAMPLES["sign_in"]["request"] | {"device_name": "owner's laptop"}
        again = ask(APIClient(), "POST", "/sign-in", translated(body, self.stage.real))
        self.stage.play("practice_close", 200, with_token(again["token"]))


def told() -> Stage:
    """The whole story, in the database and at the time that its caller has set."""
    routes = {
        name: (method, path, operation) for name, method, path, operation in operations_of(read_document())
    }
    stage = Stage(routes)
    Story(stage).tell()
    return stage
