"""One writer at a time among the threads of a process, in the order in which they came."""

from collections import deque
from threading import Condition


class Turns:
    """A lock that is fair: nobody who came later is served before."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._waiting: deque[object] = deque()

    def take(self, within_s: float) -> bool:
        """Whether the turn came in that time; who has it gives it back."""
        place, is_ours = object(), False
        with self._changed:
            self._waiting.append(place)
            try:
                is_ours = self._changed.wait_for(lambda: self._waiting[0] is place, within_s)
            finally:
                if not is_ours:
                    self._waiting.remove(place)
                    self._changed.notify_all()
        return is_ours

    def give_back(self) -> None:
        with self._changed:
            self._waiting.popleft()
            self._changed.notify_all()
