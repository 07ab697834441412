"""The pictures behind the demo's pain alerts, fetched as a dashboard would."""

from pathlib import Path

from coaching.demo.practice import DemoPractice
from coaching.demo.service import DemoError, Person


def fetch_pictures(made: DemoPractice, folder: Path) -> int:
    """One picture per client and site that an alert is about, light and as PNG; returns how many."""
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.png"):
        old.unlink()
    for coach in made.coaches:
        for entry in coach.ask("GET", "/morning-sheet")["entries"]:
            for target in {line["target"] for line in entry["lines"] if line["caution"]}:
                joint, side = target.split(":")
                name = f"{entry['client_name']} {side} {joint}".lower().replace(" ", "-")
                address = f"/clients/{entry['client']}/sites/{joint}/{side}/picture.png"
                (folder / f"{name}.png").write_bytes(_picture(coach, address))
    return len(list(folder.glob("*.png")))


def _picture(coach: Person, address: str) -> bytes:
    answer = coach.http.get(address)
    if not answer.is_success:
        raise DemoError(f"GET {address} was answered {answer.status_code}.")
    return answer.content
