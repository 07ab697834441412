"""Serializer fields that take a value as it is meant, or not at all."""

import re
import unicodedata
import uuid
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-](0\d|1[0-4]):[0-5]\d)", re.ASCII
)
# Python's own reading takes digits of any script, underscores, and dashes anywhere.
ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.ASCII | re.IGNORECASE)
DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
FIRST_DAY = date(1990, 1, 1)
LAST_DAY = date(2100, 1, 1)


# A comment and not a docstring: the API document would repeat it on every body.
# A key that is not asked for is a fault, not noise.
class StrictSerializer(serializers.Serializer[Any]):
    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = [key for key in data if key not in self.fields or self.fields[key].read_only]
            if unknown:
                fault = serializers.ErrorDetail("This key is not known here.", code="unknown_key")
                raise serializers.ValidationError({key: [fault] for key in unknown})
        return super().to_internal_value(data)


class TextField(serializers.CharField):
    """Text, kept in NFC; one line unless `is_multiline`."""

    def __init__(self, *, max_length: int, is_multiline: bool = False, **kwargs: Any) -> None:
        super().__init__(max_length=max_length, trim_whitespace=True, **kwargs)
        self.is_multiline = is_multiline

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        text = super().to_internal_value(unicodedata.normalize("NFC", data))
        if CONTROL.search(text) or (not self.is_multiline and ("\n" in text or "\r" in text)):
            raise serializers.ValidationError(
                "Control characters are not accepted here.", code="control_character"
            )
        return text


class CodeField(serializers.ChoiceField):
    """One of a fixed set of words."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid_choice", input=type(data).__name__)
        return str(super().to_internal_value(data))


class WholeField(serializers.IntegerField):
    """A whole number written as one: no text, no true, no 5.0."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("invalid")
        return super().to_internal_value(data)


class NumberField(serializers.FloatField):
    """A finite number; `step` demands multiples (0.5 for half steps)."""

    def __init__(self, *, step: float | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.step = step

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float | Decimal):
            self.fail("invalid")
        number = float(data)
        if self.step is not None and (number / self.step) % 1:
            raise serializers.ValidationError(f"Give it in steps of {self.step}.", code="step")
        return number


class FlagField(serializers.BooleanField):
    """true or false, nothing that looks like it."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class IdField(serializers.UUIDField):
    """An RFC 9562 UUID in its usual text form; nil and max are no ids."""

    def to_internal_value(self, data: Any) -> uuid.UUID:
        if not isinstance(data, str) or not ID.fullmatch(data):
            self.fail("invalid", value=data if isinstance(data, str) else type(data).__name__)
        found = super().to_internal_value(data)
        if found.int in (0, 2**128 - 1):
            self.fail("invalid", value=data)
        return found


# A comment for the same reason as above: a post that is sent again with its id is stored once.
class WithOwnId(StrictSerializer):
    id = IdField(
        required=False,
        help_text="Made by the app, so that it may send this again: the same content answers 200.",
    )


class InstantField(serializers.DateTimeField):
    """RFC 3339 with an offset: the zone is never guessed."""

    def to_internal_value(self, data: Any) -> datetime:
        if not isinstance(data, str) or not INSTANT.fullmatch(data):
            raise serializers.ValidationError(
                "Give an RFC 3339 instant with its offset, like 2026-03-02T18:30:00+01:00.", code="invalid"
            )
        try:
            found = datetime.fromisoformat(data.upper())
            found.astimezone(UTC)  # the last hours of the calendar are beyond it elsewhere
            return found
        except (ValueError, OverflowError):
            raise serializers.ValidationError("There is no such instant.", code="invalid") from None


class DayField(serializers.DateField):
    """An ISO 8601 calendar date between 1990 (1900 for births) and 2100."""

    def __init__(self, *, earliest: date = FIRST_DAY, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.earliest = earliest

    def to_internal_value(self, data: Any) -> date:
        if not isinstance(data, str) or not DAY.fullmatch(data):
            raise serializers.ValidationError("Give a date like 2026-03-02.", code="invalid")
        try:
            day = date.fromisoformat(data)
        except ValueError:
            raise serializers.ValidationError("There is no such date.", code="invalid") from None
        if not self.earliest <= day <= LAST_DAY:
            raise serializers.ValidationError(
                f"The date must lie between {self.earliest} and {LAST_DAY}.", code="out_of_range"
            )
        return day


@extend_schema_field({"type": "number", "minimum": 0, "maximum": 2000, "multipleOf": 0.001})
class LoadField(serializers.Field[int, Any, Any, Any]):
    """A load as entered, kept in whole thousandths of its unit: at most three decimals, at most 2,000."""

    default_error_messages = {
        "invalid": "Give the load as a number.",
        "out_of_range": "The load goes from 0 to 2000.",
        "decimals": "The load has at most three decimals.",
    }

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int | float | Decimal):
            self.fail("invalid")
        load = Decimal(str(data))
        if not load.is_finite() or not 0 <= load <= 2000:
            self.fail("out_of_range")
        if load * 1000 % 1:
            self.fail("decimals")
        return int(load * 1000)

    def to_representation(self, value: int) -> float:
        return value / 1000
