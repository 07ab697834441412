"""The columns of every file of ours, and which of them an import only looks past."""

SESSION_COLUMNS = (
    *("client", "session", "performed_at", "ended_at", "performed_on", "session_rpe", "session_note"),
    *("scheduled_session", "version", "received_at"),
)
SET_COLUMNS = (
    *("set", "position", "exercise", "side", "kind", "load", "load_unit", "reps", "duration_s", "rir"),
    *("guessed_rir", "guessed_after_reps", "ended_by", "tempo", "rest_s", "follows_previous"),
    *("prescription", "to_confirm", "confirmed_at"),
)
SETS_FILE = (*SESSION_COLUMNS, *SET_COLUMNS)
PAIN_FILE = (
    *("client", "pain_report", "session", "joint", "side", "other_site", "moment", "pain", "symptoms"),
    *("note", "explanation", "reported_at", "felt_on", "received_at"),
)
PLANS_FILE = (
    *("plan", "plan_name", "version", "version_created_at", "weeks", "deload_weeks"),
    *("day", "weekday", "day_name", "block", "block_kind", "block_rest_s", "levers"),
    *("prescription", "position", "exercise", "side", "sets", "reps_low", "reps_high", "duration_s"),
    *("effort_target", "rir_target", "load_rule", "load_kg", "share_of_1rm", "tempo", "rest_s"),
    *("has_warm_up_ramp", "warm_up_steps", "alternatives"),
)

# Written for whoever reads the file, and never taken from one: an import makes its own.
NOT_CARRIED = {
    "performed_on": "follows from performed_at and the zone where the client lives",
    "felt_on": "follows from the session, or from reported_at, the moment and the client's zone",
    "received_at": "when this practice got the record; no file can vouch for that",
    "confirmed_at": "when somebody here said that a load was really lifted; to_confirm itself is carried",
    "version": "how often a session was edited here; what is new begins at 1 (of a plan it is carried)",
    "version_created_at": "when this practice wrote the version",
}
