"""What is typed after an option: a day or an id, refused in the words of whoever typed it."""

from argparse import ArgumentTypeError
from datetime import date
from uuid import UUID


def day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a date like 2026-03-02") from None


def record_id(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not an id like 0190a7c4-2f1e-7b3a-9c55-d2e8f4a61b07") from None


class WholeNumber:
    """A whole number from `fewest` to `most`; without `most` there is no end to it."""

    def __init__(self, fewest: int, most: int | None = None) -> None:
        self.fewest, self.most = fewest, most

    def __call__(self, text: str) -> int:
        is_number = text.isascii() and text.isdecimal()
        if not is_number or int(text) < self.fewest or (self.most is not None and int(text) > self.most):
            span = f"of {self.fewest} or more" if self.most is None else f"from {self.fewest} to {self.most}"
            raise ArgumentTypeError(f"must be a whole number {span}")
        return int(text)
