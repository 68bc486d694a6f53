"""What all values that the service told have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

import requests

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A value that the service told; fields that this version does not know are in ``raw``.

    Attributes:
        raw: the document as it arrived.
        response: the answer it came in (status, headers); ``None`` for an entry of a list.
    """

    raw: Mapping[str, Any] = field(default_factory=dict, repr=False)
    response: requests.Response | None = field(default=None, repr=False, compare=False)

    @property
    def request_id(self) -> str | None:
        """The name of the request in the service's log."""
        return None if self.response is None else self.response.headers.get("X-Request-Id")

    def to_dict(self) -> dict[str, Any]:
        """Return the document as it arrived."""
        return dict(self.raw)


def told(kind: type[T], document: Mapping[str, Any], **own: Any) -> T:
    """Return a value whose fields are those of a document; lists become tuples.

    >>> from fourpair import Quantity
    >>> quantity = told(Quantity, {"item_code": "outlet", "quantity": 2, "new_field": 1})
    >>> quantity.quantity, quantity.raw["new_field"]
    (2, 1)
    """
    values = {
        each.name: document[each.name]
        for each in fields(kind)  # type: ignore[arg-type]
        if each.name in document
    }
    values = {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}
    return kind(**{**values, "raw": document, **own})


def unit_in(document: Mapping[str, Any], name: str) -> str:
    """Return the unit that the key of a value ends with; also one that this version does not know.

    >>> unit_in({"margin_as_measured_db": 1.0, "margin_db": 2.0}, "margin")
    'db'
    >>> unit_in({"margin_percent": 2.0}, "margin"), unit_in({}, "margin")
    ('percent', '')
    """
    found = (key.removeprefix(f"{name}_") for key in document if key.startswith(f"{name}_"))
    return next((unit for unit in found if "_" not in unit), "")
