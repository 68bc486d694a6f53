"""Things that are kept, as rows of tables, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from functools import lru_cache
from typing import Any, Final

import orjson

from fourpair_service.records.curves import Document, Parted
from fourpair_service.records.keys import ApiKey, Scope
from fourpair_service.records.model import (
    Change,
    ChangeKind,
    Job,
    Kind,
    Record,
    Revision,
)
from fourpair_service.storage.codec import decode, encode
from fourpair_service.storage.packing import packed, unpacked

TRAITS: Final = ("categories_met", "applications", "power_types", "failing")

_columns: dict[type, tuple[str, ...]] = {}


def columns(kind: type) -> tuple[str, ...]:
    """Return the columns of a thing: the names of its fields."""
    if kind not in _columns:
        _columns[kind] = tuple(field.name for field in fields(kind))
    return _columns[kind]


def insertion(table: str, names: tuple[str, ...], *, replacing: tuple[str, ...] = ()) -> str:
    """Return the statement that inserts a row, or replaces the one with the same values of ``replacing``."""
    told = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join(f':{n}' for n in names)})"
    if not replacing:
        return told
    others = ", ".join(f"{n} = excluded.{n}" for n in names if n not in replacing)
    return f"{told} ON CONFLICT ({', '.join(replacing)}) DO UPDATE SET {others}"


def content_row(seq: int, measurement: Parted, verdict: Document) -> dict[str, Any]:
    """Return the documents of a revision as a row."""
    return {
        "seq": seq,
        "verdict": packed(verdict),
        "rest": packed(measurement.rest),
        "curves": encode(measurement.curves) if measurement.packed is None else measurement.packed,
        "curves_seq": seq,
    }


def packed_measurement(measurement: Parted) -> Parted:
    """Return a measurement with its curves as bytes beside them."""
    return replace(measurement, packed=encode(measurement.curves))


def measurement_of(row: Any) -> Parted:
    """Return the measurement of a row of contents."""
    return Parted(unpacked(row["rest"]), decode(row["curves"]))


def _text(value: Any) -> Any:
    if isinstance(value, Mapping | list | tuple):
        return json.dumps(dict(value) if isinstance(value, Mapping) else list(value), ensure_ascii=False)
    return str(value) if isinstance(value, str) else value


def row_of(thing: Any) -> dict[str, Any]:
    """Return a thing as a row: lists and maps as JSON text."""
    return {name: _text(getattr(thing, name)) for name in columns(type(thing))}


RECORD_COLUMNS: Final = columns(Record)
RECORDS: Final = f"SELECT {', '.join(RECORD_COLUMNS)} FROM record"
TRAIT_PLACES: Final = tuple(RECORD_COLUMNS.index(name) for name in TRAITS)
KIND_PLACE, PROVISIONAL_PLACE, IDS_PLACE = map(RECORD_COLUMNS.index, ("kind", "provisional", "external_ids"))
KINDS: Final = {kind.value: kind for kind in Kind}


# The links of a job say the same few things of themselves.
@lru_cache(maxsize=1024)
def _words(text: str) -> tuple[str, ...]:
    return tuple(orjson.loads(text))


def record_of(row: Any) -> Record:
    """Return a record from a row of ``RECORDS``."""
    # By place, not by name, and past the initialiser, which sets each field through a call: lists of fifty
    # are made of these.
    values = [*row]
    for place in TRAIT_PLACES:
        values[place] = _words(values[place])
    ids = values[IDS_PLACE]
    values[IDS_PLACE] = {} if ids == "{}" else orjson.loads(ids)
    values[KIND_PLACE] = KINDS[values[KIND_PLACE]]
    values[PROVISIONAL_PLACE] = bool(values[PROVISIONAL_PLACE])
    record = Record.__new__(Record)
    record.__dict__.update(zip(RECORD_COLUMNS, values, strict=True))
    return record


def revision_of(row: Any) -> Revision:
    """Return a revision from its row."""
    values = {name: row[name] for name in columns(Revision)}
    return Revision(
        **{**values, "kind": Kind(values["kind"]), "external_ids": json.loads(values["external_ids"])}
    )


def change_of(row: Any) -> Change:
    """Return a change from its row."""
    values = {name: row[name] for name in columns(Change)}
    return Change(**{**values, "kind": ChangeKind(values["kind"])})


def job_document(job: Job) -> Document:
    """Return a job as a document of plain values."""
    return asdict(job)


def key_row(key: ApiKey) -> dict[str, Any]:
    """Return an API key as a row."""
    own = {name: getattr(key, name) for name in columns(ApiKey)}
    jobs = None if key.jobs is None else json.dumps(sorted(key.jobs))
    return {**own, "scopes": json.dumps(sorted(key.scopes)), "jobs": jobs}


def key_of(row: Any) -> ApiKey:
    """Return an API key from its row."""
    values = {name: row[name] for name in columns(ApiKey)}
    values["scopes"] = frozenset(Scope(scope) for scope in json.loads(values["scopes"]))
    values["jobs"] = None if values["jobs"] is None else frozenset(json.loads(values["jobs"]))
    return ApiKey(**values)
