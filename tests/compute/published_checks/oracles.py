"""Which test holds which function against which independent implementation."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Oracle:
    """A function, the package it must agree with, and where the two define things differently."""

    subject: str
    package: str
    series: str
    difference: str
    module: str
    test: str


ORACLES: tuple[Oracle, ...] = ()
