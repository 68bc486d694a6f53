"""Limit curves, single values and component curves of an edition file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from fourpair_service.domain.curves import DIFFERENCE, FORMS, evaluate
from fourpair_service.domain.limits import (
    Basis,
    CheckPoint,
    CurveLimit,
    LimitKey,
    ReadingLimit,
    Segment,
)
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.rulesets.places import Confirmation, Place

LIMIT_KEYS: Final = {"parameter", "category", "configurations", "segment"}
SEGMENT_KEYS: Final = {
    "from_mhz", "to_mhz", "form", "coefficients", "cap", "cap_rule", "source", "basis", "clause", "note",
    "check_points", "confirmed_by", "confirmed_on",
}  # fmt: skip
READING_KEYS: Final = {
    "parameter", "categories", "configurations", "value", "percent", "allowance_percent",
    "source", "basis", "clause", "note", "confirmed_by", "confirmed_on",
}  # fmt: skip
TERM_NUMBERS: Final = ("at_reference", "per_decade", "reference_mhz")
CAP_RULES: Final = ("ceiling", "floor")
OPERANDS: Final = ("minuend", "subtrahend")
CURVED: Final = (
    *(p.value for p in Parameter if TRAITS[p].is_swept and p is not Parameter.FEXT),
    Parameter.PROPAGATION_DELAY.value,
)
SINGLE: Final = tuple(
    p.value for p in Parameter if p.value not in CURVED and TRAITS[p].unit not in (None, "db")
)

Curves = dict[LimitKey, CurveLimit]
Readings = dict[LimitKey, ReadingLimit]


def read_curves(file: Place, categories: Collection[str], confirmed: Confirmation) -> Curves:
    """Return the limit curves of a file by category, configuration and parameter.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    found: Curves = {}
    for entry in file.inners("limit"):
        entry.only(LIMIT_KEYS)
        name = entry.word("parameter", CURVED)
        category = entry.word("category", categories)
        segments = _segments(entry, confirmed)
        for configuration in _configurations(entry):
            key = (category, configuration, name)
            if key in found:
                entry.refuse("configurations", f"{' '.join(key)} has a limit above already; remove one")
            found[key] = CurveLimit(Parameter(name), category, configuration, segments)
    return found


def read_references(file: Place, confirmed: Confirmation) -> Curves:
    """Return the component curves of a file; their names and places are free.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    found: Curves = {}
    for entry in file.inners("reference"):
        entry.only(LIMIT_KEYS)
        name, category = entry.text("parameter"), entry.text("category")
        segments = _segments(entry, confirmed)
        for configuration in entry.texts("configurations"):
            key = (category, configuration, name)
            if key in found:
                entry.refuse("configurations", f"{' '.join(key)} has a curve above already; remove one")
            found[key] = CurveLimit(_belongs_to(name), category, configuration, segments)
    return found


def read_readings(file: Place, categories: Collection[str], confirmed: Confirmation) -> Readings:
    """Return the single-value limits of a file by category, configuration and parameter.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    found: Readings = {}
    for entry in file.inners("reading_limit"):
        entry.only(READING_KEYS)
        for category in entry.words("categories", categories):
            for configuration in _configurations(entry):
                limit = _reading(entry, category, configuration, entry.confirmation(confirmed))
                key = (category, configuration, limit.parameter.value)
                if key in found:
                    entry.refuse("configurations", f"{' '.join(key)} has a limit above already; remove one")
                found[key] = limit
        if not entry.items("categories"):
            entry.refuse("categories", f"name at least one of {', '.join(categories)}")
    return found


def link_differences(file: Place, curves: Curves) -> Curves:
    """Return the same limits, each difference joined to the limits that it refers to.

    Raises:
        InvalidRuleSetError: one that is referred to is missing, or a difference itself.
    """
    return {key: _linked(file, key, curves) for key in curves}


def confirm_curves(curves: Curves, confirmed: Confirmation) -> Curves:
    """Return the same limits as ones that were checked against the standard."""
    by, on = confirmed
    return {
        key: replace(
            curve,
            segments=tuple(
                replace(s, basis=Basis.PUBLISHED, confirmed_by=by, confirmed_on=on) for s in curve.segments
            ),
        )
        for key, curve in curves.items()
    }


def confirm_readings(readings: Readings, confirmed: Confirmation) -> Readings:
    """Return the same limits as ones that were checked against the standard."""
    by, on = confirmed
    return {
        key: replace(limit, basis=Basis.PUBLISHED, confirmed_by=by, confirmed_on=on)
        for key, limit in readings.items()
    }


def _configurations(entry: Place) -> list[str]:
    allowed = tuple(Configuration)
    found = entry.words("configurations", allowed)
    if not found:
        entry.refuse("configurations", f"name at least one of {', '.join(allowed)}")
    return found


def _reading(entry: Place, category: str, configuration: str, confirmed: Confirmation) -> ReadingLimit:
    return ReadingLimit(
        Parameter(entry.word("parameter", SINGLE)),
        category,
        configuration,
        entry.positive("value"),
        entry.text("source"),
        entry.basis(confirmed),
        entry.optional_text("clause"),
        entry.optional_share("percent"),
        entry.optional_share("allowance_percent") or 0.0,
        entry.optional_text("note"),
        *confirmed,
    )


def _belongs_to(name: str) -> Parameter:
    # A component curve is named after the parameter it belongs to.
    longest_first = sorted(Parameter, key=len, reverse=True)
    return next((p for p in longest_first if name.startswith(p)), Parameter.INSERTION_LOSS)


def _segments(entry: Place, confirmed: Confirmation) -> tuple[Segment, ...]:
    places = entry.inners("segment")
    if not places:
        entry.refuse("segment", "a limit needs at least one segment")
    segments = tuple(_segment(place, confirmed) for place in places)
    for place, (below, above) in zip(places[1:], pairwise(segments), strict=True):
        if below.to_mhz != above.from_mhz:
            place.refuse(
                "from_mhz",
                f"the segment before ends at {below.to_mhz:g} MHz and this one begins at "
                f"{above.from_mhz:g} MHz; let them meet",
            )
    return segments


def _segment(place: Place, inherited: Confirmation) -> Segment:
    place.only(SEGMENT_KEYS)
    low, high = place.positive("from_mhz"), place.positive("to_mhz")
    if low > high:
        place.refuse("to_mhz", f"the segment runs backwards, from {low:g} to {high:g} MHz")
    confirmed = place.confirmation(inherited)
    segment = Segment(
        low,
        high,
        place.word("form", (*FORMS, DIFFERENCE)),
        _coefficients(place),
        place.text("source"),
        place.basis(confirmed),
        place.optional_text("clause"),
        *_cap(place),
        place.optional_text("note"),
        tuple(_check_point(point) for point in place.inners("check_points")),
        *confirmed,
    )
    _must_be_finite(place, segment)
    return segment


def _cap(place: Place) -> tuple[float | None, str | None]:
    keys = ("cap", "cap_rule")
    given = [key for key in keys if key in place.table]
    if len(given) == 1:
        missing = next(key for key in keys if key not in given)
        place.refuse(given[0], f"cap and cap_rule belong together; add {missing}")
    if not given:
        return None, None
    if place.table.get("form") == DIFFERENCE:
        place.refuse("cap", "a difference has no cap; cap the limits that it refers to")
    return place.number("cap"), place.word("cap_rule", CAP_RULES)


def _check_point(place: Place) -> CheckPoint:
    place.only({"frequency_mhz", "value", "source"})
    return CheckPoint(place.positive("frequency_mhz"), place.number("value"), place.text("source"))


def _coefficients(place: Place) -> Mapping[str, object]:
    values, form = place.inner("coefficients"), str(place.table["form"])
    shape = FORMS.get(form)
    required = OPERANDS if shape is None else shape.required
    values.only({*required, *(() if shape is None else shape.optional)})
    for key in required:
        if key not in values.table:
            values.refuse(key, f"the form {form} needs it; add it")
    for key in values.table:
        _coefficient(values, key, form)
    return values.table


def _coefficient(values: Place, key: str, form: str) -> None:
    if form == DIFFERENCE:
        values.word(key, CURVED)
    elif key == "terms":
        _terms(values)
    elif key == "reference_mhz":
        values.positive(key)
    else:
        values.number(key)


def _terms(values: Place) -> None:
    terms = values.inners("terms")
    if not terms:
        values.refuse("terms", "a sum needs at least one term")
    for term in terms:
        term.only({"count", *TERM_NUMBERS})
        for key in TERM_NUMBERS:
            term.number(key)
        for key in {"reference_mhz", "count"} & set(term.table):
            term.positive(key)


def _must_be_finite(place: Place, segment: Segment) -> None:
    if segment.form == DIFFERENCE:
        return
    with np.errstate(all="ignore"):
        ends = evaluate(segment, np.array([segment.from_mhz, segment.to_mhz]), {})
    if not np.isfinite(ends).all():
        place.refuse("coefficients", "they give no finite limit at the ends of the segment; check them")


def _linked(file: Place, key: LimitKey, curves: Curves) -> CurveLimit:
    curve, name = curves[key], " ".join(key)
    wanted = {str(s.coefficients[role]) for s in curve.segments if s.form == DIFFERENCE for role in OPERANDS}
    operands: dict[str, CurveLimit] = {}
    for parameter in sorted(wanted):
        operand = curves.get((*key[:2], parameter))
        entry = _entry_of(file, key[0], {key[2], parameter})
        if operand is None:
            entry.refuse("", f"{name} is a difference from {parameter}, which has no limit; add one")
        if any(s.form == DIFFERENCE for s in operand.segments):
            entry.refuse(
                "", f"{name} is a difference from {parameter}, which must not be a difference itself"
            )
        operands[parameter] = operand
    return replace(curve, operands=operands)


def _entry_of(file: Place, category: str, parameters: Collection[str]) -> Place:
    # What the file gives can break a difference of the extended edition: name the file's own entry.
    entries = (e for e in file.inners("limit") if e.table["category"] == category)
    return next((e for e in entries if e.table["parameter"] in parameters), file)
