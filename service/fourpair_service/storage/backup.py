"""Backups of the SQLite store: whole under writers, and proven by restoring them."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

from fourpair_service.records.errors import StoreCorruptError, StoreError
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.sqlite import SqliteStore
from fourpair_service.storage.told_errors import plain_errors

# All pages in one step: in smaller ones every commit of a writer starts the copy
# anew, so that it may never end.
ALL_PAGES: Final = -1
BESIDE: Final = ("-wal", "-shm")


class Proof(NamedTuple):
    """What a store was found to hold."""

    seq: int
    records: int


def prove(path: Path, *, named: str | None = None) -> Proof:
    """Open a copy of a store and walk all of it.

    Args:
        path: of what is to be proven.
        named: what to call it where it is not sound.

    Raises:
        StoreCorruptError: it is damaged, or its chain is broken.
    """
    name = named or str(path)
    with TemporaryDirectory(dir=path.parent, prefix=".proof-") as directory:
        copy = Path(directory) / "records.db"
        shutil.copyfile(path, copy)
        with _named(copy, name):
            return _proven(copy, name)


@contextmanager
def _named(copy: Path, name: str) -> Iterator[None]:
    """Let an error speak of what was copied, not of the copy."""
    try:
        yield
    except StoreError as error:
        raise type(error)(str(error).replace(str(copy), name)) from error


def _proven(copy: Path, name: str) -> Proof:
    store = SqliteStore(copy)
    try:
        with plain_errors(name):
            told = store.connection.execute("PRAGMA integrity_check").fetchone()[0]
        if told != "ok":
            raise StoreCorruptError(f"{name} is damaged: {told.splitlines()[0]}.")
        found = first_break(store)
        if found is not None:
            raise StoreCorruptError(f"{name} has a broken chain: {found.told()}.")
        last = store.last_change()
        with plain_errors(name):
            count = store.connection.execute("SELECT count(*) FROM record").fetchone()[0]
        return Proof(last.seq if last else 0, count)
    finally:
        store.close()


@contextmanager
def whole_file(target: Path) -> Iterator[Path]:
    """Give a path beside the target that takes its place once the block has ended well."""
    part = target.with_name(f".{target.name}.part")
    part.unlink(missing_ok=True)
    try:
        yield part
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def backup(store: SqliteStore, target: Path) -> Proof:
    """Write a copy of a store in use, and prove it before it gets its name.

    Raises:
        StoreError: the target exists or cannot be written, or the copy is not sound.
    """
    if target.exists():
        raise StoreError(f"{target} exists; a backup never replaces another one. Give a new name.")
    try:
        with whole_file(target) as part, plain_errors(str(target)):
            copy = sqlite3.connect(part)
            try:
                store.connection.backup(copy, pages=ALL_PAGES)
                # One file without a log beside it: what is moved about is complete.
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()
            return prove(part, named=store.path)
    except OSError as error:
        raise StoreError(f"The backup {target} cannot be written: {error.strerror}.") from error


def restore(source: Path, target: Path) -> Proof:
    """Put a proven backup where a store shall be; nothing is replaced.

    Raises:
        StoreError: the target exists, or the backup is not sound.
    """
    for path in (target, *(target.with_name(target.name + end) for end in BESIDE)):
        if path.exists():
            raise StoreError(f"{path} exists; move it aside first, so that nothing is lost.")
    if not source.is_file():
        raise StoreError(f"There is no backup {source}.")
    try:
        with whole_file(target) as part:
            shutil.copyfile(source, part)
            return prove(part, named=str(source))
    except OSError as error:
        raise StoreError(f"{target} cannot be written: {error.strerror}.") from error
