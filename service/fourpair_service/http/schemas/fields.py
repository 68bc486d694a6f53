"""Scalar fields that take what JSON says and nothing that merely looks like it.

Text is not a number, ``true`` is not 1, control characters are no part of a
label. Each field also tells the OpenAPI description what it accepts, through
``json_schema``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from typing import Any, Final

import orjson
from marshmallow import ValidationError, fields, missing

from fourpair_service.http.schemas.advice import what_it_is
from fourpair_service.http.schemas.document_limits import (
    DEFAULT_LIMITS,
    DocumentLimits,
    current_limits,
    reading_within,
)

# RFC 3339 section 5.6, with the offset that makes the time a moment.
_MOMENT: Final = re.compile(
    r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,6})?([Zz]|[+-](0\d|1\d|2[0-3]):[0-5]\d)", re.ASCII
)
_DAY: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)

# Controls, lone surrogates and unassigned values; of the format characters those
# that turn the direction of what follows, so that a label reads as something else.
_REFUSED_CATEGORIES: Final = frozenset({"Cc", "Cs", "Cn"})
_REFUSED_CHARACTERS: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class Direct(fields.Field[Any]):
    """A field that reads a present value at once, without the library's stations on the way.

    A document has a hundred small fields; where none of validators, hooks or a
    null is in play the stations do nothing.
    """

    def deserialize(
        self, value: Any, attr: str | None = None, data: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> Any:
        """Return what a value means, as the library's own method does.

        Raises:
            ValidationError: as the field says.
        """
        if value is None or value is missing or self.validators or self.pre_load or self.post_load:
            return super().deserialize(value, attr, data, **kwargs)
        return self._deserialize(value, attr, data, **kwargs)


class Nested(Direct, fields.Nested):
    """An object inside an object."""


# Parts of documents that are kept, as an office full of links is measured with the same few.
REMEMBERED: Final = 256


class Remembered(Nested):
    """An object that is the same in most documents, read once and not to be written to."""

    def __init__(self, *arguments: Any, **kwargs: Any) -> None:
        super().__init__(*arguments, **kwargs)
        self._known = lru_cache(REMEMBERED)(self._read)

    def _deserialize(
        self,
        value: Any,
        attr: str | None,
        data: Mapping[str, Any] | None,
        partial: Any = None,
        **kwargs: Any,
    ) -> Any:
        if partial or type(value) is not dict:
            return super()._deserialize(value, attr, data, partial, **kwargs)
        try:
            text = orjson.dumps(value)
        except TypeError:
            return super()._deserialize(value, attr, data, partial, **kwargs)
        return self._known(text, current_limits())

    def _read(self, text: bytes, limits: DocumentLimits) -> Any:
        # What is wrong raises, and is not kept.
        with reading_within(limits):
            return super()._deserialize(orjson.loads(text), None, None)


class Float(Direct, fields.Float):
    """A finite number in a range.

    Args:
        low, high: the range, both ends included.
        unit: as it follows a number in a sentence.
        advice: gives a hint for a value out of range, or ``None``.
    """

    def __init__(
        self,
        *,
        low: float,
        high: float,
        unit: str = "",
        advice: Callable[[float], str | None] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.low, self.high, self.unit, self.advice = low, high, unit, advice

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> float:
        if type(value) is not float and type(value) is not int:
            raise ValidationError(f"Expected a number, got {what_it_is(value)}.")
        if self.low <= value <= self.high:
            return float(value)
        hint = self.advice(value) if self.advice else None
        unit = f" {self.unit}" if self.unit else ""
        raise ValidationError(hint or f"Expected a number from {self.low:g} to {self.high:g}{unit}.")

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``number``."""
        return {"minimum": self.low, "maximum": self.high}


class Integer(Direct, fields.Integer):
    """A whole number in a range; ``23.0`` is one, as JSON Schema has it."""

    def __init__(self, *, low: int, high: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int:
        if type(value) is not int and not (type(value) is float and value.is_integer()):
            got = f"{value:g}" if type(value) is float else what_it_is(value)
            raise ValidationError(f"Expected a whole number, got {got}.")
        if not self.low <= value <= self.high:
            raise ValidationError(f"Expected a whole number from {self.low} to {self.high}.")
        return int(value)

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``integer``."""
        return {"minimum": self.low, "maximum": self.high}


class Flag(Direct, fields.Boolean):
    """``true`` or ``false``; no other spelling."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> bool:
        if type(value) is not bool:
            raise ValidationError(f"Expected true or false, got {what_it_is(value)}.")
        return value


class Text(Direct, fields.String):
    """Text that a person can read on one line.

    Args:
        is_long: notes, which may have line breaks and the length of notes.
    """

    def __init__(self, *, is_long: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.is_long = is_long

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        if type(value) is not str:
            raise ValidationError(f"Expected text, got {what_it_is(value)}.")
        limits = current_limits()
        most = limits.notes_characters if self.is_long else limits.name_characters
        if not value or len(value) > most:
            raise ValidationError(
                f"Expected 1 to {most} characters, got {len(value)}; shorten it."
                if value
                else f"Expected 1 to {most} characters, got none; leave the field out where there is nothing to say."
            )
        if not value.isprintable():
            self._refuse_unreadable(value)
        return value

    def _refuse_unreadable(self, value: str) -> None:
        for i, character in enumerate(value):
            if self.is_long and character in "\n\r\t":
                continue
            if character in _REFUSED_CHARACTERS or unicodedata.category(character) in _REFUSED_CATEGORIES:
                raise ValidationError(
                    f"Character {i + 1} (U+{ord(character):04X}) cannot be printed; leave it out."
                )

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``string``."""
        most = DEFAULT_LIMITS.notes_characters if self.is_long else DEFAULT_LIMITS.name_characters
        return {"minLength": 1, "maxLength": most}


class Choice(Direct, fields.String):
    """One of a few words; members of an enumeration come out as such."""

    def __init__(self, choices: Iterable[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = {str(choice): choice for choice in choices}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        if type(value) is str and value in self.choices:
            return self.choices[value]
        raise ValidationError(f"Expected one of {', '.join(self.choices)}.")

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``string``."""
        return {"enum": [*self.choices, *([None] if self.allow_none else [])]}


class Moment(fields.AwareDateTime):
    """A moment by RFC 3339, with its offset from UTC."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> datetime:
        if type(value) is str and _MOMENT.fullmatch(value):
            try:
                return datetime.fromisoformat(value.upper())
            except ValueError:
                pass  # a 30th of February: answered below
        raise ValidationError(
            "Expected a date and time with its offset (RFC 3339), such as 2026-03-04T10:21:07+01:00."
        )


class Day(Direct, fields.Date):
    """A calendar day, ``2025-11-02``."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> date:
        if type(value) is str and _DAY.fullmatch(value):
            try:
                return date.fromisoformat(value)
            except ValueError:
                pass  # a 30th of February: answered below
        raise ValidationError("Expected a day of the calendar, such as 2025-11-02.")


class Items(fields.List[Any]):
    """A list of at most ``most`` members; ``None``: as many as the limits allow."""

    default_error_messages = {"invalid": "Expected a list."}  # noqa: RUF012 - marshmallow's own convention

    def __init__(self, inner: Any, *, most: int | None = None, **kwargs: Any) -> None:
        super().__init__(inner, **kwargs)
        self.most = most

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if type(value) is not list:
            raise ValidationError(f"Expected a list, got {what_it_is(value)}.")
        most = current_limits().items if self.most is None else self.most
        if len(value) > most:
            raise ValidationError(f"Expected at most {most} entries, got {len(value)}.")
        return super()._deserialize(value, attr, data, **kwargs)

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``array``."""
        return {"maxItems": DEFAULT_LIMITS.items if self.most is None else self.most}


class TextMap(fields.Field[dict[str, str]]):
    """An object whose names are free and whose values are text."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._text = Text()

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> dict[str, str]:
        if type(value) is not dict:
            raise ValidationError(f"Expected an object, got {what_it_is(value)}.")
        if len(value) > current_limits().items:
            raise ValidationError(f"Expected at most {current_limits().items} entries, got {len(value)}.")
        messages: dict[str, object] = {}
        for name, text in value.items():
            try:
                self._text.deserialize(name, name, value)
                self._text.deserialize(text, name, value)
            except ValidationError as error:
                messages[name] = error.messages
        if messages:
            raise ValidationError(messages)
        return dict(value)

    def json_schema(self) -> dict[str, object]:
        """Return the schema of the object."""
        return {
            "type": "object",
            "maxProperties": DEFAULT_LIMITS.items,
            "additionalProperties": {"type": "string", **self._text.json_schema()},
        }
