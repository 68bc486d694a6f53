"""What is wrong with a document: where, which value, and what to do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

import numpy as np

from fourpair_service.errors import ServiceError

# Long enough to recognise a value, short enough for a line of a log.
SHOWN_CHARACTERS: Final = 80
# In one sentence; a problem document lists them all.
SHOWN_ERRORS: Final = 2


@dataclass(frozen=True, slots=True)
class FieldError:
    """One error of a document.

    Attributes:
        pointer: JSON pointer (RFC 6901) of the offending value.
        detail: what is wrong with it and what to do.
        value: the offending value; ``None`` where it is absent, a list or an object.
    """

    pointer: str
    detail: str
    value: object = None

    def as_dict(self) -> dict[str, object]:
        """Return it as a member of ``errors`` in a problem document."""
        return {"pointer": self.pointer, "detail": self.detail, "value": self.value}


class InvalidDocumentError(ServiceError):
    """A document that cannot be read as a measurement.

    Attributes:
        errors: at least one, in the order of the document's fields.
    """

    code = "invalid-measurement"

    def __init__(self, errors: Sequence[FieldError]) -> None:
        # What is wrong higher up is often why something below is wrong too.
        shown = sorted(errors, key=lambda error: error.pointer.count("/"))[:SHOWN_ERRORS]
        more = f" (and {len(errors) - len(shown)} more)" if len(errors) > len(shown) else ""
        told = " ".join(f"{error.pointer or 'the document'}: {error.detail}" for error in shown)
        super().__init__(f"{told}{more}")
        self.errors = tuple(errors)


def pointer_of(path: Sequence[object]) -> str:
    """Return the JSON pointer of a path.

    >>> pointer_of(["sweeps", "a/b", 17])
    '/sweeps/a~1b/17'
    """
    return "".join(f"/{_shortened(str(part)).replace('~', '~0').replace('/', '~1')}" for part in path)


def _shortened(text: str) -> str:
    """Return text that fits a line: a key may be as long as a body."""
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}…"


def put(messages: dict[object, object], path: Sequence[object], message: str) -> None:
    """Add a message to nested messages, as a schema would have nested it.

    >>> messages = {}
    >>> put(messages, ("near", "12", 3), "too large")
    >>> messages
    {'near': {'12': {3: ['too large']}}}
    """
    *parents, last = path
    for part in parents:
        inner = messages.setdefault(part, {})
        if not isinstance(inner, dict):  # the parent is refused as a whole already
            return
        messages = inner
    messages[last] = [message]


def field_errors(messages: object, document: object, *, limit: int) -> list[FieldError]:
    """Return nested messages of a schema as a flat list with pointers and values.

    Args:
        messages: what ``ValidationError.messages`` holds.
        document: the document that was read.
        limit: the most errors to return.
    """
    return [
        FieldError(pointer_of(path), detail, _shown(_value_at(document, path)))
        for path, detail in islice(_flat(messages, ()), limit)
    ]


def _flat(messages: object, path: tuple[object, ...]) -> Iterator[tuple[tuple[object, ...], str]]:
    if isinstance(messages, Mapping):
        for key, inner in messages.items():
            # Messages about an object as a whole stand under "_schema".
            yield from _flat(inner, path if key == "_schema" else (*path, key))
    elif isinstance(messages, (list, tuple)):
        for inner in messages:
            yield from _flat(inner, path)
    else:
        yield path, str(messages)


def _value_at(document: object, path: Sequence[object]) -> object:
    value = document
    for part in path:
        if isinstance(value, Mapping):
            value = value.get(part)
        elif isinstance(value, (list, np.ndarray)) and isinstance(part, int) and part < len(value):
            value = value[part] if isinstance(value, list) else value[part].item()
        else:
            return None
    return value


def _shown(value: object) -> object:
    if isinstance(value, str):
        printable = value.encode("utf-8", "replace").decode("utf-8")
        return _shortened(printable)
    if isinstance(value, int) and abs(value) >= 2**63:
        return float(value) if abs(value) < 10**300 else None
    return None if isinstance(value, (Mapping, list, tuple, np.ndarray)) else value
