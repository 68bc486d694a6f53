"""What can be asked of many records: filters, orders, pages, groups."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from fourpair_service.records.errors import InvalidQueryError
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import Record

# Records without a headroom sort behind every real one. [dB]
NO_HEADROOM_DB: Final = 1e9


@dataclass(frozen=True, slots=True)
class Filter:
    """Which records; what is ``None`` does not matter.

    Attributes:
        visible_jobs: the jobs that the caller may see.
        outcomes: any of these.
        category: the one that was asked.
        category_met: one whose limits are met.
        margin_min_db: headroom at least this; a record without headroom has none. [dB]
        tested_from: earliest time of test, an instant; likewise the other times.
        tested_to: first instant that no longer counts.
        external_system: has an external id of this system.
        external_value: with this value.
        fault: what fails, whole (``next:near``) or the first part (``next``).
        withdrawn: ``False`` leaves them out, ``True`` wants only them, ``None`` both.
    """

    visible_jobs: frozenset[str] | None = None
    job_id: str | None = None
    label_prefix: str | None = None
    outcomes: frozenset[str] | None = None
    category: str | None = None
    category_met: str | None = None
    margin_min_db: float | None = None
    margin_max_db: float | None = None
    tester_id: str | None = None
    tested_from: str | None = None
    tested_to: str | None = None
    changed_from: str | None = None
    changed_to: str | None = None
    external_system: str | None = None
    external_value: str | None = None
    application: str | None = None
    power_type: str | None = None
    fault: str | None = None
    rule_set_id: str | None = None
    provisional: bool | None = None
    withdrawn: bool | None = False

    def matches(self, record: Record) -> bool:
        """Return whether a record is one of these."""
        return all(
            test(record, getattr(self, name))
            for name, test in TESTS.items()
            if getattr(self, name) is not None
        ) and self._external_id_matches(record)

    def _external_id_matches(self, record: Record) -> bool:
        if self.external_system is None:
            return self.external_value is None or self.external_value in record.external_ids.values()
        value = record.external_ids.get(self.external_system)
        return value is not None and self.external_value in {None, value}


def fault_matches(what: str, asked: str) -> bool:
    """Return whether a thing that fails is what was asked for.

    >>> fault_matches("next:near", "next"), fault_matches("next:near", "nex")
    (True, False)
    """
    return what == asked or what.startswith(f"{asked}:")


# One row per filter field; the stores that speak SQL have a table of the same keys.
TESTS: Final[Mapping[str, Callable[[Record, object], bool]]] = {
    "visible_jobs": lambda r, v: isinstance(v, frozenset) and r.job_id in v,
    "job_id": lambda r, v: r.job_id == v,
    "label_prefix": lambda r, v: r.label.startswith(str(v)),
    "outcomes": lambda r, v: isinstance(v, frozenset) and r.outcome in v,
    "category": lambda r, v: r.category == v,
    "category_met": lambda r, v: v in r.categories_met,
    "margin_min_db": lambda r, v: r.headroom_db is not None and r.headroom_db >= _number(v),
    "margin_max_db": lambda r, v: r.headroom_db is not None and r.headroom_db <= _number(v),
    "tester_id": lambda r, v: r.tester_id == v,
    "tested_from": lambda r, v: r.tested_at is not None and r.tested_at >= str(v),
    "tested_to": lambda r, v: r.tested_at is not None and r.tested_at < str(v),
    "changed_from": lambda r, v: r.changed_at >= str(v),
    "changed_to": lambda r, v: r.changed_at < str(v),
    "application": lambda r, v: v in r.applications,
    "power_type": lambda r, v: v in r.power_types,
    "fault": lambda r, v: any(fault_matches(what, str(v)) for what in r.failing),
    "rule_set_id": lambda r, v: r.rule_set_id == v,
    "provisional": lambda r, v: r.provisional == v,
    "withdrawn": lambda r, v: r.withdrawn == v,
}


def _number(value: object) -> float:
    return float(str(value))


class Field(StrEnum):
    """By what records can be sorted; labels as people expect, A2 before A10."""

    CREATED = "created"
    CHANGED = "changed"
    LABEL = "label"
    TESTED = "tested_at"
    HEADROOM = "headroom_db"


class Sort(NamedTuple):
    """An order of records; ties fall in the order of creation, the same way round."""

    field: Field = Field.CREATED
    descending: bool = False

    def __str__(self) -> str:
        return f"{'-' if self.descending else ''}{self.field.value}"


SortValue = str | int | float

SORT_VALUES: Final[Mapping[Field, Callable[[Record], SortValue]]] = {
    Field.CREATED: lambda r: r.row,
    Field.CHANGED: lambda r: r.seq,
    Field.LABEL: lambda r: label_key(r.label),
    Field.TESTED: lambda r: r.tested_at or "",
    Field.HEADROOM: lambda r: NO_HEADROOM_DB if r.headroom_db is None else r.headroom_db,
}


class Position(NamedTuple):
    """The last record of a page, as the next one needs it."""

    value: SortValue
    row: int


def position(record: Record, sort: Sort) -> Position:
    """Return where a record stands in an order."""
    return Position(SORT_VALUES[sort.field](record), record.row)


def sort_of(text: str) -> Sort:
    """Return the order that a text names, as ``label`` or ``-headroom_db``.

    Raises:
        InvalidQueryError: no such order.
    """
    try:
        return Sort(Field(text.removeprefix("-")), descending=text.startswith("-"))
    except ValueError:
        known = ", ".join(field.value for field in Field)
        raise InvalidQueryError(
            "sort", f"{text!r} is none of {known}, or one with a minus before it."
        ) from None


def cursor(record: Record, sort: Sort) -> str:
    """Return an opaque text that continues after ``record``."""
    content = json.dumps([str(sort), *position(record, sort)], separators=(",", ":"))
    return base64.urlsafe_b64encode(content.encode()).decode().rstrip("=")


def position_of(text: str, sort: Sort) -> Position:
    """Return what :func:`cursor` put into a text.

    Raises:
        InvalidQueryError: no cursor of ours, or of a list in another order.
    """
    try:
        content = base64.urlsafe_b64decode(text.encode() + b"=" * (-len(text) % 4))
        order, value, row = json.loads(content)
        kind = type(SORT_VALUES_EXAMPLES[sort.field])
        if order == str(sort) and type(row) is int and type(value) in {kind, int if kind is float else kind}:
            return Position(value, row)
    except (binascii.Error, ValueError, TypeError):
        pass
    raise InvalidQueryError(
        "cursor", f"This is no cursor of a list sorted by {sort}; start from the first page."
    )


SORT_VALUES_EXAMPLES: Final[Mapping[Field, SortValue]] = {
    Field.CREATED: 0,
    Field.CHANGED: 0,
    Field.LABEL: "",
    Field.TESTED: "",
    Field.HEADROOM: 0.0,
}


class GroupBy(StrEnum):
    """By what records can be counted."""

    JOB = "job"
    OUTCOME = "outcome"
    CATEGORY = "category"
    TESTER = "tester"
    MONTH = "month"


GROUP_VALUES: Final[Mapping[GroupBy, Callable[[Record], str | None]]] = {
    GroupBy.JOB: lambda r: r.job_id,
    GroupBy.OUTCOME: lambda r: r.outcome,
    GroupBy.CATEGORY: lambda r: r.category,
    GroupBy.TESTER: lambda r: r.tester_id,
    GroupBy.MONTH: lambda r: r.tested_at[:7] if r.tested_at else None,
}


class Group(NamedTuple):
    """How many records share the values, and the smallest headroom among them. [dB]."""

    values: tuple[str | None, ...]
    links: int
    worst_headroom_db: float | None


def group_order(group: Group) -> tuple[tuple[bool, str], ...]:
    """Return what groups are sorted by: their values, the unknown ones first."""
    return tuple((value is not None, value or "") for value in group.values)
