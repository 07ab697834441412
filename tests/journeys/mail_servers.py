"""Mail servers of the journeys: one that greets and then says nothing more."""

import socket
import threading


class MuteServer:
    """Takes connections, greets, and never answers what it is told."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._held: list[socket.socket] = []
        self.was_called = threading.Event()
        threading.Thread(target=self._greet, daemon=True).start()

    @property
    def url(self) -> str:
        return f"smtp://127.0.0.1:{self._listener.getsockname()[1]}"

    def _greet(self) -> None:
        while True:
            try:
                caller, _ = self._listener.accept()
            except OSError:
                return
            caller.sendall(b"220 mute\r\n")
            self._held.append(caller)
            self.was_called.set()

    def close(self) -> None:
        self._listener.close()
        for caller in self._held:
            caller.close()
