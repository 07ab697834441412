"""A mail server that can refuse, hang, drop and answer half-way, and remembers every mail that it took."""

import random
import socket
import socketserver
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from email import message_from_bytes
from enum import Enum


class MailFault(Enum):
    """What one connection meets. After the last two the mail is taken, and its sender cannot know."""

    REFUSE = "hangs up at once"
    BUSY = "421 at the greeting"
    MAILBOX_BUSY = "451 to the recipient"
    FULL = "452 after the mail"
    REJECTED = "554 after the mail"
    DROP_IN_DATA = "hangs up within the mail"
    TAKE_AND_DROP = "takes the mail and hangs up"
    TAKE_AND_HANG = "takes the mail and says nothing"


AT_CONNECTING = (MailFault.REFUSE, MailFault.BUSY)
AMBIGUOUS = (MailFault.TAKE_AND_DROP, MailFault.TAKE_AND_HANG)
ANSWERS_AFTER_IT = {MailFault.FULL: "452 full", MailFault.REJECTED: "554 not now"}
OF_A_MAIL = (MailFault.MAILBOX_BUSY, *ANSWERS_AFTER_IT, MailFault.DROP_IN_DATA, *AMBIGUOUS)
HANGS_FOR_S = 12.0  # longer than the sender waits


@dataclass
class Taken:
    """Mails by Message-ID: how often each was taken, and for whom."""

    copies: dict[str, int] = field(default_factory=dict)
    recipients: dict[str, str] = field(default_factory=dict)
    ambiguous: int = 0


class MailServer:
    """`share` of the connections, and of the mails, meet a fault; who begins with `nobody` is never known."""

    def __init__(self, seed: int = 7) -> None:
        self.chance = random.Random(seed)
        self.share = 0.0
        self.taken = Taken()
        self.met: dict[MailFault, int] = {}
        self._lock = threading.Lock()
        self._server = _Listener(("127.0.0.1", 0), _Conversation)
        self._server.owner = self
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self.port}"

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()

    def next_fault(self, faults: Sequence[MailFault]) -> MailFault | None:
        with self._lock:
            return self.chance.choice(faults) if self.chance.random() < self.share else None

    def note_met(self, fault: MailFault) -> None:
        with self._lock:
            self.met[fault] = self.met.get(fault, 0) + 1

    def take(self, mail: bytes, *, is_ambiguous: bool) -> None:
        message = message_from_bytes(mail)
        name = str(message["Message-ID"])
        with self._lock:
            self.taken.copies[name] = self.taken.copies.get(name, 0) + 1
            self.taken.recipients[name] = str(message["To"])
            self.taken.ambiguous += is_ambiguous


class _Listener(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = True
    request_queue_size = 64
    owner: MailServer


class _Conversation(socketserver.StreamRequestHandler):
    """Enough of RFC 5321 for one sender."""

    timeout = 60
    server: _Listener
    fault: MailFault | None = None

    def handle(self) -> None:
        owner = self.server.owner
        fault = owner.next_fault(AT_CONNECTING)
        if fault is not None:
            owner.note_met(fault)
        if fault is MailFault.BUSY:
            self.say("421 too busy")
        if fault is not None:
            return
        self.say("220 ready")
        try:
            while self.one_command():
                pass
        except (OSError, ValueError):
            return

    def one_command(self) -> bool:
        line = self.rfile.readline(2000).decode("ascii", "replace").strip()
        match line.partition(" ")[0].upper():
            case "":
                return False
            case "QUIT":
                self.say("221 bye")
                return False
            case "EHLO":
                self.say("250 here")
            case "MAIL":
                self.fault = self.server.owner.next_fault(OF_A_MAIL)
                self.say("250 ok")
            case "RCPT":
                self.answer_recipient(line)
            case "DATA":
                return self.take_mail()
            case _:
                self.say("250 ok")
        return True

    def answer_recipient(self, line: str) -> None:
        if "<nobody" in line:
            self.say("550 no such mailbox")
        elif self.fault is MailFault.MAILBOX_BUSY:
            self.server.owner.note_met(self.fault)
            self.say("451 later")
        else:
            self.say("250 ok")

    def take_mail(self) -> bool:
        owner, fault = self.server.owner, self.fault
        self.say("354 go on")
        mail = self.read_mail(stop_early=fault is MailFault.DROP_IN_DATA)
        if fault is not None:
            owner.note_met(fault)
        if fault is MailFault.DROP_IN_DATA:
            return False
        if fault in ANSWERS_AFTER_IT:
            self.say(ANSWERS_AFTER_IT[fault])
            return True
        owner.take(mail, is_ambiguous=fault in AMBIGUOUS)
        if fault is MailFault.TAKE_AND_HANG:
            time.sleep(HANGS_FOR_S)
        if fault in AMBIGUOUS:
            return False
        self.say("250 taken")
        return True

    def read_mail(self, *, stop_early: bool) -> bytes:
        lines = []
        while (line := self.rfile.readline(65_536)) not in (b".\r\n", b""):
            lines.append(line[1:] if line.startswith(b"..") else line)
            if stop_early:
                break
        return b"".join(lines)

    def say(self, answer: str) -> None:
        self.wfile.write(answer.encode() + b"\r\n")
        self.wfile.flush()

    def finish(self) -> None:
        try:
            super().finish()
            self.request.shutdown(socket.SHUT_RDWR)
        except OSError:
            return
