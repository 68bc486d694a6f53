"""What can be seen of a measurement without the standards: keys, shapes, lengths, finite numbers.

Whether a value is plausible, and what it means, the service says.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fourpair._axes import axis_points, finite_numbers

PAIRS = ("12", "36", "45", "78")
ENDS = ("near", "far")
BETWEEN = ("12-36", "12-45", "12-78", "36-45", "36-78", "45-78")
TOWARDS = tuple(f"{a}>{b}" for a in PAIRS for b in PAIRS if a != b)
FIELDS = (
    "configuration",
    "label",
    "job",
    "tested_at",
    "tested_by",
    "requirement",
    "cable",
    "ends",
    "hardware",
    "cords",
    "connectors",
    "instrument",
    "wire_map",
    "pairs",
    "conductor_resistance_ohm",
    "delay_skew_ns",
    "resistance_unbalance_between_pairs_ohm",
    "frequency_mhz",
    "sweeps",
    "summary",
    "port",
    "touchstone",
    "notes",
    "external_ids",
)
# The keys of each swept parameter; all but insertion loss are seen from an end.
KEYS: Mapping[str, tuple[str, ...]] = {
    "insertion_loss": PAIRS,
    "next": BETWEEN,
    "ps_next": PAIRS,
    "acr_n": TOWARDS,
    "ps_acr_n": PAIRS,
    "acr_f": TOWARDS,
    "ps_acr_f": PAIRS,
    "return_loss": PAIRS,
    "fext": TOWARDS,
    "tcl": PAIRS,
    "eltctl": PAIRS,
    "ps_anext": PAIRS,
    "ps_aacr_f": PAIRS,
}
WITHOUT_ENDS = frozenset({"insertion_loss"})
# What is said of the cords that will complete a link, and of its connectors.
CORDS = ("near_m", "far_m", "conductor")
CORD_LENGTHS = CORDS[:2]
CONDUCTORS = ("solid", "stranded")
CONNECTORS = ("category",)

# How many points an axis has that is not valid.
UNKNOWN = -1

Problem = Mapping[str, Any]


def _problem(pointer: str, detail: str) -> Problem:
    return {"pointer": pointer, "detail": detail}


def _escaped(name: object) -> str:
    return str(name).replace("~", "~0").replace("/", "~1")


def _unknown(pointer: str, name: object, known: Iterable[str]) -> Problem:
    choices = tuple(known)
    close = difflib.get_close_matches(str(name), choices, 1)
    advice = f"Did you mean {close[0]!r}?" if close else f"Known are {', '.join(choices)}."
    return _problem(f"{pointer}/{_escaped(name)}", f"{name!r} is not known here. {advice}")


def _is_length(value: Any) -> bool:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return is_number and math.isfinite(value) and value >= 0


@dataclass(slots=True)
class _Look:
    """One look at a document; what is wrong is collected."""

    document: Mapping[str, Any]
    problems: list[Problem] = field(default_factory=list)
    points: int | None = None

    def put(self, pointer: str, detail: str) -> None:
        self.problems.append(_problem(pointer, detail))

    def run(self) -> list[Problem]:
        self.problems += [_unknown("", name, FIELDS) for name in self.document if name not in FIELDS]
        if "configuration" not in self.document:
            self.put("", "configuration is missing: permanent_link, channel, mptl or patch_cord.")
        if "frequency_mhz" in self.document:
            self.points = self._axis(self.document["frequency_mhz"], "/frequency_mhz")
        self._members("/pairs", self.document.get("pairs", {}), PAIRS)
        if "cords" in self.document:
            self._cords(self.document["cords"])
        if "connectors" in self.document:
            self._connectors(self.document["connectors"])
        sweeps = self.document.get("sweeps", {})
        if self._members("/sweeps", sweeps, KEYS):
            for pointer, parameter, curves in self._parts(sweeps):
                self._curves(pointer, parameter, curves)
        return self.problems

    def _cords(self, cords: Any) -> None:
        if not self._members("/cords", cords, CORDS):
            return
        if not any(name in cords for name in CORD_LENGTHS):
            self.put("/cords", "Give near_m, far_m or both; 0 where there is no cord.")
        for name in CORD_LENGTHS:
            if name in cords and not _is_length(cords[name]):
                self.put(f"/cords/{name}", f"{cords[name]!r} is no length in m.")
        if "conductor" in cords and cords["conductor"] not in CONDUCTORS:
            self.put("/cords/conductor", f"{cords['conductor']!r} is neither {' nor '.join(CONDUCTORS)}.")

    def _connectors(self, connectors: Any) -> None:
        if not self._members("/connectors", connectors, CONNECTORS):
            return
        category = connectors.get("category", "6")
        if not isinstance(category, str) or not category:
            self.put("/connectors/category", f"{category!r} is no text such as '6A'.")

    def _axis(self, value: Any, pointer: str) -> int:
        try:
            return axis_points(value)
        except (ValueError, TypeError) as error:
            self.put(pointer, str(error))
            return UNKNOWN

    def _members(self, pointer: str, value: Any, known: Iterable[str]) -> bool:
        if not isinstance(value, Mapping):
            self.put(pointer, "Expected an object.")
            return False
        self.problems += [_unknown(pointer, name, known) for name in value if name not in known]
        return True

    def _parts(self, sweeps: Mapping[str, Any]) -> Iterator[tuple[str, str, Any]]:
        for parameter, content in sweeps.items():
            pointer = f"/sweeps/{_escaped(parameter)}"
            if parameter in WITHOUT_ENDS:
                yield pointer, parameter, content
            elif parameter in KEYS and self._members(pointer, content, ENDS):
                yield from ((f"{pointer}/{end}", parameter, content[end]) for end in ENDS if end in content)

    def _curves(self, pointer: str, parameter: str, curves: Any) -> None:
        if not self._members(pointer, curves, KEYS[parameter]):
            return
        for key, curve in curves.items():
            if key in KEYS[parameter]:
                self._curve(f"{pointer}/{key}", curve)

    def _curve(self, pointer: str, curve: Any) -> None:
        if not isinstance(curve, Mapping):
            self._values(pointer, curve, self.points)
            return
        points = self.points
        if "frequency_mhz" in curve:
            points = self._axis(curve["frequency_mhz"], f"{pointer}/frequency_mhz")
        names = set(curve) - {"frequency_mhz"}
        if names not in ({"db"}, {"re", "im"}):
            self.put(
                pointer, "A curve is a list of dB, or has db, or re and im; and frequency_mhz of its own."
            )
            return
        for name in sorted(names):
            self._values(f"{pointer}/{name}", curve[name], points)

    def _values(self, pointer: str, values: Any, points: int | None) -> None:
        try:
            count = len(finite_numbers(values))
        except (ValueError, TypeError) as error:
            self.put(pointer, str(error))
            return
        if points == UNKNOWN:
            # What is wrong with the axis is told once, and not for each curve on it.
            return
        if points is None:
            self.put(pointer, "There is no frequency_mhz that says where these values were taken.")
        elif count != points:
            self.put(pointer, f"{count} values on an axis of {points} frequencies.")


def problems_of(document: Any) -> list[Problem]:
    """Return what is wrong with a measurement document, each with ``pointer`` and ``detail``.

    >>> problems_of({"configuration": "channel", "lable": "A"})[0]["detail"]
    "'lable' is not known here. Did you mean 'label'?"
    """
    if not isinstance(document, Mapping):
        return [_problem("", f"Expected a measurement document, got {type(document).__name__}.")]
    return _Look(document).run()
