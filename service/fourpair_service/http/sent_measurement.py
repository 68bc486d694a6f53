"""The measurement document of a request that is to be kept: JSON alone, or a form with Touchstone files.

A record keeps what was measured as a document. Sweeps that come in files are read
once, as ``/grade`` reads them, and written into it as complex sweeps, so that the
measurement of a record can be given back, corrected and graded anew without the files.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

import numpy as np
from flask import request

from fourpair_service.domain.measurement import CurveGroup, FloatArray, SweepKey
from fourpair_service.http.body_errors import InvalidBodyError
from fourpair_service.http.grading import with_files
from fourpair_service.http.operation import JSON, measurement_object, raw_body
from fourpair_service.http.resources.grade import MULTIPART, sent
from fourpair_service.http.schemas.document_errors import FieldError
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.http.services import services
from fourpair_service.http.touchstone import TouchstoneFile
from fourpair_service.records.curves import Document
from fourpair_service.records.integrity import canonical_json


def sent_measurement() -> tuple[bytes, Document]:
    """Return what tells this request from another, and the document to keep.

    Raises:
        ServiceError: the body cannot be read, or is no measurement.
    """
    if request.mimetype != MULTIPART:
        raw = raw_body((JSON, MULTIPART))
        return raw, measurement_object(raw)
    settings = services().settings
    document, files = sent(settings)
    if not isinstance(document, dict):
        raise InvalidBodyError([FieldError("", "Expected an object: one measurement document.")])
    limits = DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)
    written = written_out(document, files, limits)
    # The boundary of a form is another each time; what stands in it is not.
    told = [canonical_json(_told(document)), *(_line(file) for file in files)]
    return b"\n".join(told), written


def _told(document: Document) -> Document:
    return {name: value for name, value in document.items() if name != "sweeps"}


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
