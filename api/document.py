"""The API document as a whole: what it says before the operations, its tags, and the examples."""

from typing import Any

from api.examples import EXAMPLES
from api.problem_types import PROBLEM_TYPES, problem_table
from api.problems import TITLES, problem_body

# A noun is what an operation id begins with; the longest that fits decides.
TAGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "sign-in": (
        "Signing in and out, invitations, and the devices that hold a token.",
        ("sign_in", "sign_out", "invitation", "device", "me", "password", "password_reset", "second_factor"),
    ),
    "webhooks": ("Where a practice is told of alerts, and what became of each delivery.", ("webhook",)),
    "exchange": (
        "Records taken out as CSV files, and brought in again.",
        ("session_file", "pain_report_file", "plan_file"),
    ),
    "morning-sheet": (
        "What a coach reads in the morning: who needs attention, in order.",
        ("morning_sheet",),
    ),
    "alerts": ("What a night or a post found out, with its evidence, until it is closed.", ("alert",)),
    "scores": ("What each night came to for a client: adherence between two bounds, and lifts.", ("score",)),
    "history": ("Sites week by week and lifts exposure by exposure.", ("history",)),
    "pictures": (
        "The history drawn, each with its words inside.",
        ("site_picture", "lift_picture", "lift_sides_picture", "adherence_picture"),
    ),
    "exposure": (
        "What sites have carried without a reaction, and how left and right compare.",
        ("tolerated_exposure", "side_difference"),
    ),
    "next-loads": ("What to aim for in a scheduled session, set by set, and why.", ("next_load",)),
    "sessions": ("Sessions as they were done, under ids that the client app makes.", ("session", "set")),
    "pain-reports": ("Pain by site and moment, with coded symptom questions.", ("pain_report", "symptom")),
    "changes": ("What an app that was away must know.", ("change",)),
    "clients": (
        "People who are trained, their body mass, the trail of who saw what, archive and erasure.",
        ("client", "body_mass", "audit_event"),
    ),
    "consents": ("What a client agreed to; without it no health data is stored.", ("consent",)),
    "injuries": ("Injuries as told, and what they forbid or limit.", ("injury", "restriction")),
    "clearances": ("Decisions of licensed clinicians, recorded here and made elsewhere.", ("clearance",)),
    "intervention-notes": ("What a coach changed, and why.", ("intervention_note",)),
    "referrals": ("A coach's question to a clinician, and the page that goes with it.", ("referral",)),
    "plans": ("What is prescribed, version by version, and what it would ask of a client.", ("plan",)),
    "assignments": ("Plans given to clients from a date on.", ("assignment",)),
    "scheduled-sessions": (
        "Plan days on a client's calendar, and the feed for calendar programs.",
        ("scheduled_session", "calendar_feed"),
    ),
    "exercises": (
        "The catalogue and a practice's own, with joint stress and what may stand in for what.",
        ("exercise", "client_exercise", "swap"),
    ),
    "memberships": ("Owners and coaches of the practice.", ("membership",)),
    "service-tokens": (
        "What lets dashboards and other programs in: each may do what its scopes name, until a day.",
        ("service_token",),
    ),
    "practice": ("The practice itself: how long it keeps what, and closing it.", ("practice",)),
}
NOUNS = {noun: tag for tag, (_, nouns) in TAGS.items() for noun in nouns}

# What a client sees is a part of what a coach sees, so that a record may fit both of its shapes.
SEEN_BY_ROLE = ("ClientRecordOut", "AlertRecordOut")

# What a conflict tells of the record that stands, where the caller may see it.
WHAT_STANDS = {
    "current_version": 2,
    "etag": '"2-9f2c4e17a08b5d36"',
    "differences": [{"pointer": "/sets/0/reps", "yours": 8, "stored": 6}],
    "more_differences": 0,
}

INTRODUCTION = """\
Back end for strength coaches whose clients train hard around hurt or worn joints.

**Not a medical device.** It never diagnoses, never clears anyone to train, and never tells the chance of an
injury. Where an answer carries `caution` or `refer_out`, show it as it is, beside what it belongs to.
Whatever names a red flag belongs to a licensed clinician, and in an emergency to the number in
`emergency_text`.

## Signing in

An invitation is accepted, or an account signs in, with a device name. The answer holds a token for this
device and this practice, shown once. Send it as `Authorization: Bearer <token>`; it lasts 90 days. Who
asks, in which practice and in which role follows from the token and never from the request. What you may
not see is not there: 404. An account with a second factor also gives a `code`; without one the answer is
401 `second_factor_needed`. Keep the `device_proof`, also after signing out, and send it with the next
sign-in: then nobody who guesses at the account locks this device out.

A program of the practice comes with a service token, which an owner makes under `/service-tokens`. It may
call the operations that name one of its scopes in `security`, sees all clients or those of certain coaches,
and is refused with 403 everywhere else. It ends on its day, when an owner revokes it, and once its maker is
no owner any more.

## Writing, and being offline

Sessions, sets and pain reports are stored under UUIDs that the app makes; what else is posted takes one as
`id` where its body has that key. **Sending the same again is harmless**: it answers 200 and writes nothing;
without an id of your own a post may make a second record. Keep what is not sent yet in a queue. Of a single
post or an item of a batch: drop it on 200, 201, 204, 410 and, once shown, 422; park it for a person on 403,
404, 409 and 412; keep it and try again, ever more slowly, on 429, 500, 503 or no answer. What is taken back
before its post has come in is deleted all the same: name version 1, and the late post finds 410. Afterwards
ask `/changes` for what others did meanwhile.

Bodies are JSON in UTF-8 with `Content-Length`, uncompressed, at most 2 MiB. Unknown keys are faults.
Instants carry an offset; names end `_on` for local dates, `_at` for instants, `_s` for seconds, `_kg` for
kilograms. null is "not known"; it never stands for 0.

## Versions and conflicts

What can be edited has a `version`, and an `ETag` that begins with it. Send the ETag as `If-Match` with the
edit: 412 says that somebody was faster, 428 that it is missing; only its version counts then. PATCH takes a
JSON merge patch (RFC 7396): a key that is left out stays, null empties it, an array is replaced whole.

409 and 412 say what stands, if you may see it: `current_version`, `etag`, and in `differences` each value
that was sent (`yours`) beside the one that is stored, by its RFC 6901 pointer into the body as it was sent;
`-` at the end of a pointer is something that only the stored record has. At most 100 are told;
`more_differences` counts the rest. So a person can decide; then send the edit with that `etag`, or drop it.
Two writes at the same moment may meet in 409 wherever something is written.

## Reading

Every JSON answer has an `ETag`. With `If-None-Match`, 304 without a body says that it still stands; with
`If-Match`, 412 that it does not. `fields=id,name` trims an answer, or each item of a list, to these names; a
dot leads deeper. What says stop, ask or refer out stays whatever you name. Unknown query parameters are
refused.

Lists come in pages of `page_size` with a `next` address (also as `Link`, with `first` and `prev`), which is
null on the last. Follow it as it is: it is good for the same caller, filters and `ordering` only.

## Files and webhooks

`text/csv` is one row per set, pain report or prescription, as RFC 4180 says it. What an export gives, an
import takes; the same file twice is there once. Of a file with bad rows nothing is written unless
`skip_bad=true`; `errors` points at `/rows/{line of the file}/{column}`, and `dry_run=true` only counts.

Instead of asking all the time an owner lets a server be told of alerts: `POST /webhooks`. What is sent names
ids and no health data, is signed as Standard Webhooks 1.0 lays down, comes at least once, in no promised
order, and is read from the API by whoever may.

## Problems

Whatever is not a success is `application/problem+json` (RFC 9457). Go by `type`; `title` and `detail` are
for people. `type` is an address of this server and tells the same as this table. `errors` names faulty
fields by RFC 6901 pointers. Beside what each operation lists, any address may answer 400 `bad_request`, 403
`https_required`, 405 `method_not_allowed`, 406 `not_acceptable`, 411 `length_required`, 413 `too_large` and
500 `server_error`.

"""


def tag_of(operation_id: str) -> str:
    """The tag of the noun that the id begins with."""
    fitting = [noun for noun in NOUNS if operation_id == noun or operation_id.startswith(f"{noun}_")]
    return NOUNS[max(fitting, key=len)]


def finish(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Introduction, tags and examples, put into the document once its operations are there."""
    result["info"]["description"] = INTRODUCTION + problem_table()
    result["tags"] = [{"name": tag, "description": words} for tag, (words, _) in TAGS.items()]
    result["components"]["examples"] = {code: _problem_example(code) for code in PROBLEM_TYPES}
    for shape in SEEN_BY_ROLE:
        schema = result["components"]["schemas"][shape]
        schema["anyOf"] = schema.pop("oneOf")
    for operations in result["paths"].values():
        for operation in operations.values():
            _put_examples(operation)
    return result


def _problem_example(code: str) -> dict[str, Any]:
    kind = PROBLEM_TYPES[code]
    members = WHAT_STANDS if code in ("conflict", "stale_version") else None
    return {
        "summary": TITLES[kind.status],
        "value": problem_body(code, kind.status, kind.when, members=members),
    }


def _put_examples(operation: dict[str, Any]) -> None:
    example = EXAMPLES.get(operation["operationId"])
    if example is None:
        return
    for body in operation.get("requestBody", {}).get("content", {}).values():
        body["example"] = example["request"]
    for status, answer in example["answers"].items():
        for media_type, body in operation["responses"][status].get("content", {}).items():
            if media_type != "application/problem+json":
                body["example"] = answer
    for parameter in operation.get("parameters", ()):
        value = example["parameters"].get(parameter["name"])
        if value is not None:
            is_text = parameter["schema"].get("type") == "string"
            parameter["example"] = str(value) if is_text else value
