"""Schemas that refuse what they do not know, and say what was probably meant."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, fields, missing

from fourpair_service.http.schemas.advice import Advice, key_advice, name_advice, what_it_is


class StrictSchema(Schema):
    """A schema for a JSON object in which no field goes unread."""

    unknown_advice: ClassVar[Advice] = staticmethod(name_advice)

    class Meta:
        """Refuse unknown fields."""

        unknown = RAISE

    def load(self, data: Any, **asked: Any) -> Any:
        """Return what a JSON object means.

        Most objects are sound, and have few of the fields that they could have. So they
        are read field by field first, and only where that fails all of the library's
        stations are gone through, to collect everything that is wrong.

        Raises:
            ValidationError: with a message for each thing that is wrong.
        """
        if type(data) is dict and self._is_plain and not any(asked.values()):
            found = self._loaded(data)
            if found is not None:
                return found
        return super().load(data, **asked)

    @cached_property
    def _is_plain(self) -> bool:
        """Whether nothing is done to an object but to read its fields."""
        renamed = any(f.data_key or f.attribute for f in self.load_fields.values())
        return not (any(self._hooks.values()) or renamed or self.many or self.partial)

    @cached_property
    def _plain_fields(self) -> tuple[tuple[str, fields.Field[Any]], ...]:
        return tuple(self.load_fields.items())

    def _loaded(self, data: dict[str, Any]) -> dict[str, Any] | None:
        """Return the fields of an object in the order of the schema; ``None`` where anything is wrong."""
        loaded, read = {}, 0
        for name, field in self._plain_fields:
            value = data.get(name, missing)
            if value is missing:
                if field.required:
                    return None
                if field.load_default is not missing:
                    default = field.load_default
                    loaded[name] = default() if callable(default) else default
                continue
            try:
                loaded[name] = field.deserialize(value, name, data)
            except ValidationError:
                return None
            read += 1
        return loaded if read == len(data) else None

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **kwargs: Any) -> None:
        """Replace the library's words for unknown, missing and ill-typed fields by advice."""
        if not isinstance(error.messages, dict):
            return
        if not isinstance(data, Mapping):
            error.messages = {"_schema": [f"Expected an object, got {what_it_is(data)}."]}
            return
        known = {field.data_key or name: field for name, field in self.load_fields.items()}
        for name in data:
            if name not in known:
                error.messages[name] = [type(self).unknown_advice(str(name), known)]
        for name, field in known.items():
            if name not in error.messages:
                continue
            if name not in data and field.required:
                error.messages[name] = [f"This is required.{_expected(field)}"]
            elif name in data and data[name] is None:
                error.messages[name] = ["null says nothing here: leave the field out, or give it a value."]


def _expected(field: fields.Field[Any]) -> str:
    """Return the words that a choice accepts, for a sentence behind another."""
    choices = getattr(field, "choices", ())
    return f" Give one of {', '.join(choices)}." if choices else ""


class KeyedSchema(StrictSchema):
    """A schema whose fields are pairs, pins or combinations of pairs."""

    unknown_advice: ClassVar[Advice] = staticmethod(key_advice)


def keyed_schema(name: str, keys: Iterable[str], make: Callable[[], fields.Field[Any]]) -> type[Schema]:
    """Return a schema with one optional field for each key.

    Args:
        name: as the OpenAPI description shall call it.
        keys: such as ``"12-36"``.
        make: gives a new field.
    """
    return KeyedSchema.from_dict({key: make() for key in keys}, name=name)
