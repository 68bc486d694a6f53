"""What can be seen of a measurement without the standards: keys, shapes, lengths, finite numbers.

Whether a value is plausible, and what it means, the service says.
"""

from __future__ import annotations

import difflib
import math
from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

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
STRETCH = ("start", "step", "stop")
_TOLERANCE_STEPS = 1e-9

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


def axis_of(value: Any) -> tuple[float, ...]:
    """Return the frequencies of an axis, whether it lists them or stretches of even steps. [MHz].

    Raises:
        ValueError: it is neither.

    >>> axis_of([{"start": 1, "step": 0.5, "stop": 2}, {"start": 3, "step": 1, "stop": 4}])
    (1.0, 1.5, 2.0, 3.0, 4.0)
    """
    if not isinstance(value, (list, tuple)) or not value:
        raise ValueError("Expected a list of frequencies in MHz, or of stretches with start, step and stop.")
    if isinstance(value[0], Mapping):
        return tuple(point for stretch in value for point in _stretch(stretch))
    numbers = _numbers(value)
    if any(after <= before for before, after in pairwise(numbers)):
        raise ValueError("Frequencies must increase. Sort them, each once.")
    return tuple(numbers)


def _stretch(stretch: Any) -> list[float]:
    start, step, count = _stretch_terms(stretch)
    return [round(start + step * i, 9) for i in range(count)]


def _stretch_terms(stretch: Any) -> tuple[float, float, int]:
    """Return start, step and number of points of a stretch."""
    if not isinstance(stretch, Mapping) or set(stretch) != set(STRETCH):
        raise ValueError("A stretch has start, step and stop.")
    start, step, stop = (float(stretch[name]) for name in STRETCH)
    if not (0 < start <= stop < math.inf and 0 < step < math.inf):
        raise ValueError("A stretch must increase, above zero.")
    return start, step, math.floor((stop - start) / step + _TOLERANCE_STEPS) + 1


def _axis_points(value: Any) -> int:
    """Return how many frequencies an axis has, without making them all.

    Raises:
        ValueError: it is no axis.
    """
    if isinstance(value, (list, tuple)) and value and isinstance(value[0], Mapping):
        return sum(_stretch_terms(stretch)[2] for stretch in value)
    return len(axis_of(value))


def _numbers(values: Any) -> array[float]:
    """Return finite numbers as they were, in one pass of compiled code where all is well.

    Raises:
        ValueError: one is none, or not finite; the message says which.
    """
    if isinstance(values, (str, bytes, Mapping)):
        raise ValueError("Expected a list of numbers.")
    try:
        numbers = array("d", values)
    except (TypeError, OverflowError):
        place = next((i for i, value in enumerate(values) if not isinstance(value, (int, float))), 0)
        raise ValueError(f"Entry {place} is no number.") from None
    if not math.isfinite(sum(numbers)):
        bad = next((i for i, value in enumerate(numbers) if not math.isfinite(value)), None)
        if bad is not None:
            raise ValueError(
                f"Entry {bad} is {numbers[bad]}: leave out points that were not measured, on their own axis."
            )
    return numbers


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
        sweeps = self.document.get("sweeps", {})
        if self._members("/sweeps", sweeps, KEYS):
            for pointer, parameter, curves in self._parts(sweeps):
                self._curves(pointer, parameter, curves)
        return self.problems

    def _axis(self, value: Any, pointer: str) -> int | None:
        try:
            return _axis_points(value)
        except (ValueError, TypeError) as error:
            self.put(pointer, str(error))
            return None

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
            count = len(_numbers(values))
        except (ValueError, TypeError) as error:
            self.put(pointer, str(error))
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
