"""One limit as a table: its value at asked frequencies, with form, clause, source and basis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.limits import (
    Basis,
    Category,
    CurveLimit,
    ReadingLimit,
    RuleSet,
    Segment,
    Status,
    weakest,
)
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.rulesets.errors import LimitNotFoundError

# Where printed tables give their values; common practice, no published source.
KEY_FREQUENCIES_MHZ: Final = (
    1, 4, 8, 10, 16, 20, 25, 31.25, 62.5, 100, 125, 155.52, 175, 200, 250, 300, 350, 400, 450, 500, 550, 600,
    700, 800, 900, 1000, 1200, 1400, 1600, 1800, 2000,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A limit at one frequency.

    Attributes:
        frequency_mhz: ``None`` for a single-value limit. [MHz]
        value: in the unit of the parameter; ``None`` where a difference has no
            limit because one of the two that it refers to ends.
        form: a name in ``curves.FORMS``, ``"difference"`` or ``"single_value"``.
    """

    frequency_mhz: float | None
    value: float | None
    form: str
    source: str
    basis: Basis
    clause: str | None
    note: str | None
    confirmed_by: str | None
    confirmed_on: str | None


@dataclass(frozen=True, slots=True)
class LimitTable:
    """One limit of a rule set.

    Attributes:
        status: what the edition does with the parameter; ``None``: nothing.
        limit: the limit itself.
        rows: its values in order of frequency.
    """

    rule_set: RuleSet
    category: Category
    configuration: Configuration
    parameter: Parameter
    status: Status | None
    limit: CurveLimit | ReadingLimit
    rows: tuple[LimitRow, ...]

    @property
    def basis(self) -> Basis | None:
        """The weakest basis of the rows."""
        return weakest([row.basis for row in self.rows])

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the limit comes from, each source once."""
        parts = self.limit.segments if isinstance(self.limit, CurveLimit) else (self.limit,)
        return tuple(dict.fromkeys(part.source for part in parts))


def limit_table(
    rule_set: RuleSet,
    category: str,
    configuration: Configuration,
    parameter: Parameter,
    frequencies_mhz: tuple[float, ...] = (),
) -> LimitTable:
    """Return a limit at asked frequencies, or at those where printed tables give values.

    Args:
        rule_set: the edition.
        category: name of a category or class of it.
        configuration: what was measured.
        parameter: of which the limit is.
        frequencies_mhz: none for the usual ones and the edges of the segments. [MHz]

    Raises:
        LimitNotFoundError: the edition has no such category, gives no such
            limit, or none at one of the frequencies.
    """
    found = _category(rule_set, category)
    status = found.statuses.get(parameter)
    place = (found.name, configuration, parameter)
    reading = rule_set.reading(*place)
    if reading is not None:
        if frequencies_mhz:
            detail = f"{_title(found, configuration, parameter)} is a single value; leave frequency_mhz out."
            raise LimitNotFoundError("frequency_mhz", detail, frequencies_mhz[0])
        return LimitTable(rule_set, found, configuration, parameter, status, reading, (_single(reading),))
    curve = rule_set.curve(*place)
    if curve is None:
        raise _no_limit(rule_set, found, configuration, parameter)
    for frequency_mhz in frequencies_mhz:
        _check_frequency(curve, frequency_mhz, _title(found, configuration, parameter))
    rows = _rows(curve, tuple(sorted(set(frequencies_mhz))) or usual_frequencies_mhz(curve))
    return LimitTable(rule_set, found, configuration, parameter, status, curve, rows)


def usual_frequencies_mhz(curve: CurveLimit) -> tuple[float, ...]:
    """Return the usual frequencies within a limit and the edges of its segments. [MHz]."""
    usual = {float(f) for f in KEY_FREQUENCIES_MHZ if curve.from_mhz <= f <= curve.to_mhz}
    edges = {edge for segment in curve.segments for edge in (segment.from_mhz, segment.to_mhz)}
    return tuple(sorted(usual | edges))


def configurations_of(rule_set: RuleSet, category: str) -> tuple[Configuration, ...]:
    """Return the configurations that a category has any limit for."""
    keys = (*rule_set.curve_limits, *rule_set.reading_limits)
    given = {configuration for name, configuration, _ in keys if name == category}
    return tuple(configuration for configuration in Configuration if configuration.value in given)


def parameters_of(rule_set: RuleSet, category: str, configuration: Configuration) -> tuple[Parameter, ...]:
    """Return the parameters that have a limit for a category and configuration."""
    place = (category, configuration.value)
    given = {key[2] for key in (*rule_set.curve_limits, *rule_set.reading_limits) if key[:2] == place}
    return tuple(parameter for parameter in Parameter if parameter.value in given)


def basis_counts(rule_set: RuleSet) -> dict[Basis, int]:
    """Return how many segments and single values rest on each basis, best known first."""
    bases = [s.basis for curve in rule_set.curve_limits.values() for s in curve.segments]
    bases += [reading.basis for reading in rule_set.reading_limits.values()]
    return {basis: bases.count(basis) for basis in (Basis.PUBLISHED, Basis.CROSS_CHECKED, Basis.MEMORY)}


def _title(category: Category, configuration: Configuration, parameter: Parameter) -> str:
    return f"{TRAITS[parameter].title} of {category.title}, {configuration.replace('_', ' ')},"


def _category(rule_set: RuleSet, name: str) -> Category:
    try:
        found = rule_set.category(name)
    except InvalidRequirementError as error:
        raise LimitNotFoundError("category", error.detail, name) from error
    if found.missing is not None:
        raise LimitNotFoundError("category", found.missing, name)
    return found


def _no_limit(
    rule_set: RuleSet, category: Category, configuration: Configuration, parameter: Parameter
) -> LimitNotFoundError:
    known = configurations_of(rule_set, category.name)
    if configuration not in known:
        words = ", ".join(known) or "none"
        detail = f"{rule_set.title} gives no limits for {category.title}, {configuration}; it has {words}."
        return LimitNotFoundError("configuration", detail, configuration.value)
    words = ", ".join(parameters_of(rule_set, category.name, configuration))
    detail = (
        f"{_title(category, configuration, parameter)} has no limit in {rule_set.title}; "
        f"there are limits for {words}. One of your own goes into an edition file."
    )
    return LimitNotFoundError("parameter", detail, parameter.value)


def _check_frequency(curve: CurveLimit, frequency_mhz: float, title: str) -> None:
    if not curve.from_mhz <= frequency_mhz <= curve.to_mhz:
        detail = (
            f"{title} has limits from {curve.from_mhz:g} to {curve.to_mhz:g} MHz, none at {frequency_mhz:g}."
        )
        raise LimitNotFoundError("frequency_mhz", detail, frequency_mhz)


def _rows(curve: CurveLimit, frequencies_mhz: tuple[float, ...]) -> tuple[LimitRow, ...]:
    values = curve.at(np.array(frequencies_mhz))
    segments = (curve.segment_at(frequency_mhz) for frequency_mhz in frequencies_mhz)
    return tuple(
        _row(frequency_mhz, float(value), segment)
        for frequency_mhz, value, segment in zip(frequencies_mhz, values, segments, strict=True)
        if segment is not None
    )


def _row(frequency_mhz: float, value: float, segment: Segment) -> LimitRow:
    return LimitRow(
        frequency_mhz,
        None if np.isnan(value) else round(value, 3),
        segment.form,
        segment.source,
        segment.basis,
        segment.clause,
        segment.note,
        segment.confirmed_by,
        segment.confirmed_on,
    )


def _single(limit: ReadingLimit) -> LimitRow:
    return LimitRow(
        None,
        round(limit.judged_value, 3),
        "single_value",
        limit.source,
        limit.basis,
        limit.clause,
        limit.note,
        limit.confirmed_by,
        limit.confirmed_on,
    )
