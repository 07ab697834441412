"""Which problems each operation may answer with, beyond those that follow from its shape."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter

from api.problem_types import PROBLEM_TYPES, ProblemType

SIGNED_IN = ("not_authenticated", "authentication_failed")
WITH_QUERY = ("bad_parameter", "repeated_parameter")
WITH_BODY = (
    *("not_utf8", "not_json", "not_a_number", "number_too_long", "number_out_of_range", "too_deep"),
    *("too_many_keys", "duplicate_key", "too_many_items", "string_too_long", "nul", "lone_surrogate"),
    *("too_large", "unsupported_media_type", "encoding_not_accepted", "invalid"),
)
STORES = ("consent_missing", "gone")
RAISED: dict[str, tuple[str, ...]] = {
    "alert_acknowledge": ("forbidden",),
    "alert_ask_withdrawal": ("forbidden",),
    "alert_close": ("forbidden",),
    "alert_confirm_withdrawal": ("forbidden",),
    "alert_list": ("not_found",),
    "alert_put_off": ("forbidden",),
    "assignment_create": ("forbidden", "conflict", "gone"),
    "assignment_end": ("forbidden", "gone"),
    "body_mass_create": STORES,
    "calendar_feed_create": ("gone",),
    "change_list": ("bad_mark", "not_found"),
    "clearance_create": STORES,
    "client_create": ("forbidden",),
    "client_exercise_stress_delete": ("forbidden",),
    "client_exercise_stress_set": ("forbidden", *STORES),
    "client_update": ("forbidden",),
    "exercise_create": ("forbidden", "conflict"),
    "injury_create": ("forbidden", *STORES),
    "injury_update": ("forbidden", *STORES),
    "intervention_note_create": ("forbidden", *STORES),
    "invitation_accept": ("link_invalid", "sign_in_refused", "conflict", "too_many_attempts"),
    "invitation_create": ("forbidden", "not_found", "conflict"),
    "membership_end": ("forbidden", "conflict", "invalid"),
    "membership_update": ("forbidden",),
    "pain_report_put": ("bad_id", "conflict", *STORES),
    "password_change": ("too_many_attempts",),
    "plan_archive": ("forbidden", "gone"),
    "plan_preview": ("conflict", "gone"),
    "plan_replace": ("forbidden", "conflict", "gone"),
    "referral_create": ("forbidden", *STORES),
    "referral_get_fhir": ("consent_missing",),
    "referral_get_html": ("consent_missing",),
    "referral_get_pdf": ("consent_missing",),
    "restriction_create": ("forbidden", *STORES),
    "restriction_delete": ("forbidden",),
    "scheduled_session_update": ("forbidden", "conflict"),
    "session_delete": ("gone",),
    "session_get": ("gone",),
    "session_put": ("bad_id", "conflict", *STORES),
    "session_put_batch": ("bad_envelope", "unknown_key", "too_many_sessions", "not_found"),
    "session_update": ("conflict", *STORES),
    "sign_in": ("sign_in_refused", "too_many_attempts"),
}
# Operations that read If-Match, and whether they refuse to go on without it.
READS_IF_MATCH: dict[str, bool] = {
    "alert_acknowledge": True,
    "alert_close": True,
    "alert_confirm_withdrawal": True,
    "alert_put_off": True,
    "assignment_end": True,
    "client_update": True,
    "injury_update": True,
    "membership_end": True,
    "membership_update": True,
    "plan_archive": True,
    "plan_replace": False,
    "scheduled_session_update": True,
    "session_delete": True,
    "session_put": False,
    "session_update": True,
}
_RETRY_AFTER = {
    "Retry-After": {
        "description": "Seconds to wait before the next try.",
        "required": True,
        "schema": {"type": "integer", "minimum": 1},
    }
}
HEADERS: dict[int, dict[str, Any]] = {
    401: {
        "WWW-Authenticate": {
            "description": "How to sign in.",
            "required": True,
            "schema": {"type": "string", "examples": ["Bearer"]},
        }
    },
    429: _RETRY_AFTER,
    503: _RETRY_AFTER,
}


def raised_by(operation_id: str) -> set[str]:
    """Codes of what the call behind this operation raises, its version check included."""
    codes = {"unavailable", *RAISED.get(operation_id, ())}
    if operation_id in READS_IF_MATCH:
        codes.add("stale_version")
    if READS_IF_MATCH.get(operation_id):
        codes.add("version_required")
    return codes


def by_status(codes: set[str]) -> dict[int, list[ProblemType]]:
    """The kinds of problem under their statuses, both in the order of the table."""
    found: dict[int, list[ProblemType]] = {}
    for code, kind in PROBLEM_TYPES.items():
        if code in codes:
            found.setdefault(kind.status, []).append(kind)
    return found


def example_of(kind: ProblemType) -> dict[str, str]:
    return {"$ref": f"#/components/examples/{kind.code}"}


def version_need(operation_id: str) -> OpenApiParameter | None:
    """The If-Match header of an operation that reads it."""
    if operation_id not in READS_IF_MATCH:
        return None
    return OpenApiParameter(
        "If-Match",
        str,
        OpenApiParameter.HEADER,
        required=READS_IF_MATCH[operation_id],
        description='The ETag of the version that you edit, like "3".',
    )
