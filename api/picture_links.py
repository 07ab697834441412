"""Where the picture of what an alert is about is found, so that no app need build the address."""

import uuid
from urllib.parse import quote

from coaching.models import Joint

HELP = (
    "Address of the picture of what it is about, as SVG; ending in .png instead it comes as PNG, and "
    "?weeks= and ?theme= choose. null: there is none."
)


def picture_link(client_uid: uuid.UUID, target: str) -> str | None:
    """The site's, the lift's or, for what is about the whole client, the one of adherence."""
    client = f"/api/v1/clients/{client_uid}"
    if not target:
        return f"{client}/adherence/picture.svg"
    what, _, rest = target.partition(":")
    side, _, track = rest.partition(":")
    if track:
        query = "" if track == "fresh" else f"?track={quote(track)}"
        return f"{client}/lifts/{quote(what)}/{side}/picture.svg{query}"
    return None if what == Joint.OTHER else f"{client}/sites/{what}/{side}/picture.svg"
