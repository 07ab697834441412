"""Every constraint of the database by name: one row that it takes, and one that it refuses."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import inf, nan
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from coaching.models import (
    Account,
    Alert,
    Assignment,
    AuditEvent,
    Block,
    BodyMass,
    CalendarFeed,
    Change,
    ChangeKind,
    Clearance,
    Client,
    Consent,
    DeviceToken,
    ErasedDigest,
    Erasure,
    Exercise,
    ExerciseAlternative,
    Injury,
    InterventionNote,
    Invitation,
    JointDay,
    JointStress,
    LiftDay,
    LoggedSet,
    MailRow,
    Membership,
    MuscleRole,
    Night,
    NightClient,
    PainReport,
    PlanDay,
    PlanVersion,
    Practice,
    Prescription,
    PrescriptionAlternative,
    Referral,
    Restriction,
    ScheduledSession,
    Score,
    ServiceToken,
    ServiceTokenCoach,
    Session,
    SignInFailures,
    UrgencySignOff,
    Webhook,
    WebhookDelivery,
)
from tests.constraint_rows import DAY, SMALLEST, insert, world
from tests.factories import NOW, AlertFactory, MembershipFactory, WebhookFactory, fresh_uid

Changes = dict[str, Any]
LATER = DAY + timedelta(days=1)
EARLIER = DAY - timedelta(days=1)


@dataclass(frozen=True)
class Check:
    """Rows that a CHECK takes and rows that it refuses, as changes to the smallest row."""

    model: type[models.Model]
    kept: list[Changes]
    refused: list[Changes]


@dataclass(frozen=True)
class Once:
    """A row that stands once: each change of `apart` makes it another row, the same again is refused."""

    model: type[models.Model]
    apart: list[Changes]
    base: Changes = field(default_factory=dict)
    again: Changes = field(default_factory=dict)


def known(model: type[models.Model], name: str, words: list[str]) -> Check:
    return Check(model, [{name: word} for word in words], [{name: "?"}, {name: ""}])


def on_scale(model: type[models.Model], name: str, low: float, high: float, beyond: float = 1) -> Check:
    outside = [{name: high + beyond}] + ([{name: low - beyond}] if low or beyond != 1 else [])
    return Check(model, [{name: low}, {name: high}], outside)


def site(model: type[models.Model]) -> Check:
    """Whether a joint has a side; `other_site` is another constraint's business."""
    named = {"other_site": "Left rib"} if hasattr(model, "other_site") else {}
    return Check(
        model,
        [
            {"joint": "knee", "side": "right"},
            {"joint": "neck", "side": "midline"},
            {"joint": "other", "side": "left"} | named,
            {"joint": "other", "side": "midline"} | named,
        ],
        [
            {"joint": "knee", "side": "midline"},
            {"joint": "lumbar_spine", "side": "left"},
            {"joint": "tail", "side": "left"},
            {"joint": "other", "side": "both"} | named,
            {"joint": "", "side": ""},
        ],
    )


CLOSED = {"status": "closed", "closed_on": DAY, "closing": "by_coach"}
HOUR = datetime(2026, 3, 2, 13, tzinfo=UTC)
HAPPENS_TO_ALERTS = ("opened", "worsened", "acknowledged", "closed")
NO_NUMBERS = {"reps_low": None, "reps_high": None}


def an_alert(rows):
    return AlertFactory(client=rows.client)


CASES: dict[str, Check | Once] = {
    "account_email_unique_without_case": Once(
        Account,
        [{"email": "other@example.org"}],
        {"email": "one@example.org"},
        {"email": "ONE@Example.org"},
    ),
    "devicetoken_is_of_member_or_client": Check(
        DeviceToken,
        [{}, {"membership": None, "client": lambda w: w.client}],
        [{"membership": None}, {"client": lambda w: w.client}],
    ),
    "signinfailures_key_window_unique": Once(
        SignInFailures, [{"key": "account:other"}, {"window_started_at": HOUR}]
    ),
    "practice_night_hour_of_day": on_scale(Practice, "night_hour", 0, 23),
    "practice_keeps_clients_possible": on_scale(Practice, "keeps_clients_years", 1, 100),
    "practice_keeps_audit_possible": on_scale(Practice, "keeps_audit_years", 1, 100),
    "practice_keeps_sent_mail_possible": on_scale(Practice, "keeps_sent_mail_days", 3, 3650),
    "practice_keeps_tombstones_possible": on_scale(Practice, "keeps_tombstones_days", 90, 9999),
    "erasure_once_per_client": Once(
        Erasure, [{"client_digest": "2" * 64}, {"practice": lambda w: w.elsewhere}]
    ),
    "eraseddigest_kind_known": known(ErasedDigest, "kind", ["record", "token"]),
    "eraseddigest_not_empty": Check(ErasedDigest, [{"digest": "0"}], [{"digest": ""}]),
    "eraseddigest_once": Once(
        ErasedDigest,
        [
            {"digest": "3" * 64},
            {
                "erasure": lambda w: Erasure.objects.create(
                    practice=w.practice, client_digest="4" * 64, erased_at=NOW
                )
            },
        ],
        {"digest": "5" * 64},
    ),
    "practice_closed_is_kept_until": Check(
        Practice,
        [{}, {"closed_at": NOW, "keep_until_on": LATER}],
        [{"closed_at": NOW}, {"keep_until_on": LATER}],
    ),
    "membership_role_known": Check(
        Membership, [{"role": "owner"}, {"role": "coach"}], [{"role": "client"}, {"role": ""}]
    ),
    "membership_one_current_per_account": Once(
        Membership, [{"practice": lambda w: w.elsewhere}, {"left_at": NOW}]
    ),
    "membership_absence_in_order": Check(
        Membership,
        [
            {},
            {"away_from_on": DAY, "away_until_on": DAY},
            {"away_from_on": DAY, "away_until_on": LATER},
            {"away_from_on": DAY},
        ],
        [{"away_from_on": DAY, "away_until_on": EARLIER}, {"away_until_on": DAY}],
    ),
    "membership_sets_floor_possible": Check(
        Membership,
        [{"weekly_sets_floor": floor} for floor in (0.0, 4.5, 100.0, None)],
        [{"weekly_sets_floor": floor} for floor in (-0.5, 100.5, inf, -inf)],
    ),
    "membership_sets_ceiling_possible": Check(
        Membership,
        [{"weekly_sets_ceiling": ceiling} for ceiling in (0.0, 20.0, 100.0, None)],
        [{"weekly_sets_ceiling": ceiling} for ceiling in (-0.5, 100.5, inf, -inf)],
    ),
    "membership_sets_floor_below_ceiling": Check(
        Membership,
        [
            {"weekly_sets_floor": 4.0, "weekly_sets_ceiling": 4.0},
            {"weekly_sets_floor": 4.0},
            {"weekly_sets_ceiling": 4.0},
        ],
        [{"weekly_sets_floor": 4.5, "weekly_sets_ceiling": 4.0}],
    ),
    "invitation_role_known": Check(
        Invitation, [{"role": "owner"}, {"role": "coach"}], [{"role": "auditor"}, {"role": ""}]
    ),
    "invitation_client_only_for_clients": Check(
        Invitation,
        [{"role": "client", "client": lambda w: w.client}, {}],
        [{"role": "client"}, {"client": lambda w: w.client}],
    ),
    "client_training_status_known": known(Client, "training_status", ["novice", "intermediate", "advanced"]),
    "client_progression_rule_known": known(Client, "progression_rule", ["double_progression", "two_for_two"]),
    "client_load_unit_known": known(Client, "load_unit", ["kg", "lb"]),
    "client_one_current_per_account": Once(
        Client,
        [{"account": None}, {"archived_at": NOW}],
        {"account": lambda w: w.account},
    ),
    "client_merged_is_archived": Check(
        Client,
        [{"merged_into": lambda w: w.client, "archived_at": NOW}, {"account": lambda w: w.account}],
        [
            {"merged_into": lambda w: w.client},
            {"merged_into": lambda w: w.client, "archived_at": NOW, "account": lambda w: w.account},
        ],
    ),
    "servicetoken_has_name": Check(ServiceToken, [{"name": "Å"}], [{"name": ""}]),
    "servicetoken_ends_after_it_begins": Check(
        ServiceToken, [{"expires_at": NOW + timedelta(seconds=1)}], [{"expires_at": NOW}]
    ),
    "servicetokencoach_named_once": Once(
        ServiceTokenCoach, [{"coach": lambda w: MembershipFactory(practice=w.practice)}]
    ),
    "client_has_name": Check(Client, [{"name": "Å"}], [{"name": ""}]),
    "bodymass_one_a_day": Once(BodyMass, [{"measured_on": LATER}, {"client": lambda w: w.other_client}]),
    "bodymass_possible": Check(
        BodyMass,
        [{"body_mass_kg": 10.0}, {"body_mass_kg": 400.0}],
        [{"body_mass_kg": mass} for mass in (9.99, 400.01, -80.0, inf, -inf)],
    ),
    "change_kind_known": known(Change, "kind", ChangeKind.values),
    "change_once_per_record": Once(
        Change,
        [
            {"record_uid": fresh_uid()},
            {"kind": "alert"},
            {"client": lambda w: w.other_client},
        ],
        again={"is_deleted": True},
    ),
    "consent_purpose_known": known(Consent, "purpose", ["health_data", "referral"]),
    "consent_one_standing_per_purpose": Once(
        Consent,
        [{"purpose": "referral"}, {"withdrawn_at": NOW}, {"client": lambda w: w.other_client}],
    ),
    "exercise_load_basis_known": known(
        Exercise, "load_basis", ["total", "per_hand", "added_to_body_mass", "assisted", "none"]
    ),
    "exercise_measure_known": known(Exercise, "measure", ["reps", "duration"]),
    "exercise_code_unique_in_catalogue": Once(
        Exercise, [{"code": "other_lift"}, {"practice": lambda w: w.practice}]
    ),
    "exercise_code_unique_in_practice": Once(
        Exercise,
        [{"code": "other_lift"}, {"practice": lambda w: w.elsewhere}],
        {"practice": lambda w: w.practice},
    ),
    "exercisealternative_position_unique": Once(
        ExerciseAlternative,
        [{"position": 1, "alternative": lambda w: w.third_exercise}],
        again={"alternative": lambda w: w.third_exercise},
    ),
    "exercisealternative_once_per_exercise": Once(
        ExerciseAlternative,
        [{"position": 1, "alternative": lambda w: w.third_exercise}],
        again={"position": 1},
    ),
    "exercisealternative_is_another": Check(
        ExerciseAlternative, [{}], [{"alternative": lambda w: w.exercise}]
    ),
    "musclerole_role_known": known(MuscleRole, "role", ["direct", "indirect"]),
    "musclerole_once_per_muscle": Once(
        MuscleRole, [{"muscle": "lats"}, {"exercise": lambda w: w.other_exercise}]
    ),
    "jointstress_joint_known": Check(
        JointStress, [{"joint": "neck"}, {"joint": "ankle"}], [{"joint": "other"}, {"joint": "jaw"}]
    ),
    "jointstress_level_known": Check(
        JointStress,
        [{"stress": level} for level in (0.0, 0.25, 0.5, 1.0)],
        [{"stress": level} for level in (0.75, -0.25, inf, -inf)],
    ),
    "jointstress_has_reason": Check(JointStress, [{"reason": "x"}], [{"reason": ""}]),
    "jointstress_client_in_practice": Check(
        JointStress,
        [{}, {"practice": lambda w: w.practice, "client": lambda w: w.client}],
        [{"client": lambda w: w.client}],
    ),
    "jointstress_once_in_catalogue": Once(
        JointStress,
        [{"joint": "hip"}, {"practice": lambda w: w.practice}, {"exercise": lambda w: w.other_exercise}],
    ),
    "jointstress_once_per_practice": Once(
        JointStress,
        [
            {"joint": "hip"},
            {"practice": lambda w: w.elsewhere},
            {"client": lambda w: w.client},
        ],
        {"practice": lambda w: w.practice},
    ),
    "jointstress_once_per_client": Once(
        JointStress,
        [{"joint": "hip"}, {"client": lambda w: w.other_client}],
        {"practice": lambda w: w.practice, "client": lambda w: w.client},
    ),
    "injury_site_possible": site(Injury),
    "injury_status_known": known(Injury, "status", ["active", "settled", "stopped_by_clinician"]),
    "injury_said_by_known": known(Injury, "said_by", ["client", "coach", "clinician"]),
    "injury_pain_limit_on_scale": Check(
        Injury,
        [{"pain_limit": 1}, {"pain_limit": 10}, {"pain_limit": None}],
        [{"pain_limit": 0}, {"pain_limit": 11}],
    ),
    "calendarfeed_one_per_client": Once(
        CalendarFeed,
        [{"client": lambda w: w.other_client, "token_digest": "other"}],
        {"token_digest": "one"},
        {"token_digest": "two"},
    ),
    "referral_site_possible": Check(
        Referral,
        [{}, {"joint": "lumbar_spine", "side": "midline"}],
        [{"side": "midline"}, {"joint": "lumbar_spine"}, {"joint": "tail"}],
    ),
    "referral_asks_about_a_trended_site": Check(Referral, [{}], [{"question": ""}, {"joint": "other"}]),
    "restriction_said_by_known": known(Restriction, "said_by", ["client", "coach", "clinician"]),
    "restriction_says_what": Check(
        Restriction,
        [
            {"kind": "avoid_exercise", "exercise": lambda w: w.exercise, "limit": ""},
            {"kind": "avoid_pattern", "movement_pattern": "lunge", "limit": ""},
            {"kind": "limit", "limit": "No jumping"},
        ],
        [
            {"kind": "avoid_exercise"},
            {"kind": "avoid_pattern"},
            {"kind": "limit", "limit": ""},
            {"kind": "forbid"},
        ],
    ),
    "restriction_dates_in_order": Check(
        Restriction,
        [{"until_on": None}, {"until_on": DAY}, {"until_on": LATER}],
        [{"until_on": EARLIER}],
    ),
    "urgencysignoff_says_who_and_where": Check(
        UrgencySignOff, [{}], [{"clinician_name": ""}, {"clinician_profession": ""}, {"country": ""}]
    ),
    "clearance_names_clinician": Check(
        Clearance, [{}], [{"clinician_name": ""}, {"clinician_profession": ""}]
    ),
    "interventionnote_site_possible": site(InterventionNote),
    "planversion_number_unique": Once(PlanVersion, [{"number": 3}]),
    "planversion_weeks_possible": on_scale(PlanVersion, "weeks", 1, 104),
    "planday_position_unique": Once(PlanDay, [{"position": 2}]),
    "planday_weekday_of_week": on_scale(PlanDay, "weekday", 0, 6),
    "block_position_unique": Once(Block, [{"position": 2}]),
    "block_kind_known": known(Block, "kind", ["straight_sets", "back_to_back"]),
    "prescription_position_unique": Once(Prescription, [{"position": 1}]),
    "prescription_side_known": known(Prescription, "side", ["left", "right", "both"]),
    "prescription_effort_known": known(Prescription, "effort_target", ["failure", "reps_in_reserve"]),
    "prescription_load_rule_known": known(
        Prescription, "load_rule", ["fixed", "share_of_1rm", "from_history"]
    ),
    "prescription_sets_possible": on_scale(Prescription, "sets", 1, 50),
    "prescription_reps_or_duration": Check(
        Prescription,
        [{"reps_low": 1, "reps_high": 1000}, NO_NUMBERS | {"duration_s": 1}],
        [
            NO_NUMBERS,
            {"duration_s": 30},
            {"reps_low": None},
            {"reps_high": None},
            {"reps_low": 11},
            {"reps_high": 1001},
            NO_NUMBERS | {"duration_s": 0},
        ],
    ),
    "prescription_rir_possible": Check(
        Prescription,
        [{"rir_target": 0.0}, {"rir_target": 10.0}, {"rir_target": None}],
        [{"rir_target": rir} for rir in (-0.5, 10.5, inf, -inf)],
    ),
    "prescription_load_possible": Check(
        Prescription,
        [{"load_kg": 0.0}, {"load_kg": 1000.0}, {"load_kg": None}],
        [{"load_kg": load} for load in (-1.0, 1000.5, inf, -inf)],
    ),
    "prescription_share_possible": Check(
        Prescription,
        [{"share_of_1rm": 0.05}, {"share_of_1rm": 1.1}, {"share_of_1rm": None}],
        [{"share_of_1rm": share} for share in (0.04, 1.11, inf, -inf)],
    ),
    "prescriptionalternative_position_unique": Once(
        PrescriptionAlternative,
        [{"position": 1, "exercise": lambda w: w.third_exercise}],
        again={"exercise": lambda w: w.third_exercise},
    ),
    "prescriptionalternative_once_per_exercise": Once(
        PrescriptionAlternative,
        [{"position": 1, "exercise": lambda w: w.third_exercise}],
        again={"position": 1},
    ),
    "assignment_dates_in_order": Check(
        Assignment, [{"ends_on": None}, {"ends_on": DAY}, {"ends_on": LATER}], [{"ends_on": EARLIER}]
    ),
    "scheduledsession_status_known": known(
        ScheduledSession, "status", ["planned", "not_done", "cancelled", "clinician_stop"]
    ),
    "scheduledsession_once_per_day": Once(ScheduledSession, [{"due_on": LATER}]),
    "session_ends_after_it_starts": Check(
        Session,
        [{"ended_at": None}, {"ended_at": NOW}, {"ended_at": NOW + timedelta(hours=1)}],
        [{"ended_at": NOW - timedelta(seconds=1)}],
    ),
    "session_rpe_on_scale": Check(
        Session,
        [{"session_rpe": 0.0}, {"session_rpe": 10.0}, {"session_rpe": None}],
        [{"session_rpe": rpe} for rpe in (-0.5, 10.5, inf, -inf)],
    ),
    "session_not_before_1990": Check(
        Session,
        [{"performed_at": datetime(1990, 1, 1, tzinfo=UTC)}],
        [{"performed_at": datetime(1989, 12, 31, 23, 59, tzinfo=UTC)}],
    ),
    "loggedset_position_unique": Once(LoggedSet, [{"position": 2}]),
    "loggedset_kind_known": known(LoggedSet, "kind", ["warm_up", "work"]),
    "loggedset_side_known": known(LoggedSet, "side", ["left", "right", "both"]),
    "loggedset_unit_known": known(LoggedSet, "load_unit", ["kg", "lb"]),
    "loggedset_ended_by_known": known(
        LoggedSet, "ended_by", ["target", "failure", "pain", "technique", "other"]
    ),
    "loggedset_load_possible": on_scale(LoggedSet, "load_thousandths", 0, 2_000_000),
    "loggedset_rir_possible": Check(
        LoggedSet,
        [{"rir": 0.0}, {"rir": 20.0}, {"rir": None}],
        [{"rir": rir} for rir in (-0.5, 20.5, inf, -inf)],
    ),
    "loggedset_guess_possible": Check(
        LoggedSet,
        [{"guessed_rir": rir, "guessed_after_reps": 3} for rir in (0.0, 20.0)] + [{"guessed_rir": None}],
        [{"guessed_rir": rir, "guessed_after_reps": 3} for rir in (-0.5, 20.5, inf, -inf)],
    ),
    "loggedset_guess_within_the_set": Check(
        LoggedSet,
        [
            {},
            {"guessed_rir": 2.5, "guessed_after_reps": 0},
            {"guessed_rir": 0.0, "guessed_after_reps": 5},
        ],
        [
            {"guessed_rir": 2.0},
            {"guessed_after_reps": 3},
            {"guessed_rir": 2.0, "guessed_after_reps": 6},
            {"guessed_rir": 2.0, "guessed_after_reps": 0, "reps": None, "duration_s": 30},
        ],
    ),
    "loggedset_reps_or_duration": Check(
        LoggedSet,
        [
            {"reps": 0},
            {"reps": 1000},
            {"reps": None, "duration_s": 1},
            {"reps": None, "duration_s": 7200},
        ],
        [
            {"reps": None},
            {"duration_s": 30},
            {"reps": 1001},
            {"reps": None, "duration_s": 0},
            {"reps": None, "duration_s": 7201},
        ],
    ),
    "painreport_site_possible": site(PainReport),
    "painreport_moment_known": known(
        PainReport, "moment", ["before", "during", "after", "next_morning", "at_rest"]
    ),
    "painreport_pain_on_scale": on_scale(PainReport, "pain", 0, 10),
    "painreport_other_site_named": Check(
        PainReport, [{"joint": "other", "other_site": "Left rib"}], [{"joint": "other"}]
    ),
    "alert_kind_known": known(
        Alert, "kind", ["red_flag", "pain_limit", "pain_rising", "stalled_lift", "silent"]
    ),
    "alert_status_known": Check(
        Alert,
        [{"status": "open"}, {"status": "acknowledged"}, {"status": "put_off", "put_off_until_on": DAY}],
        [{"status": "snoozed"}, {"status": ""}],
    ),
    "alert_one_standing_per_target": Once(
        Alert,
        [
            {"kind": "pain_rising"},
            {"target": "knee:right"},
            {"client": lambda w: w.other_client},
            CLOSED,
        ],
        again={"status": "acknowledged"},
    ),
    "alert_closed_says_when_and_how": Check(
        Alert,
        [{}, *(CLOSED | {"closing": how} for how in ("evidence_gone", "by_coach", "cleared", "withdrawn"))],
        [
            {"status": "closed"},
            CLOSED | {"closed_on": None},
            CLOSED | {"closing": ""},
            CLOSED | {"closing": "forgotten"},
            {"closed_on": DAY},
        ],
    ),
    "alert_red_flag_never_put_off": Check(
        Alert,
        [{"status": "put_off", "put_off_until_on": LATER}, {"kind": "red_flag", "status": "acknowledged"}],
        [{"kind": "red_flag", "status": "put_off", "put_off_until_on": LATER}],
    ),
    "alert_red_flag_ends_by_clinician_or_mistake": Check(
        Alert,
        [CLOSED | {"kind": "red_flag", "closing": how} for how in ("cleared", "withdrawn")],
        [CLOSED | {"kind": "red_flag", "closing": how} for how in ("by_coach", "evidence_gone")],
    ),
    "alert_put_off_has_date": Check(
        Alert, [{"status": "put_off", "put_off_until_on": LATER}], [{"status": "put_off"}]
    ),
    "auditevent_read_once_an_hour": Once(
        AuditEvent,
        [
            {"read_hour": HOUR},
            {"record_kind": "alert"},
            {"subject_key": fresh_uid()},
            {"account_id": fresh_uid()},
            {"device_id": fresh_uid()},
            {"read_hour": None},
        ],
    ),
    "mailrow_state_known": known(MailRow, "state", ["waiting", "sent", "dead"]),
    "webhook_switched_off_is_not_active": Check(
        Webhook,
        [{}, *({"switched_off": why, "is_active": False} for why in ("", "gone", "failing"))],
        [{"switched_off": "gone"}, {"switched_off": "?", "is_active": False}],
    ),
    "webhook_removed_is_not_active": Check(
        Webhook, [{"removed_at": NOW, "is_active": False}], [{"removed_at": NOW}]
    ),
    "webhook_former_salt_ends": Check(
        Webhook,
        [{"former_salt": "5a", "former_salt_until_at": NOW}],
        [{"former_salt": "5a"}, {"former_salt_until_at": NOW}],
    ),
    "webhookdelivery_state_known": known(WebhookDelivery, "state", ["waiting", "sent", "dead"]),
    "webhookdelivery_once_per_event": Once(
        WebhookDelivery,
        [{"event_key": "other"}, {"webhook": lambda w: WebhookFactory(practice=w.practice)}],
        {"event_key": "one"},
    ),
    "webhookdelivery_event_has_its_alert": Check(
        WebhookDelivery,
        [{"event": f"alert.{what}", "alert": an_alert} for what in HAPPENS_TO_ALERTS],
        [{"event": "alert.opened"}, {"alert": an_alert}, {"event": "alert.any", "alert": an_alert}],
    ),
    "night_once": Once(Night, [{"night_on": LATER}]),
    "night_status_known": known(Night, "status", ["due", "running", "done", "skipped"]),
    "nightclient_once_per_revision": Once(
        NightClient, [{"revision": 1}, {"client": lambda w: w.other_client}]
    ),
    "nightclient_state_known": known(NightClient, "state", ["todo", "scored", "failed"]),
    "score_once_per_revision": Once(
        Score, [{"revision": 1}, {"night_on": LATER}, {"client": lambda w: w.other_client}]
    ),
    "jointday_once": Once(
        JointDay,
        [{"day_on": LATER}, {"joint": "hip"}, {"side": "right"}, {"client": lambda w: w.other_client}],
    ),
    "jointday_pain_on_scale": Check(JointDay, [{"pain": 0}, {"pain": 10}, {"pain": None}], [{"pain": 11}]),
    "liftday_once": Once(
        LiftDay,
        [
            {"day_on": LATER},
            {"exercise": lambda w: w.other_exercise},
            {"side": "left"},
            {"track": "after:any_lift"},
            {"client": lambda w: w.other_client},
        ],
    ),
}

OWN_MODELS = list(apps.get_app_config("coaching").get_models())
CONSTRAINTS = {row.name: (model, row) for model in OWN_MODELS for row in model._meta.constraints}
PRACTICE_MODELS = [model for model, row in CONSTRAINTS.values() if row.name.endswith("_uid_unique")]
# What else must differ so that only the id can clash.
OTHERWISE_APART: dict[type[models.Model], Changes] = {
    Membership: {"left_at": NOW},
    Alert: {"target": "knee:right"},
    Consent: {"withdrawn_at": NOW},
    Prescription: {"position": 1},
    ScheduledSession: {"due_on": LATER},
    LoggedSet: {"position": 2},
    CalendarFeed: {"client": lambda w: w.other_client},
}
for practice_model in PRACTICE_MODELS:
    besides = OTHERWISE_APART.get(practice_model, {})
    CASES[f"{practice_model._meta.model_name}_uid_unique"] = Once(
        practice_model,
        [besides | {"uid": fresh_uid()}, besides | {"practice": lambda w: w.elsewhere}],
        {"uid": fresh_uid()},
        besides,
    )
CHECKS = {name: case for name, case in CASES.items() if isinstance(case, Check)}
ONCES = {name: case for name, case in CASES.items() if isinstance(case, Once)}


@pytest.fixture
def rows(db):
    return world()


def refused_by(name):
    """The database refuses by this very constraint; SQLite names a unique index by its columns."""
    model, constraint = CONSTRAINTS[name]
    says = name
    if (
        connection.vendor == "sqlite"
        and isinstance(constraint, models.UniqueConstraint)
        and constraint.fields
    ):
        columns = [model._meta.get_field(field).column for field in constraint.fields]
        says = ", ".join(f"{model._meta.db_table}.{column}" for column in columns) + "$"
    return pytest.raises(IntegrityError, match=says)


def each(cases, side):
    return [
        pytest.param(name, changes, id=f"{name}-{number}")
        for name, case in cases.items()
        for number, changes in enumerate(getattr(case, side))
    ]


@pytest.mark.parametrize(("name", "changes"), each(CHECKS, "kept"))
def test_row_that_holds_is_kept(rows, name, changes):
    row = insert(CHECKS[name].model, rows, **changes)
    assert type(row)._default_manager.filter(pk=row.pk).exists()


@pytest.mark.parametrize(("name", "changes"), each(CHECKS, "refused"))
def test_row_that_does_not_hold_is_refused(rows, name, changes):
    with refused_by(name), transaction.atomic():
        insert(CHECKS[name].model, rows, **changes)


@pytest.mark.parametrize("name", ONCES)
def test_same_row_again_is_refused(rows, name):
    case = ONCES[name]
    insert(case.model, rows, **case.base)
    with refused_by(name), transaction.atomic():
        insert(case.model, rows, **case.base | case.again)


@pytest.mark.parametrize(("name", "changes"), each(ONCES, "apart"))
def test_row_that_differs_is_kept_beside_it(rows, name, changes):
    case = ONCES[name]
    one = insert(case.model, rows, **case.base)
    other = insert(case.model, rows, **case.base | changes)
    assert case.model._default_manager.filter(pk__in=[one.pk, other.pk]).count() == 2


def test_no_constraint_is_without_its_two_rows():
    assert set(CASES) == set(CONSTRAINTS)


def test_each_case_inserts_into_the_table_it_names():
    assert {name: case.model for name, case in CASES.items()} == {
        name: model for name, (model, _) in CONSTRAINTS.items()
    }


def test_database_holds_every_constraint_of_the_models(db):
    with connection.cursor() as cursor:
        held = {
            name
            for model in OWN_MODELS
            for name in connection.introspection.get_constraints(cursor, model._meta.db_table)
        }
    assert set(CONSTRAINTS) <= held


FLOATS = [
    (Session, "session_rpe"),
    (LoggedSet, "rir"),
    (Prescription, "rir_target"),
    (Prescription, "load_kg"),
    (Prescription, "share_of_1rm"),
    (Membership, "weekly_sets_floor"),
    (Membership, "weekly_sets_ceiling"),
    (JointStress, "stress"),
    (BodyMass, "body_mass_kg"),
]


@pytest.mark.parametrize(("model", "name"), FLOATS)
def test_nan_is_never_kept_as_a_number(rows, model, name):
    """PostgreSQL has NaN and refuses it; SQLite has none and keeps unknown, where unknown may stand."""
    may_be_unknown = connection.vendor == "sqlite" and model._meta.get_field(name).null
    if not may_be_unknown:
        with pytest.raises(IntegrityError), transaction.atomic():
            insert(model, rows, **{name: nan})
        return
    row = insert(model, rows, **{name: nan})
    assert model._default_manager.values_list(name, flat=True).get(pk=row.pk) is None


UNIQUE_FIELDS = [
    (model, column.name)
    for model in SMALLEST
    for column in model._meta.fields
    if column.unique and not column.primary_key
]


def test_ids_and_digests_that_stand_once_are_known():
    assert {(model._meta.model_name, name) for model, name in UNIQUE_FIELDS} == {
        ("devicetoken", "uid"),
        ("practice", "uid"),
        ("invitation", "token_digest"),
        ("calendarfeed", "token_digest"),
        ("servicetoken", "token_digest"),
        ("client", "audit_key"),
        ("exercise", "uid"),
        ("mailrow", "key"),
    }


@pytest.mark.parametrize(("model", "name"), UNIQUE_FIELDS)
def test_id_or_digest_stands_once(rows, model, name):
    others = {Exercise: {"code": "other_lift"}, CalendarFeed: {"client": rows.other_client}}
    apart: Changes = others.get(model, {})
    insert(model, rows, **{name: "5f0b0f8a-9c77-4d6d-8c37-5f6f3d0f7a11"})
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        insert(model, rows, **{name: "5f0b0f8a-9c77-4d6d-8c37-5f6f3d0f7a11"} | apart)
