"""A store altered behind the service's back."""

from __future__ import annotations

import sqlite3


def tampered(path, statement):
    """Alter a store as someone would who has its file and knows how to drop a trigger."""
    with sqlite3.connect(path) as raw:
        for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            raw.execute(f"DROP TRIGGER {name}")
        raw.executescript(statement)
    raw.close()
