"""Filters, orders and groups as SQL; every value is a parameter."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from fourpair_service.records.search import NO_HEADROOM_DB, Field, Filter, GroupBy, Position, Sort
from fourpair_service.storage.rows import RECORDS

Condition = tuple[str, list[Any]]
LAST_CHARACTER: Final = "\U0010ffff"


def _among(column: str) -> Callable[[Any], Condition]:
    def condition(values: Any) -> Condition:
        ordered = sorted(values)
        return f"{column} IN ({', '.join('?' * len(ordered))})", ordered

    return condition


def _compared(expression: str) -> Callable[[Any], Condition]:
    return lambda value: (f"{expression} ?", [value])


def _trait(kind: str) -> Callable[[Any], Condition]:
    sql = "row IN (SELECT record_row FROM record_trait WHERE kind = ? AND value = ?)"
    return lambda value: (sql, [kind, value])


def _fault(value: Any) -> Condition:
    # ';' follows ':' in ASCII: the range holds whatever begins with "value:".
    return (
        "row IN (SELECT record_row FROM record_trait WHERE kind = 'failing'"
        " AND (value = ? OR (value >= ? AND value < ?)))",
        [value, f"{value}:", f"{value};"],
    )


def _withdrawn(value: Any) -> Condition:
    return f"kind {'=' if value else '<>'} 'withdrawn'", []


CONDITIONS: Final[Mapping[str, Callable[[Any], Condition]]] = {
    "visible_jobs": _among("job_id"),
    "job_id": _compared("job_id ="),
    "label_prefix": lambda v: ("label >= ? AND label < ?", [v, f"{v}{LAST_CHARACTER}"]),
    "outcomes": _among("outcome"),
    "category": _compared("category ="),
    "category_met": _trait("categories_met"),
    "margin_min_db": _compared("headroom_db >="),
    "margin_max_db": _compared("headroom_db <="),
    "tester_id": _compared("tester_id ="),
    "tested_from": _compared("tested_at >="),
    "tested_to": _compared("tested_at <"),
    "changed_from": _compared("changed_at >="),
    "changed_to": _compared("changed_at <"),
    "application": _trait("applications"),
    "power_type": _trait("power_types"),
    "fault": _fault,
    "rule_set_id": _compared("rule_set_id ="),
    "provisional": lambda v: ("provisional = ?", [int(v)]),
    "withdrawn": _withdrawn,
}

SORTED_BY: Final[Mapping[Field, str]] = {
    Field.CREATED: "row",
    Field.CHANGED: "seq",
    Field.LABEL: "label_order",
    Field.TESTED: "ifnull(tested_at, '')",
    Field.HEADROOM: f"ifnull(headroom_db, {NO_HEADROOM_DB:g})",
}

GROUPED_BY: Final[Mapping[GroupBy, str]] = {
    GroupBy.JOB: "job_id",
    GroupBy.OUTCOME: "outcome",
    GroupBy.CATEGORY: "category",
    GroupBy.TESTER: "tester_id",
    GroupBy.MONTH: "substr(tested_at, 1, 7)",
}


def _external_id(wanted: Filter) -> list[Condition]:
    parts, values = [], []
    for column, value in (("system", wanted.external_system), ("value", wanted.external_value)):
        if value is not None:
            parts.append(f"{column} = ?")
            values.append(value)
    if not parts:
        return []
    found = f"SELECT record_id FROM record_external_id WHERE {' AND '.join(parts)}"
    return [(f"id IN ({found})", values)]


def where(wanted: Filter) -> Condition:
    """Return the condition of a filter and its values."""
    conditions = [
        make(value) for name, make in CONDITIONS.items() if (value := getattr(wanted, name)) is not None
    ]
    conditions += _external_id(wanted)
    return " AND ".join(sql for sql, _ in conditions) or "1 = 1", [
        v for _, values in conditions for v in values
    ]


def page(wanted: Filter, sort: Sort, *, after: Position | None, limit: int) -> Condition:
    """Return the query of one page; it begins where the last one ended, without counting up to it."""
    condition, values = where(wanted)
    key, way = SORTED_BY[sort.field], "DESC" if sort.descending else "ASC"
    comparison = "<" if sort.descending else ">"
    if after is not None and sort.field is Field.CREATED:
        condition, values = f"{condition} AND row {comparison} ?", [*values, after.row]
    elif after is not None:
        condition = f"{condition} AND ({key}, row) {comparison} (?, ?)"
        values = [*values, after.value, after.row]
    order = f"row {way}" if sort.field is Field.CREATED else f"{key} {way}, row {way}"
    return f"{RECORDS} WHERE {condition} ORDER BY {order} LIMIT ?", [*values, limit]


# What a tally is kept by, and the filters that choose among its rows.
TALLIED: Final = frozenset({GroupBy.JOB, GroupBy.OUTCOME})
OF_TALLIES: Final = ("visible_jobs", "job_id", "outcomes")
WORST: Final = (
    "SELECT min(headroom_db) FROM record WHERE record.job_id = tally.job_id "
    "AND record.outcome = tally.outcome AND kind <> 'withdrawn'"
)


def _is_tallied(wanted: Filter, by: Sequence[GroupBy]) -> bool:
    others = {name: None for name in OF_TALLIES}
    return TALLIED.issuperset(by) and replace(wanted, **others) == Filter()


def _tallied(wanted: Filter, by: Sequence[GroupBy]) -> Condition:
    condition, values = where(replace(wanted, withdrawn=None))
    keys = ", ".join(GROUPED_BY[each] for each in by)
    chosen, grouping = (f"{keys}, ", f" GROUP BY {keys} ORDER BY {keys}") if by else ("", "")
    return (
        f"SELECT {chosen}CAST(ifnull(sum(links), 0) AS INTEGER), min(({WORST})) FROM tally "
        f"WHERE links > 0 AND {condition}{grouping}"
    ), values


def groups(wanted: Filter, by: Sequence[GroupBy]) -> Condition:
    """Return the query of counts and worst headroom by group; from the tally where that knows them."""
    if _is_tallied(wanted, by):
        return _tallied(wanted, by)
    condition, values = where(wanted)
    keys = [GROUPED_BY[each] for each in by]
    order = ", ".join(f"{key} NULLS FIRST" for key in keys)
    grouping = f" GROUP BY {', '.join(keys)} ORDER BY {order}" if keys else ""
    chosen = "".join(f"{key}, " for key in keys)
    return f"SELECT {chosen}count(*), min(headroom_db) FROM record WHERE {condition}{grouping}", values
