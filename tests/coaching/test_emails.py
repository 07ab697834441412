"""The mails themselves, and their delivery to a real SMTP server in this process."""

import email
import re
import socket
from datetime import date, timedelta
from email import policy

import pytest
from aiosmtpd.controller import Controller
from django.core.mail import EmailMessage
from django.core.mail.backends.locmem import EmailBackend as MemoryBackend
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coaching.budget import Budget
from coaching.emails import MailRun, send_due_mail
from coaching.emails.message import message_id
from coaching.installation import may_send
from coaching.models import (
    Alert,
    JointDay,
    MailKind,
    MailRow,
    MailState,
    Membership,
    Night,
    NightClient,
    PainReport,
    Restriction,
    Score,
)
from coaching.operations.mail import enqueue_mail
from coaching.operations.outbox_rows import LEASE
from tests.factories import NOW, AlertFactory, ClientFactory, InjuryFactory

TODAY = date(2026, 3, 2)
NOTE = "It <b>popped</b> & hurt"


@pytest.fixture(autouse=True)
def memory(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.DEFAULT_FROM_EMAIL = "Forbear <forbear@practice.example>"
    settings.PUBLIC_URL = "https://coach.example"


@pytest.fixture
def night(cast):
    return Night.objects.create(
        practice=cast.practice,
        night_on=TODAY,
        zone="Europe/Berlin",
        status="done",
        planned_at=NOW,
        started_at=NOW,
    )


def morning_row(member, on=TODAY, now=NOW):
    enqueue_mail(
        practice_id=member.practice_id,
        kind=MailKind.MORNING,
        recipient=member.account.email,
        key=f"morning:{member.uid}:{on}",
        payload={"membership": member.id, "on": str(on)},
        now=now,
    )


def urgent_row(member, alert, now=NOW):
    enqueue_mail(
        practice_id=member.practice_id,
        kind=MailKind.URGENT,
        recipient=member.account.email,
        key=f"urgent:{alert.uid}:{member.uid}",
        payload={"membership": member.id, "alert": alert.id},
        now=now,
    )


def run(now=NOW, limit=20) -> MailRun:
    return send_due_mail(now=now, budget=Budget.of(60), limit=limit)


def parsed(message: EmailMessage):
    return email.message_from_bytes(message.message().as_bytes(), policy=policy.default)


def text_of(message):
    return message.get_body(("plain",)).get_content()


def page_of(message):
    return message.get_body(("html",)).get_content()


@pytest.fixture
def morning(cast, night, mailoutbox):
    """The coach's morning mail, as the mail program of the coach sees it."""

    def make(member=cast.coach):
        morning_row(member)
        run()
        (sent,) = mailoutbox
        return parsed(sent)

    return make


def painful_days(client, days=10):
    JointDay.objects.bulk_create(
        JointDay(
            practice=client.practice,
            client=client,
            day_on=TODAY - timedelta(days=1 + back),
            joint="knee",
            side="left",
            joint_reps=20,
            joint_load_kg=400,
            pain=back % 5,
        )
        for back in range(days)
    )


def test_the_subject_says_how_many_and_never_who_or_what(cast, morning):
    AlertFactory(client=cast.client)
    AlertFactory(client=ClientFactory(coach=cast.coach))
    assert morning()["Subject"] == "Morning sheet 2 March: 2 clients need attention"


def test_a_quiet_morning_is_mailed_too_and_clears_nobody(cast, morning):
    mail = morning()
    assert mail["Subject"] == "Morning sheet 2 March: nobody needs attention"
    assert "no clearance" in text_of(mail) and "no clearance" in page_of(mail)


def test_each_alert_stands_with_its_sentence_in_both_forms(cast, morning):
    alert = AlertFactory(client=cast.client)
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert cast.client.name in form and alert.sentence in form


def test_clients_that_could_not_be_scored_come_first(cast, night, morning):
    unscored = ClientFactory(coach=cast.coach, name="Ulla Unscored")
    NightClient.objects.create(practice=cast.practice, night=night, client=unscored, state="failed")
    AlertFactory(client=cast.client)
    mail = morning()
    assert mail["Subject"].endswith("1 client needs attention, 1 client could not be scored")
    for form in (text_of(mail), page_of(mail)):
        assert 0 < form.index("Ulla Unscored") < form.index("Mira Lift")


def test_only_unscored_clients_are_in_the_subject_as_well(cast, night, morning):
    NightClient.objects.create(practice=cast.practice, night=night, client=cast.client, state="failed")
    assert morning()["Subject"] == "Morning sheet 2 March: 1 client could not be scored"


def test_every_pain_alert_carries_caution_and_where_to_turn(cast, morning):
    AlertFactory(client=cast.client)
    AlertFactory(client=cast.client, kind="pain_limit")
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert form.count("not a medical device") == form.count("licensed clinician") == 2
        assert "112" in form


def test_an_alert_that_is_not_about_pain_has_no_picture(cast, morning):
    AlertFactory(client=cast.client, kind="stalled_lift", target="leg_press:left:fresh")
    mail = morning()
    assert "Stalled lift: leg press, left" in text_of(mail)
    assert [part.get_content_type() for part in mail.walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]


def score(client, tests_run):
    Score.objects.create(
        practice=client.practice,
        client=client,
        night_on=TODAY,
        details={"lifts": [], "tests_run": tests_run},
        method="night 1",
        scored_at=NOW,
    )


def test_the_mail_tells_ten_lines_and_how_many_more_there_are(cast, morning):
    alerts = [
        AlertFactory(
            client=ClientFactory(coach=cast.coach, name=f"Client {number:02}"),
            kind="silent",
            target="",
            sentence=f"Silence number {number:02}.",
        )
        for number in range(12)
    ]
    mail = morning()
    assert mail["Subject"].endswith("12 clients need attention")
    for form in (text_of(mail), page_of(mail)):
        assert [alert.sentence in form for alert in alerts] == [True] * 10 + [False] * 2
        assert "2 more lines stand on the sheet" in form and "Client 10, Client 11" in form


def test_what_may_be_chance_is_named_below_without_its_picture_and_needs_no_attention(cast, morning):
    painful_days(cast.client)
    score(cast.client, 1000)
    alert = AlertFactory(client=cast.client, evidence={"p_value": 0.004})
    mail = morning()
    assert mail["Subject"].endswith("nobody needs attention")
    assert "<img" not in page_of(mail)
    for form in (text_of(mail), page_of(mail)):
        assert "may be chance" in form.lower() and "Pain with volume: left knee" in form
        assert alert.sentence not in form
        assert "q = 0.10, m = 1000" in form


def test_each_question_is_asked_in_both_forms(cast, morning):
    AlertFactory(client=cast.client, evidence={"worth_asking": ["Worth asking: what changed?"]})
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert form.count("Worth asking: what changed?") == 1


def test_what_is_new_and_what_became_worse_is_announced_at_the_top(cast, morning):
    AlertFactory(client=cast.client, kind="silent")
    worse = {"worse_since_on": str(TODAY)}
    AlertFactory(client=cast.client, opened_on=TODAY - timedelta(days=20), evidence=worse)
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert "1 new this morning, 1 worse than when it was read or put off." in form
        assert "Since 10 February 2026, worse since 2 March 2026" in form


def test_what_was_read_and_is_not_worse_is_not_announced(cast, morning):
    AlertFactory(client=cast.client, status="acknowledged")
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert "new this morning" not in form.lower() and "worse than" not in form
        assert "acknowledged" in form


def test_a_painful_site_has_a_picture_with_words_for_it(cast, morning):
    painful_days(cast.client)
    AlertFactory(client=cast.client)
    mail = morning()
    (image,) = [part for part in mail.walk() if part.get_content_maintype() == "image"]
    tag = re.search(r'<img src="cid:([^"]+)"[^>]* alt="([^"]+)"', page_of(mail))
    assert tag is not None and image["Content-ID"] == f"<{tag[1]}>"
    assert tag[2].startswith("Left knee, 16 weeks to 1 March 2026.")
    assert image.get_content().startswith(b"\x89PNG")


def test_a_painful_site_has_its_numbers_in_both_forms(cast, morning):
    painful_days(cast.client)
    AlertFactory(client=cast.client)
    mail = morning()
    assert re.search(r"23 Feb +140 +4 +1 +0\n", text_of(mail))
    assert "<tr><td>23 Feb</td><td>140</td><td>4</td><td>1</td><td>0</td></tr>" in page_of(mail)


def test_two_alerts_of_one_site_share_a_picture(cast, morning):
    AlertFactory(client=cast.client)
    AlertFactory(client=cast.client, kind="pain_limit")
    mail = morning()
    assert page_of(mail).count("<img") == 1 and page_of(mail).count("see above") == 1


def test_an_untrended_site_is_told_without_a_picture(cast, morning):
    AlertFactory(client=cast.client, kind="red_flag", target="other:left", sentence="Left jaw: flagged.")
    mail = morning()
    assert "Left jaw: flagged." in text_of(mail) and "<img" not in page_of(mail)


def test_many_alerts_take_as_many_queries_as_few(cast, night, mailoutbox):
    assert may_send(now=NOW)  # what the first look of all writes down

    def queries_with_alerts(count, member):
        for number in range(count):
            AlertFactory(client=ClientFactory(coach=member, name=f"Client {number}"))
        morning_row(member)
        with CaptureQueriesContext(connection) as context:
            assert run().sent == 1
        return len(context)

    assert queries_with_alerts(2, cast.coach) == queries_with_alerts(8, cast.colleague)


def test_names_cannot_become_markup(cast, morning):
    cast.client.name = '<img src="https://elsewhere.example/x"> & co'
    cast.client.save()
    AlertFactory(client=cast.client)
    mail = morning()
    assert "elsewhere.example/x&quot;&gt; &amp; co" in page_of(mail)
    assert cast.client.name in text_of(mail)


def test_the_page_loads_nothing_from_elsewhere(cast, morning):
    AlertFactory(client=cast.client)
    page = page_of(morning())
    assert set(re.findall(r'(?:src|href)="([^"]+)"', page)) == {
        "https://coach.example/api/v1/docs",
        "cid:picture-1@practice.example",
    }
    assert "url(" not in page and "@import" not in page


def test_a_caught_up_spell_is_said_in_one_mail(cast, night, morning):
    Night.objects.create(
        practice=cast.practice,
        night_on=TODAY - timedelta(days=1),
        zone="Europe/Berlin",
        status="done",
        planned_at=NOW,
    )
    assert "1 earlier night ran together with this one" in text_of(morning())


def test_the_urgency_table_says_that_nobody_reviewed_it(cast, morning):
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert "no clinician has reviewed it" in form


def test_a_mail_program_can_offer_to_stop_the_digest(cast, morning):
    mail = morning()
    assert mail["List-Unsubscribe"].strip() == (
        f"<mailto:forbear@practice.example?subject=Stop%20the%20morning%20sheet%20{cast.coach.uid}>"
    )


def test_the_message_id_comes_from_the_key_alone(cast, morning):
    mail = morning()
    assert mail["Message-ID"] == message_id(f"morning:{cast.coach.uid}:{TODAY}")
    assert re.fullmatch(r"<[0-9a-f]{32}@practice\.example>", mail["Message-ID"])


def test_a_coach_who_unsubscribed_meanwhile_gets_no_digest(cast, night, mailoutbox):
    morning_row(cast.coach)
    Membership.objects.filter(id=cast.coach.id).update(wants_digest=False)
    assert run() == MailRun(sent=0, failed=0, dead=1, waiting=0)
    assert mailoutbox == [] and MailRow.objects.get().error_code == "unsubscribed"


def test_a_morning_that_has_passed_is_not_mailed(cast, night, mailoutbox):
    morning_row(cast.coach)
    assert run(NOW + timedelta(hours=37)).dead == 1
    assert mailoutbox == [] and MailRow.objects.get().error_code == "morning_passed"


def test_urgent_mail_is_sent_however_late(cast, red_flag, mailoutbox):
    urgent_row(cast.coach, red_flag)
    assert run(NOW + timedelta(days=5)).sent == 1


def test_restrictions_that_end_soon_are_told(cast, morning):
    Restriction.objects.create(
        practice=cast.practice,
        injury=InjuryFactory(client=cast.client),
        kind="limit",
        limit="No deep bends.",
        from_on=TODAY - timedelta(days=30),
        until_on=TODAY + timedelta(days=3),
        said_by="clinician",
    )
    mail = morning()
    for form in (text_of(mail), page_of(mail)):
        assert "left knee: limit, until 5 March 2026" in form


def test_a_coach_who_left_meanwhile_gets_nothing(cast, night, mailoutbox):
    morning_row(cast.coach)
    urgent_row(cast.coach, AlertFactory(client=cast.client, kind="red_flag"))
    Membership.objects.filter(id=cast.coach.id).update(left_at=NOW)
    assert run().dead == 2 and mailoutbox == []


@pytest.fixture
def red_flag(cast):
    report = PainReport.objects.create(
        practice=cast.practice,
        client=cast.client,
        joint="lumbar_spine",
        side="midline",
        moment="during",
        pain=8,
        note=NOTE,
        felt_on=TODAY,
        reported_at=NOW,
        received_at=NOW,
        content_hash="x",
    )
    return AlertFactory(
        client=cast.client,
        kind="red_flag",
        target="lumbar_spine:midline",
        sentence="Lumbar spine: a symptom of the red-flag list.",
        evidence={"flags": ["chest_pain"], "urgency": "emergency", "report": str(report.uid)},
    )


def urgent(mailoutbox, member, alert):
    urgent_row(member, alert)
    run()
    (sent,) = mailoutbox
    return parsed(sent)


def test_the_urgent_subject_names_nobody_and_nothing(cast, red_flag, mailoutbox):
    assert urgent(mailoutbox, cast.coach, red_flag)["Subject"] == "Urgent: a client needs you now"


def test_the_urgent_mail_says_who_where_what_and_what_to_do(cast, red_flag, mailoutbox):
    mail = urgent(mailoutbox, cast.coach, red_flag)
    for form in (text_of(mail), page_of(mail)):
        for said in [
            "Red flag",
            "Mira Lift",
            "Lumbar spine",
            red_flag.sentence,
            "pressure or tightness in the chest",
            "pain 8 of 10, during training",
            "2 March 2026, 13:00",
            "Reach the client at once",
            "call 112",
            "not a medical device",
            "licensed clinician",
            "no clinician has reviewed it",
        ]:
            assert said in form, said


def test_the_clients_words_stay_words(cast, red_flag, mailoutbox):
    mail = urgent(mailoutbox, cast.coach, red_flag)
    assert NOTE in text_of(mail)
    assert "It &lt;b&gt;popped&lt;/b&gt; &amp; hurt" in page_of(mail)


def test_an_urgent_mail_cannot_be_unsubscribed(cast, red_flag, mailoutbox):
    Membership.objects.filter(id=cast.coach.id).update(wants_digest=False)
    assert "List-Unsubscribe" not in urgent(mailoutbox, cast.coach, red_flag)


def test_a_withdrawn_red_flag_is_still_told_as_a_fact(cast, red_flag, mailoutbox):
    Alert.objects.filter(id=red_flag.id).update(status="closed", closing="withdrawn", closed_on=TODAY)
    text = text_of(urgent(mailoutbox, cast.coach, red_flag))
    assert "withdrawn meanwhile as entered by mistake" in text and red_flag.sentence in text


def test_whoever_covers_reads_whose_client_it_is(cast, red_flag, mailoutbox):
    assert "Carl Coach is their coach" in text_of(urgent(mailoutbox, cast.colleague, red_flag))


def test_a_passed_limit_is_not_called_a_red_flag(cast, mailoutbox):
    limit = AlertFactory(client=cast.client, kind="pain_limit", evidence={"pain": 7, "limit": 6})
    text = text_of(urgent(mailoutbox, cast.coach, limit))
    assert "Pain limit reached: Mira Lift" in text and "Red flag" not in text


def test_unknown_urgency_is_told_as_the_highest(cast, mailoutbox):
    flag = AlertFactory(client=cast.client, kind="red_flag", evidence={"flags": ["chest_pain"]})
    assert "Reach the client at once" in text_of(urgent(mailoutbox, cast.coach, flag))


def test_an_erased_alert_is_not_told(cast, red_flag, mailoutbox):
    urgent_row(cast.coach, red_flag)
    red_flag.delete()
    assert run().dead == 1 and mailoutbox == []


def test_a_row_that_cannot_be_rendered_does_not_block_the_rest(cast, night, red_flag, mailoutbox):
    urgent_row(cast.coach, red_flag)
    MailRow.objects.update(payload={})
    morning_row(cast.coach)
    assert run() == MailRun(sent=1, failed=1, dead=0, waiting=1)


def test_nothing_due_opens_no_connection(db, monkeypatch):
    def fail(*_args, **_options):
        raise AssertionError("a connection was asked for")

    monkeypatch.setattr("coaching.emails.get_connection", fail)
    assert run() == MailRun(0, 0, 0, 0)


def test_the_limit_ends_the_run(cast, night, mailoutbox):
    morning_row(cast.coach)
    morning_row(cast.colleague)
    assert run(limit=1) == MailRun(sent=1, failed=0, dead=0, waiting=1)


def test_the_time_ends_the_run(cast, night, mailoutbox):
    morning_row(cast.coach)
    assert send_due_mail(now=NOW, budget=Budget.of(0), limit=9) == MailRun(
        sent=0, failed=0, dead=0, waiting=1
    )


def test_log_lines_hold_ids_and_neither_address_nor_name(cast, night, red_flag, caplog, mailoutbox):
    caplog.set_level("INFO")
    urgent_row(cast.coach, red_flag)
    run()
    assert "mail_sent" in caplog.text
    for secret in (cast.coach.account.email, "Mira", "knee", "umbar"):
        assert secret not in caplog.text


class Postmaster:
    """An SMTP server's answers, by recipient or for everyone; keeps what it took."""

    def __init__(self) -> None:
        self.taken: list[bytes] = []
        self.no: dict[str, str] = {}
        self.no_data = ""
        self.no_sender = ""
        self.hangs_up_on: set[int] = set()

    async def handle_MAIL(self, server, session, envelope, address, options):  # noqa: N802 - aiosmtpd's name
        if self.no_sender:
            return self.no_sender
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802 - aiosmtpd's name
        if address in self.no:
            return self.no[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - aiosmtpd's name
        self.taken.append(envelope.content)
        if len(self.taken) in self.hangs_up_on:
            server.transport.abort()
        return self.no_data or "250 OK"


@pytest.fixture
def postmaster(settings):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    handler = Postmaster()
    server = Controller(handler, hostname="127.0.0.1", port=port)
    server.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", port, 5
    handler.server = server
    yield handler
    if server._thread is not None:
        server.stop()


def test_mail_is_delivered(cast, night, postmaster):
    morning_row(cast.coach)
    assert run() == MailRun(sent=1, failed=0, dead=0, waiting=0)
    (taken,) = postmaster.taken
    assert email.message_from_bytes(taken)["Subject"].startswith("Morning sheet 2 March")


@pytest.mark.parametrize("answer", ["421 shutting down", "451 try again later"])
def test_a_temporary_no_is_tried_again_later_and_then_delivered(cast, night, postmaster, answer):
    postmaster.no[cast.coach.account.email] = answer
    morning_row(cast.coach)
    assert run() == MailRun(sent=0, failed=1, dead=0, waiting=1)
    assert run().failed == 0
    postmaster.no.clear()
    assert run(NOW + timedelta(minutes=2)) == MailRun(sent=1, failed=0, dead=0, waiting=0)


def test_an_unknown_mailbox_is_dead_and_not_tried_again(cast, night, postmaster):
    postmaster.no[cast.coach.account.email] = "550 5.1.1 no such user"
    morning_row(cast.coach)
    assert run() == MailRun(sent=0, failed=0, dead=1, waiting=0)
    row = MailRow.objects.get()
    assert (row.state, row.error_code) == (MailState.DEAD, "recipient_550")


@pytest.mark.parametrize("answer", ["421 shutting down", "451 later", "550 5.1.1 no such user"])
def test_one_bad_address_does_not_hold_up_the_others(cast, night, postmaster, answer):
    postmaster.no[cast.coach.account.email] = answer
    for member in (cast.coach, cast.colleague, cast.owner):
        morning_row(member)
    assert run().sent == 2


def test_an_answer_that_gets_lost_sends_the_same_message_id_again(cast, night, postmaster):
    postmaster.no_data = "451 took it, but says no"
    morning_row(cast.coach)
    run()
    postmaster.no_data = ""
    run(NOW + LEASE)
    first, second = [email.message_from_bytes(taken) for taken in postmaster.taken]
    assert first["Message-ID"] == second["Message-ID"]
    assert first["Date"] == second["Date"]


def test_a_server_that_hangs_up_costs_one_mail_a_delay_and_the_others_nothing(cast, night, postmaster):
    postmaster.hangs_up_on = {1}
    for member in (cast.coach, cast.colleague, cast.owner):
        morning_row(member)
    assert run() == MailRun(sent=2, failed=1, dead=0, waiting=1)
    assert run(NOW + timedelta(minutes=2)) == MailRun(sent=1, failed=0, dead=0, waiting=0)


def test_a_refused_sender_stops_the_run_and_burns_no_mail(cast, night, postmaster):
    postmaster.no_sender = "550 5.7.1 not from here"
    morning_row(cast.coach)
    morning_row(cast.colleague)
    assert run() == MailRun(sent=0, failed=1, dead=0, waiting=2)
    assert set(MailRow.objects.values_list("attempts", flat=True)) == {0}


def test_a_mail_server_that_is_away_burns_no_mail(cast, night, postmaster):
    postmaster.server.stop()
    morning_row(cast.coach)
    assert run() == MailRun(sent=0, failed=0, dead=0, waiting=1)
    assert MailRow.objects.get().attempts == 0


def test_a_sender_that_died_after_claiming_loses_nothing(cast, night, monkeypatch, mailoutbox):
    def die(*_args):
        raise SystemExit

    morning_row(cast.coach)
    with monkeypatch.context() as patched, pytest.raises(SystemExit):
        patched.setattr(MemoryBackend, "send_messages", die)
        run()
    assert run().sent == 0
    assert run(NOW + LEASE).sent == 1
