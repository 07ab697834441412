"""Which problems each operation may answer with, beyond those that follow from its shape."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter

from api.problem_types import PROBLEM_TYPES, ProblemType

# `gone` is also what a device hears whose holder was erased.
SIGNED_IN = ("not_authenticated", "authentication_failed", "gone")
WITH_QUERY = ("bad_parameter", "repeated_parameter")
WITH_BODY = (
    *("not_utf8", "not_json", "not_a_number", "number_too_long", "number_out_of_range", "too_deep"),
    *("too_many_keys", "duplicate_key", "too_many_items", "string_too_long", "nul", "lone_surrogate"),
    *("too_large", "unsupported_media_type", "encoding_not_accepted", "invalid"),
)
WITH_CSV = (
    *("empty_body", "too_large", "unsupported_media_type", "encoding_not_accepted", "invalid", "conflict"),
)
STORES = ("consent_missing", "gone")
RAISED: dict[str, tuple[str, ...]] = {
    "alert_acknowledge": ("forbidden",),
    "alert_ask_withdrawal": ("forbidden",),
    "alert_close": ("forbidden",),
    "alert_confirm_withdrawal": ("forbidden",),
    "alert_list": ("not_found", "consent_missing", "gone"),
    "alert_put_off": ("forbidden",),
    "assignment_create": ("forbidden", "conflict", "gone"),
    "assignment_end": ("forbidden", "gone"),
    "body_mass_create": ("conflict", *STORES),
    "calendar_feed_create": ("gone",),
    "change_list": ("bad_mark", "not_found", "gone"),
    "clearance_create": ("conflict", *STORES),
    "client_create": ("forbidden", "conflict"),
    "client_erase": ("forbidden",),
    "client_exercise_stress_delete": ("forbidden",),
    "client_exercise_stress_set": ("forbidden", "conflict", *STORES),
    "client_merge": ("conflict", "gone"),
    "client_update": ("forbidden",),
    "consent_give": ("conflict",),
    "exercise_create": ("forbidden", "conflict"),
    "exercise_stress_set": ("conflict",),
    "injury_create": ("forbidden", "conflict", *STORES),
    "injury_update": ("forbidden", *STORES),
    "intervention_note_create": ("forbidden", "conflict", *STORES),
    "invitation_accept": (
        *("link_invalid", "sign_in_refused", "second_factor_needed", "conflict", "too_many_attempts"),
    ),
    "invitation_create": ("forbidden", "not_found", "conflict", "gone", "too_many_attempts"),
    "membership_end": ("forbidden", "conflict", "invalid"),
    "membership_update": ("forbidden", "conflict"),
    "morning_sheet_get": ("forbidden", "not_found", "invalid"),
    "pain_report_delete": ("bad_id", "gone"),
    "pain_report_file_get_all": ("forbidden",),
    "pain_report_get": ("gone",),
    "pain_report_put": ("bad_id", "conflict", *STORES),
    "password_change": ("too_many_attempts",),
    "password_reset_accept": ("link_invalid", "too_many_attempts"),
    "password_reset_create": ("too_many_attempts",),
    "plan_archive": ("forbidden", "gone"),
    "plan_create": ("conflict", "gone"),
    "plan_file_get_all": ("forbidden",),
    "plan_preview": ("conflict", "gone", "consent_missing"),
    "plan_replace": ("forbidden", "conflict", "gone"),
    "practice_close": ("conflict", "too_many_attempts"),
    "practice_update": ("forbidden",),
    "referral_create": ("forbidden", "conflict", *STORES),
    "referral_get_fhir": ("consent_missing",),
    "referral_get_html": ("consent_missing",),
    "referral_get_pdf": ("consent_missing",),
    "restriction_create": ("forbidden", "conflict", *STORES),
    "restriction_delete": ("forbidden", "gone"),
    "scheduled_session_update": ("forbidden", "conflict"),
    "second_factor_confirm": ("conflict",),
    "second_factor_create": ("conflict", "too_many_attempts"),
    "second_factor_delete": ("conflict", "too_many_attempts"),
    "session_delete": ("bad_id", "gone"),
    "session_file_get_all": ("forbidden",),
    "session_get": ("gone",),
    "session_put": ("bad_id", "conflict", *STORES),
    "session_put_batch": ("bad_envelope", "unknown_key", "too_many_sessions", "not_found"),
    "session_update": ("conflict", *STORES),
    "service_token_create": ("conflict",),
    "sign_in": ("sign_in_refused", "second_factor_needed", "too_many_attempts"),
    "webhook_create": ("conflict",),
    "webhook_test": ("conflict",),
}
# About a client, and open to coaches after the client has withdrawn the consent to health data.
OPEN_WITHOUT_CONSENT = (
    *("calendar_feed_create", "calendar_feed_delete", "client_erase"),
    *("consent_get", "consent_give", "consent_list", "consent_withdraw"),
    *("pain_report_file_import", "session_file_import"),
)
OF_HEALTH = ("/{client_id}/", "/{alert_id}", "/{session_id}", "/{set_id}", "/{report_id}")
# Writing operations that read If-Match, and whether they refuse to go on without it.
READS_IF_MATCH: dict[str, bool] = {
    "alert_acknowledge": True,
    "alert_close": True,
    "alert_confirm_withdrawal": True,
    "alert_put_off": True,
    "assignment_end": True,
    "body_mass_create": False,
    "client_exercise_stress_delete": True,
    "client_exercise_stress_set": False,
    "client_merge": True,
    "client_update": True,
    "consent_give": False,
    "consent_withdraw": False,
    "exercise_stress_delete": True,
    "exercise_stress_set": False,
    "injury_update": True,
    "membership_end": True,
    "membership_update": True,
    "pain_report_delete": True,
    "pain_report_put": False,
    "plan_archive": True,
    "plan_replace": False,
    "practice_update": True,
    "scheduled_session_update": True,
    "session_delete": True,
    "session_put": False,
    "session_update": True,
    "webhook_delete": True,
    "webhook_rotate_secret": True,
    "webhook_update": True,
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
    version = ("stale_version", "version_required") if operation_id in READS_IF_MATCH else ()
    return {"unavailable", *RAISED.get(operation_id, ()), *version}


def rests_without_consent(operation_id: str, path: str) -> bool:
    """Whether health data of one client is read or written there."""
    return operation_id not in OPEN_WITHOUT_CONSENT and any(part in path for part in OF_HEALTH)


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
        description=(
            'The ETag of the version that you edit, as it was answered, like "3-9f2c4e17a08b5d36". '
            "Weak or not, only its version counts here."
        ),
    )
