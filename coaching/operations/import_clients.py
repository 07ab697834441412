"""Whose rows a file holds: clients by id or name, or the one client whose file it is."""

import unicodedata
from collections import defaultdict
from collections.abc import Iterable

from coaching.errors import FieldFault, ForbearError
from coaching.models import Actor, Client
from coaching.operations.import_rows import RowProblem
from coaching.operations.standing import check_may_store

Named = dict[str, Client | FieldFault]


def clients_named(actor: Actor, names: Iterable[str], only: Client | None = None) -> Named:
    """Whom each text means: an id of the practice's, or the name of one current client.

    With `only`, the file is that client's, and names one person at most: in another practice the client may
    have borne another id. What names another client of this practice is refused.
    """
    by_uid: dict[str, Client] = {}
    by_name: defaultdict[str, list[Client]] = defaultdict(list)
    for client in Client.objects.visible_to(actor).select_related("practice"):
        by_uid[str(client.uid)] = client
        if client.archived_at is None:
            by_name[unicodedata.normalize("NFC", client.name)].append(client)
    found: Named = {}
    for name in names:
        meant = [by_uid[name.lower()]] if name.lower() in by_uid else by_name.get(name, [])
        found[name] = _meant(meant) if only is None else _meant_by_one(meant, name, only, found)
    return found


def _meant(meant: list[Client]) -> Client | FieldFault:
    if len(meant) == 1:
        return meant[0]
    if meant:
        detail = f"{len(meant)} clients bear this name; give the client's id."
        return FieldFault(("client",), "ambiguous", detail)
    return FieldFault(("client",), "unknown", "There is no such client.")


def _meant_by_one(meant: list[Client], name: str, only: Client, found: Named) -> Client | FieldFault:
    if meant and only not in meant:
        return FieldFault(("client",), "another_client", "This row is of another client of the practice.")
    if name and any(other for other in found):
        return FieldFault(("client",), "another_client", "The rows are of more than one client.")
    return only


def refusals(lines: dict[Client, int]) -> dict[int, RowProblem]:
    """The clients of whom nothing may be stored, each told once, at the client's first row."""
    found: dict[int, RowProblem] = {}
    for client, line in lines.items():
        try:
            check_may_store(client)
        except ForbearError as error:
            found[client.id] = RowProblem(line, "client", error.code, error.detail)
    return found
