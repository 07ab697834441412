"""How long a piece of work may go on: until its time is up, or until its process is asked to stop."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace


def nobody_asks_to_stop() -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Budget:
    """`until_s` is a moment of `time.monotonic`. Work looks at it between two pieces, never within one."""

    until_s: float
    is_stopping: Callable[[], bool] = nobody_asks_to_stop

    @classmethod
    def of(cls, seconds: float, is_stopping: Callable[[], bool] = nobody_asks_to_stop) -> "Budget":
        return cls(time.monotonic() + seconds, is_stopping)

    @property
    def left_s(self) -> float:
        return 0.0 if self.is_stopping() else max(self.until_s - time.monotonic(), 0.0)

    @property
    def is_spent(self) -> bool:
        return self.left_s <= 0

    def ending_in(self, seconds: float) -> "Budget":
        """A budget of so many seconds from now, which the same wish to stop ends."""
        return replace(self, until_s=time.monotonic() + seconds)
