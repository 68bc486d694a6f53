"""The measurement document of a request that is to be kept: JSON, numbers as bytes, or a form with files.

A record keeps what was measured as a document. Sweeps that come otherwise are read
once, as ``/grade`` reads them, and written into it: those of Touchstone files as complex
sweeps, those of CSV and of the binary body as they are. So the measurement of a record
can be given back, corrected and graded anew without the files.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Any

import numpy as np
from flask import request

from fourpair_service.config import Settings
from fourpair_service.domain.measurement import CurveGroup, FloatArray, SweepKey
from fourpair_service.http.binary_body import MEDIA_TYPE as BINARY
from fourpair_service.http.binary_body import read_binary
from fourpair_service.http.body_errors import InvalidBodyError
from fourpair_service.http.grading import with_files
from fourpair_service.http.operation import JSON, measurement_object, raw_body
from fourpair_service.http.resources.grade import MULTIPART, sent_form
from fourpair_service.http.schemas.document_errors import FieldError
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.http.services import services
from fourpair_service.http.touchstone import TouchstoneFile
from fourpair_service.records.curves import SHORTEST_CURVE, Document
from fourpair_service.records.integrity import canonical_json


def sent_measurement() -> tuple[bytes, Document]:
    """Return what tells this request from another, and the document to keep.

    Raises:
        ServiceError: the body cannot be read, or is no measurement.
    """
    settings = services().settings
    if request.mimetype == MULTIPART:
        return _of_a_form(settings)
    raw = raw_body((JSON, MULTIPART, BINARY))
    if request.mimetype == BINARY:
        document = read_binary(raw, curves=settings.max_curves, points=settings.max_points)
        sweeps = _as_json_has_them(document.pop("sweeps"))
        return raw, {**document, "sweeps": sweeps} if sweeps else document
    return raw, measurement_object(raw)


def _of_a_form(settings: Settings) -> tuple[bytes, Document]:
    form = sent_form(settings)
    document = form.document
    if not isinstance(document, dict):
        raise InvalidBodyError([FieldError("", "Expected an object: one measurement document.")])
    limits = DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)
    written = written_out(document, form.touchstone, limits) if form.touchstone else on_one_axis(document)
    # The boundary of a form is another each time; what stands in it is not.
    told = [canonical_json(form.sent), *(_line(file) for file in form.files)]
    return b"\n".join(told), written


def _as_json_has_them(value: Any) -> Any:
    """Return sweeps with short lists as lists, so that a record is the same however its measurement came."""
    if isinstance(value, dict):
        return {name: _as_json_has_them(inner) for name, inner in value.items()}
    is_short = isinstance(value, np.ndarray) and len(value) < SHORTEST_CURVE
    return value.tolist() if is_short else value


def on_one_axis(document: Document) -> Document:
    """Return a document with the sweeps of a CSV file: where all have the same axis, with that axis once."""
    forms = list(_forms_of(document["sweeps"]))
    axis = forms[0]["frequency_mhz"]
    if any(form["frequency_mhz"] != axis for form in forms):
        return document
    return {**document, "frequency_mhz": axis, "sweeps": _without_axis(document["sweeps"])}


def _forms_of(sweeps: Document) -> Iterator[Document]:
    for inner in sweeps.values():
        if "frequency_mhz" in inner:
            yield inner
        else:
            yield from _forms_of(inner)


def _without_axis(value: Document) -> Any:
    if "frequency_mhz" not in value:
        return {name: _without_axis(inner) for name, inner in value.items()}
    form = {name: numbers for name, numbers in value.items() if name != "frequency_mhz"}
    return form.get("db", form)


def _line(file: TouchstoneFile) -> bytes:
    return f"{sha256(file.content).hexdigest()} {file.name}".encode()


def written_out(document: Document, files: Sequence[TouchstoneFile], limits: DocumentLimits) -> Document:
    """Return a document with the sweeps and delays of its files written into it.

    Raises:
        ServiceError: document or files cannot be read, or do not fit each other.
    """
    read = read_measurement(document, limits)
    measurement = with_files(read.measurement, files, read.touchstone)
    written = {name: value for name, value in document.items() if name != "touchstone"}
    axes = [group.frequency_mhz for groups in measurement.curves.values() for group in groups]
    common = next(iter(axes), None)
    if common is None or not all(np.array_equal(axis, common) for axis in axes):
        common = None
        written.pop("frequency_mhz", None)
    else:
        written["frequency_mhz"] = common.tolist()
    written["sweeps"] = _sweeps(measurement.curves, common)
    pairs = {pair: dict(values) for pair, values in document.get("pairs", {}).items()}
    for pair, reading in measurement.readings.items():
        if reading.delay_ns is not None and "delay_ns" not in pairs.get(pair, {}):
            found = {"delay_ns": reading.delay_ns, "delay_frequency_mhz": reading.delay_frequency_mhz}
            pairs.setdefault(pair, {}).update(found)
    return {**written, "pairs": pairs} if pairs else written


def _sweeps(
    curves: Mapping[SweepKey, Sequence[CurveGroup]], common: FloatArray | None
) -> dict[str, dict[str, Any]]:
    sweeps: dict[str, dict[str, Any]] = {}
    for (parameter, end), groups in curves.items():
        place = sweeps.setdefault(str(parameter), {})
        for group in groups:
            own = place if end is None else place.setdefault(str(end), {})
            own.update(_forms(group, None if common is not None else group.frequency_mhz))
    return sweeps


def _forms(group: CurveGroup, axis: FloatArray | None) -> dict[str, dict[str, Any]]:
    """Return the curves of a group as a document has them; balance is given as losses alone."""
    beside = {} if axis is None else {"frequency_mhz": axis.tolist()}
    if group.value_complex is None:
        return {
            key: {"db": row.copy(), **beside} for key, row in zip(group.keys, group.value_db, strict=True)
        }
    return {
        key: {"re": row.real.copy(), "im": row.imag.copy(), **beside}
        for key, row in zip(group.keys, group.value_complex, strict=True)
    }
