"""What is written for SQLite, in the words of PostgreSQL.

Queries and tables are told once, in a part of SQL that both know; what differs is
the mark of a parameter and the names of types. Text is compared by code points in
both, so that lists, pages and label prefixes are the same.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, Final

NAMED: Final = re.compile(r"(?<![:\w]):([a-z_]+)")
TEXT: Final = 'TEXT COLLATE "C"'
TABLE_WORDS: Final = (
    (re.compile(r"\bSTRICT\b|,?\s*\bWITHOUT ROWID\b"), ""),
    (re.compile(r"\s*CHECK \((?:\w+ IS NULL OR )?json_valid\(\w+\)\)"), ""),
    (re.compile(r"\bTEXT\b"), TEXT),
    (re.compile(r"\bINTEGER\b"), "BIGINT"),
    (re.compile(r"\bREAL\b"), "DOUBLE PRECISION"),
    (re.compile(r"\bBLOB\b"), "BYTEA"),
    (re.compile(r"GLOB 'sha256:\*'"), "LIKE 'sha256:%'"),
    # A foreign key locks the row it points at, which needs the right to change it.
    (re.compile(r"\s*REFERENCES \w+ \(\w+\)"), ""),
    (re.compile(r"\bifnull\("), "coalesce("),
)
# The order of insertion, which SQLite counts by itself.
COUNTED: Final = "CREATE TABLE attachment ("


@lru_cache(maxsize=512)
def query(sql: str) -> str:
    """Return a query or a change of rows in the words of psycopg.

    >>> query("SELECT ifnull(a, ?) FROM b WHERE c = :c")
    'SELECT coalesce(a, %s) FROM b WHERE c = %(c)s'
    """
    told = (
        sql.replace("%", "%%")
        .replace("ifnull(", "coalesce(")
        .replace("?", "%s")
        .replace("IN ()", "IN (NULL)")
    )
    return NAMED.sub(r"%(\1)s", told)


def definition(sql: str) -> str | None:
    """Return the statement that makes a table or an index; ``None`` for a trigger, which is made otherwise."""
    if sql.lstrip().startswith("CREATE TRIGGER"):
        return None
    told = sql
    if COUNTED in told:
        told = told.replace(COUNTED, f"{COUNTED} rowid BIGINT GENERATED ALWAYS AS IDENTITY,")
    for pattern, words in TABLE_WORDS:
        told = pattern.sub(words, told)
    return told


def values(given: Mapping[str, Any] | Sequence[Any]) -> dict[str, Any] | list[Any]:
    """Return values as the columns take them: truth is kept as 0 and 1."""

    def plain(value: Any) -> Any:
        return int(value) if isinstance(value, bool) else value

    if isinstance(given, Mapping):
        return {name: plain(value) for name, value in given.items()}
    return [plain(value) for value in given]
