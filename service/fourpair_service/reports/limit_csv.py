"""A limit as comma-separated values (RFC 4180), one row for each frequency."""

from __future__ import annotations

import csv
import io
from typing import Final

from fourpair_service.domain.parameters import TRAITS
from fourpair_service.rulesets.limit_table import LimitRow, LimitTable

# A spreadsheet would run a cell that begins so; own files hold free text.
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def limit_csv(table: LimitTable) -> str:
    """Return a limit as CSV text; the unit stands in the heading of its column."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    unit = TRAITS[table.parameter].unit
    writer.writerow(
        (
            "rule_set", "category", "configuration", "parameter", "status", "frequency_mhz", f"limit_{unit}",
            "form", "basis", "clause", "source", "note", "confirmed_by", "confirmed_on",
        )
    )  # fmt: skip
    writer.writerows(_cells(table, row) for row in table.rows)
    return text.getvalue()


def _cells(table: LimitTable, row: LimitRow) -> tuple[object, ...]:
    head = (table.rule_set.id, table.category.name, table.configuration.value, table.parameter.value)
    words = (row.clause, row.source, row.note, row.confirmed_by, row.confirmed_on)
    return (
        *head,
        table.status,
        row.frequency_mhz,
        row.value,
        row.form,
        row.basis.value,
        *(_harmless(word) for word in words),
    )


def _harmless(word: str | None) -> str | None:
    return f"'{word}" if word is not None and word.startswith(FORMULA_STARTS) else word
