"""Which scope each address asks of a service token; what is not in this table is refused to all of them."""

from collections.abc import Iterator

from coaching.models import ServiceScope

V1 = "api/v1/"
CLIENT = V1 + "clients/<uuid:client_id>"
INJURY = CLIENT + "/injuries/<uuid:injury_id>"
LIFT = CLIENT + "/lifts/<slug:code>"
SESSION = V1 + "sessions/<made:session_id>"
REPORT = V1 + "pain-reports/<made:report_id>"
SCHEDULED = CLIENT + "/scheduled-sessions/<uuid:scheduled_session_id>"

READS: dict[ServiceScope, tuple[str, ...]] = {
    ServiceScope.SHEET_READ: (V1 + "morning-sheet",),
    ServiceScope.CLIENTS_READ: (V1 + "clients", CLIENT),
    ServiceScope.HISTORY_READ: (
        CLIENT + "/history",
        CLIENT + "/sites/<str:joint>/<str:side>/picture.svg",
        CLIENT + "/sites/<str:joint>/<str:side>/picture.png",
        LIFT + "/sides/picture.svg",
        LIFT + "/sides/picture.png",
        LIFT + "/<str:side>/picture.svg",
        LIFT + "/<str:side>/picture.png",
        CLIENT + "/adherence/picture.svg",
        CLIENT + "/adherence/picture.png",
        CLIENT + "/tolerated-exposure",
        CLIENT + "/side-differences",
        CLIENT + "/injuries",
        INJURY,
        INJURY + "/restrictions",
        CLIENT + "/intervention-notes",
    ),
    ServiceScope.ALERTS_READ: (V1 + "alerts", V1 + "alerts/<uuid:alert_id>", CLIENT + "/scores"),
    ServiceScope.SESSIONS_READ: (SESSION, CLIENT + "/sessions", REPORT, CLIENT + "/pain-reports"),
    ServiceScope.PLANS_READ: (
        V1 + "plans",
        V1 + "plans/<uuid:plan_id>",
        V1 + "plans/<uuid:plan_id>/versions/<int:number>",
        V1 + "exercises",
        V1 + "exercises/<slug:code>",
        CLIENT + "/assignments",
        CLIENT + "/assignments/<uuid:assignment_id>",
        CLIENT + "/scheduled-sessions",
        SCHEDULED,
    ),
    ServiceScope.CHANGES_READ: (V1 + "changes",),
}
WRITES: dict[ServiceScope, tuple[tuple[str, str], ...]] = {
    ServiceScope.ALERTS_WRITE: (
        ("post", V1 + "alerts/<uuid:alert_id>/acknowledgement"),
        ("post", V1 + "alerts/<uuid:alert_id>/put-off"),
    ),
    ServiceScope.SESSIONS_WRITE: (
        ("put", SESSION),
        ("patch", SESSION),
        ("delete", SESSION),
        ("post", V1 + "sessions/batch"),
        ("put", REPORT),
        ("delete", REPORT),
    ),
}


def _rows() -> Iterator[tuple[tuple[str, str], ServiceScope]]:
    for scope, routes in READS.items():
        yield from ((("get", route), scope) for route in routes)
    for scope, writes in WRITES.items():
        yield from ((write, scope) for write in writes)


SCOPE_OF: dict[tuple[str, str], ServiceScope] = dict(_rows())


def scope_of(method: str, route: str) -> ServiceScope | None:
    """The scope that a call asks for, or None where no service token is let in."""
    verb = method.lower()
    return SCOPE_OF.get(("get" if verb == "head" else verb, route.lstrip("/")))
