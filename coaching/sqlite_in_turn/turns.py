"""One writer at a time among the threads of a process, in the order in which they came."""

from collections import deque
from threading import Condition
from time import monotonic


class Turns:
    """A lock that is fair: nobody who came later is served before."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._waiting: deque[object] = deque()

    def take(self, within_s: float) -> bool:
        """Whether the turn came in that time; who has it gives it back."""
        place = object()
        until = monotonic() + within_s
        with self._changed:
            self._waiting.append(place)
            while self._waiting[0] is not place:
                if not self._changed.wait(until - monotonic()):
                    self._waiting.remove(place)
                    return False
        return True

    def give_back(self) -> None:
        with self._changed:
            self._waiting.popleft()
            self._changed.notify_all()
