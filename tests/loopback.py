"""A server on loopback that answers as badly as one is told to, and counts who came."""

import contextlib
import socketserver
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

OK = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok"


def answer(status: int, *headers: str, body: bytes = b"") -> bytes:
    lines = [f"HTTP/1.1 {status} Any", f"Content-Length: {len(body)}", *headers, "", ""]
    return "\r\n".join(lines).encode() + body


@dataclass
class Heard:
    """One request as it came: its line, its fields in lower case, its body."""

    line: str
    fields: dict[str, str]
    body: bytes


@dataclass
class Peer:
    """`answers` are given in turn, the last one for ever; `pause_s` lies between their bytes."""

    port: int = 0
    hits: int = 0
    heard: list[Heard] = field(default_factory=list)
    answers: list[bytes] = field(default_factory=lambda: [OK])
    hangs: bool = False
    pause_s: float = 0.0
    ends: threading.Event = field(default_factory=threading.Event)

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def says(self, *answers: bytes) -> None:
        self.answers = list(answers)

    def next_answer(self) -> bytes:
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


@contextlib.contextmanager
def listening() -> Iterator[Peer]:
    peer = Peer()

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            peer.hits += 1
            if peer.hangs:
                peer.ends.wait(30)
                return
            line = self.rfile.readline().decode("latin-1").strip()
            fields = dict(iter(self._field, None))
            body = self.rfile.read(int(fields.get("content-length", 0)))
            peer.heard.append(Heard(line, fields, body))
            with contextlib.suppress(OSError):
                self._say(peer.next_answer())

        def _field(self) -> tuple[str, str] | None:
            line = self.rfile.readline().decode("latin-1").strip()
            name, _, value = line.partition(":")
            return (name.lower(), value.strip()) if line else None

        def _say(self, content: bytes) -> None:
            if not peer.pause_s:
                self.wfile.write(content)
                return
            for byte in content:
                self.wfile.write(bytes([byte]))
                time.sleep(peer.pause_s)

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True
        allow_reuse_address = True

        def handle_error(self, request: object, client_address: object) -> None:
            """Who hangs up on us is no trouble of the test."""

    with Server(("127.0.0.1", 0), Handler) as server:
        peer.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        try:
            yield peer
        finally:
            peer.ends.set()
            server.shutdown()
            thread.join()
