"""Every kind of problem that an answer can name: its status, when it comes, and what to do about it."""

from dataclasses import dataclass

TYPE_PREFIX = "/problems/"


@dataclass(frozen=True, slots=True)
class ProblemType:
    code: str
    status: int
    when: str
    remedy: str

    @property
    def uri(self) -> str:
        """The `type` of RFC 9457; it leads to this description."""
        return f"{TYPE_PREFIX}{self.code}"


SEND_WELL = "Mend the program that wrote the body; the same body is refused again."
ASK_WELL = "Mend the address; the same request is refused again."
SIGN_IN = "Sign in, and send the token as Authorization: Bearer."
LET_A_PERSON_SEE = "Show it to a person: sending it again changes nothing."

_ALL = (
    ProblemType("bad_request", 400, "The request breaks a rule of HTTP or of this server.", ASK_WELL),
    ProblemType(
        "bad_parameter", 400, "A query parameter has an unknown name or an impossible value.", ASK_WELL
    ),
    ProblemType(
        "unknown_field",
        400,
        "`fields` names what the answer does not have; the detail lists what it has.",
        ASK_WELL,
    ),
    ProblemType("repeated_parameter", 400, "A query parameter is given twice.", ASK_WELL),
    ProblemType(
        "bad_cursor",
        400,
        "The cursor of a page was made for another caller, list, filter or order, or changed.",
        "Begin with the first page.",
    ),
    ProblemType(
        "bad_mark",
        400,
        "The mark of the changes feed is another's, changed, or ahead of what there is.",
        "Begin again without a mark, and take every record anew.",
    ),
    ProblemType("bad_id", 400, "The id under which something new is to be stored is nil or max.", ASK_WELL),
    ProblemType("bad_envelope", 400, "A batch is not an object with an array of items.", SEND_WELL),
    ProblemType("unknown_key", 400, "The envelope of a batch has a key that it does not know.", SEND_WELL),
    ProblemType("empty_body", 400, "A patch or a file has no body at all.", "Send it again, whole."),
    ProblemType("not_utf8", 400, "The body is not UTF-8.", SEND_WELL),
    ProblemType("not_json", 400, "The body is not JSON, or was cut off.", SEND_WELL),
    ProblemType("not_a_number", 400, "A number is NaN, infinite or unreadable.", SEND_WELL),
    ProblemType("number_too_long", 400, "A number has too many digits.", SEND_WELL),
    ProblemType("number_out_of_range", 400, "A number has too large an exponent.", SEND_WELL),
    ProblemType("too_deep", 400, "Objects and arrays lie too deep in one another.", SEND_WELL),
    ProblemType("too_many_keys", 400, "An object has too many keys.", SEND_WELL),
    ProblemType("duplicate_key", 400, "A key stands twice in one object.", SEND_WELL),
    ProblemType("too_many_items", 400, "An array has too many items.", SEND_WELL),
    ProblemType("string_too_long", 400, "A string is too long.", SEND_WELL),
    ProblemType("nul", 400, "A string holds a NUL character.", SEND_WELL),
    ProblemType("lone_surrogate", 400, "A string holds half a character.", SEND_WELL),
    ProblemType(
        "link_invalid",
        400,
        "An invitation or a reset link is unknown, used or too old.",
        "Ask for another one.",
    ),
    ProblemType("not_authenticated", 401, "There is no token.", SIGN_IN),
    ProblemType(
        "authentication_failed", 401, "The token is unknown, too old, signed out or revoked.", SIGN_IN
    ),
    ProblemType(
        "sign_in_refused",
        401,
        "Address and password do not open an account here; it never says which of them.",
        "Let the person try again; the tries are limited.",
    ),
    ProblemType(
        "second_factor_needed",
        401,
        "The password is right, and the account asks for the code of its second factor as well.",
        "Ask the person for the code, and send it with the password.",
    ),
    ProblemType("https_required", 403, "It was called over plain http.", "Call by https, with a new token."),
    ProblemType(
        "permission_denied",
        403,
        "Your role may not call this: it is for owners and coaches, or for owners alone; or the service "
        "token has no scope for it; or the practice is closed, and is only read and exported.",
        LET_A_PERSON_SEE,
    ),
    ProblemType("forbidden", 403, "You may see it, but not do this to it.", LET_A_PERSON_SEE),
    ProblemType(
        "consent_missing",
        403,
        "No standing consent of the client covers it; once withdrawn, coaches read no health data either.",
        "Park what was to be stored, show no more than this, and ask the client for consent.",
    ),
    ProblemType(
        "not_found",
        404,
        "It is not there, or not yours to see: the answer is the same.",
        "Drop it, or look it up anew; in a batch, park the item for a person.",
    ),
    ProblemType("method_not_allowed", 405, "The address does not know this method; see Allow.", ASK_WELL),
    ProblemType("not_acceptable", 406, "The answer is not to be had in the form of Accept.", ASK_WELL),
    ProblemType(
        "conflict",
        409,
        "Something else stands in the way: other content under this id, or a rule that a row holds.",
        "Read what stands there. To change it, name its version in If-Match; else show it to a person.",
    ),
    ProblemType("gone", 410, "It was here and has been deleted, archived or erased.", "Drop it for good."),
    ProblemType("length_required", 411, "The body comes in chunks, without Content-Length.", SEND_WELL),
    ProblemType(
        "stale_version",
        412,
        "The version named in If-Match is not the current one.",
        "Read it again, lay the edit over what you got, and send it with the new version.",
    ),
    ProblemType("too_large", 413, "The body has more bytes than are taken.", "Send less at once."),
    ProblemType(
        "too_many_sessions", 413, "A batch has more sessions than are taken.", "Send smaller batches."
    ),
    ProblemType("unsupported_media_type", 415, "The body is not of a type that is taken here.", SEND_WELL),
    ProblemType("encoding_not_accepted", 415, "The body is compressed.", "Send it as it is."),
    ProblemType(
        "invalid",
        422,
        "Some fields are not acceptable; errors names each with a pointer, a code and a sentence.",
        "Show the fields that are named; in a queue, drop the item once it was shown.",
    ),
    ProblemType(
        "version_required",
        428,
        "An edit does not say which one version it edits: If-Match is missing, a list or *.",
        "Read it, and send the edit with its ETag in If-Match.",
    ),
    ProblemType(
        "too_many_attempts",
        429,
        "Too many failed sign-ins, or too many at this moment.",
        "Wait as many seconds as Retry-After says.",
    ),
    ProblemType(
        "server_error", 500, "Our fault.", "Keep what you have and try again later, ever more slowly."
    ),
    ProblemType(
        "trail_unavailable",
        503,
        "It cannot be noted on the trail, so nothing was told or done.",
        "Keep what you have and try again after the seconds of Retry-After.",
    ),
    ProblemType(
        "unavailable",
        503,
        "The database does not answer at the moment.",
        "Keep what you have and try again after the seconds of Retry-After.",
    ),
    ProblemType(
        "not_ready",
        503,
        "The service has not started up, or cannot reach its database.",
        "Ask again after the seconds of Retry-After.",
    ),
)
PROBLEM_TYPES = {kind.code: kind for kind in _ALL}


def problem_table() -> str:
    """All of them as a table in Markdown, for the API document."""
    rows = [f"| `{kind.code}` | {kind.status} | {kind.when} | {kind.remedy} |" for kind in _ALL]
    return "\n".join(["| code | status | when | what to do |", "| --- | --- | --- | --- |", *rows])
