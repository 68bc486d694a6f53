"""A measured link as it is sent."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fourpair._axes import axis_of
from fourpair._checking import KEYS, WITHOUT_ENDS, problems_of
from fourpair._errors import InvalidMeasurementError
from fourpair._frames import frame

if TYPE_CHECKING:
    import pandas

COLUMNS = ("parameter", "end", "pairs", "frequency_mhz", "value_db", "re", "im")


def _plain(values: Any) -> Any:
    """Return an array as lists of Python numbers: dB as a list, complex values as ``re`` and ``im``."""
    found = values.tolist() if hasattr(values, "tolist") else list(values)
    if any(isinstance(value, complex) for value in found):
        points = [complex(value) for value in found]
        return {"re": [point.real for point in points], "im": [point.imag for point in points]}
    return found


def _plain_curves(curves: Any) -> Any:
    return {key: curve if isinstance(curve, Mapping) else _plain(curve) for key, curve in curves.items()}


@dataclass(frozen=True, slots=True, eq=False)
class Measurement(Mapping[str, Any]):
    """A measured link: reads as a mapping, and does not change.

    Make one with ``from_dict``, ``from_json``, ``from_arrays`` or ``from_frame``;
    each looks at keys, shapes, lengths and finite numbers at once.

    >>> link = Measurement.from_dict({"configuration": "channel", "label": "A-1"})
    >>> link.label, link["configuration"], link.with_changes(job="clinic").job
    ('A-1', 'channel', 'clinic')
    >>> link
    <Measurement A-1: channel, no sweeps>
    """

    document: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.document[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.document)

    def __len__(self) -> int:
        return len(self.document)

    def __repr__(self) -> str:
        job = f" of {self.job}" if self.job else ""
        swept = ", ".join(self.sweeps) or "no sweeps"
        points = f" at {len(self.frequency_mhz)} frequencies" if self.frequency_mhz else ""
        kind = str(self.get("configuration", "")).replace("_", " ")
        return f"<Measurement {self.label or '(no label)'}{job}: {kind}, {swept}{points}>"

    @property
    def label(self) -> str | None:
        """What the link is called."""
        return self.get("label")

    @property
    def job(self) -> str | None:
        """The job it belongs to."""
        return self.get("job")

    @property
    def sweeps(self) -> Mapping[str, Any]:
        """The curves, by parameter, end and pairs."""
        found: Mapping[str, Any] = self.get("sweeps", {})
        return found

    @property
    def frequency_mhz(self) -> tuple[float, ...]:
        """The common axis, (n,); empty where there is none. [MHz]."""
        return axis_of(self["frequency_mhz"]) if self.get("frequency_mhz") else ()

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Measurement:
        """Return the measurement of a document.

        Raises:
            InvalidMeasurementError: it cannot be right; ``errors`` says what and where.
        """
        return cls(checked(document))

    @classmethod
    def from_json(cls, source: str | Path | bytes) -> Measurement:
        """Return the measurement of a JSON file.

        Args:
            source: path of the file, or its content as bytes.

        Raises:
            InvalidMeasurementError: it is no JSON, or cannot be right.
            OSError: it cannot be read.
        """
        raw = source if isinstance(source, bytes) else Path(source).read_bytes()
        try:
            document = json.loads(raw)
        except ValueError as error:
            name = "The content" if isinstance(source, bytes) else str(source)
            raise InvalidMeasurementError(
                [{"pointer": "", "detail": f"{name} is no JSON: {error}"}]
            ) from error
        return cls.from_dict(document)

    @classmethod
    def from_arrays(
        cls, frequency_mhz: Iterable[float], sweeps: Mapping[str, Any], **values: Any
    ) -> Measurement:
        """Return a measurement of numpy arrays, or of any sequences of numbers.

        Args:
            frequency_mhz: (n,) increasing. [MHz]
            sweeps: by parameter, then end (but for ``insertion_loss``), then pairs:
                (n,) real values in dB, or (n,) complex linear values, exp(+jwt).
            values: the other fields: ``configuration``, ``label``, ``job``, ``wire_map``
                and so on.

        Raises:
            InvalidMeasurementError: shapes, lengths, keys or numbers are not right.

        >>> link = Measurement.from_arrays(
        ...     [1.0, 4.0], {"insertion_loss": {"12": [0.1, 0.2]}}, configuration="channel"
        ... )
        >>> link.sweeps["insertion_loss"]["12"], link.frequency_mhz
        ([0.1, 0.2], (1.0, 4.0))
        """
        plain = {
            parameter: _plain_curves(content)
            if parameter in WITHOUT_ENDS
            else {end: _plain_curves(curves) for end, curves in content.items()}
            for parameter, content in sweeps.items()
        }
        return cls.from_dict({**values, "frequency_mhz": _plain(frequency_mhz), "sweeps": plain})

    @classmethod
    def from_frame(cls, rows: pandas.DataFrame, **values: Any) -> Measurement:
        """Return a measurement of a long pandas frame, such as ``to_frame`` makes.

        Args:
            rows: a row for each point, with columns ``parameter``, ``end`` (empty for
                insertion loss), ``pairs``, ``frequency_mhz`` and ``value_db``, or ``re``
                and ``im`` in its place: as the service gives a measurement as CSV.
            values: the other fields: ``configuration``, ``label`` and so on.

        Raises:
            InvalidMeasurementError: a column is missing, or the values are not right.
        """
        missing = [name for name in COLUMNS[:4] if name not in rows]
        if missing:
            raise InvalidMeasurementError(
                [{"pointer": "", "detail": f"The frame has no column {name}."} for name in missing]
            )
        sweeps: dict[str, Any] = {}
        # Read in CSV, pairs may have become numbers, and an empty end NaN.
        keyed = rows.assign(
            end=rows["end"].where(rows["end"].isin(["near", "far"]), ""), pairs=rows["pairs"].astype(str)
        )
        for (parameter, end, pairs), own_rows in keyed.groupby(["parameter", "end", "pairs"], sort=False):
            own = sweeps.setdefault(parameter, {})
            place = own.setdefault(end, {}) if end else own
            place[pairs] = _curve_of(own_rows)
        return cls.from_dict({**values, "sweeps": sweeps})

    def to_dict(self) -> dict[str, Any]:
        """Return the document, as it is sent."""
        return dict(self.document)

    def to_frame(self) -> pandas.DataFrame:
        """Return the curves as a long pandas frame: ``COLUMNS``, a row for each point.

        Raises:
            ImportError: pandas is not installed.
        """
        return frame(self._rows(), columns=list(COLUMNS))

    def curves(self, parameter: str) -> Iterator[tuple[str, str, tuple[float, ...], Any]]:
        """Yield end (empty for insertion loss), pairs, frequencies and curve of a parameter."""
        content = self.sweeps.get(parameter, {})
        for end, curves in {"": content}.items() if parameter in WITHOUT_ENDS else content.items():
            for pairs, curve in curves.items():
                own = curve.get("frequency_mhz") if isinstance(curve, Mapping) else None
                yield end, pairs, axis_of(own) if own else self.frequency_mhz, curve

    def _rows(self) -> Iterator[tuple[Any, ...]]:
        for parameter in (name for name in KEYS if name in self.sweeps):
            for end, pairs, axis, curve in self.curves(parameter):
                if isinstance(curve, Mapping) and "re" in curve:
                    points = zip(axis, curve["re"], curve["im"], strict=True)
                    yield from ((parameter, end, pairs, f, None, re, im) for f, re, im in points)
                else:
                    values = curve["db"] if isinstance(curve, Mapping) else curve
                    yield from (
                        (parameter, end, pairs, f, value, None, None)
                        for f, value in zip(axis, values, strict=True)
                    )

    def with_changes(self, **values: Any) -> Measurement:
        """Return a measurement with other values of some fields; ``None`` leaves a field out."""
        document = {**self.document, **values}
        return Measurement({name: value for name, value in document.items() if value is not None})


def _curve_of(rows: pandas.DataFrame) -> dict[str, Any]:
    axis = rows["frequency_mhz"].tolist()
    if "value_db" in rows and rows["value_db"].notna().all():
        return {"frequency_mhz": axis, "db": rows["value_db"].tolist()}
    if "re" not in rows or "im" not in rows:
        return {"frequency_mhz": axis, "db": rows["value_db"].tolist() if "value_db" in rows else []}
    return {"frequency_mhz": axis, "re": rows["re"].tolist(), "im": rows["im"].tolist()}


def checked(measurement: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the document of a measurement that can be sent.

    Raises:
        InvalidMeasurementError: it cannot be right.
    """
    document = measurement.document if isinstance(measurement, Measurement) else measurement
    problems = problems_of(document)
    if problems:
        raise InvalidMeasurementError(problems)
    return document
