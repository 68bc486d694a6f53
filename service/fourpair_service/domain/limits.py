"""Limits as data: curves, single values, the switches of an edition, its rule set.

Nothing here reads a file. ``rulesets.reader`` builds these from the data files,
one file for each published edition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import numpy as np

from fourpair_service.domain.curves import evaluate
from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import FloatArray
from fourpair_service.domain.parameters import Parameter


class Basis(StrEnum):
    """How well a limit is known, weakest first in ``BASIS_ORDER``."""

    MEMORY = "memory"
    CROSS_CHECKED = "cross_checked"
    PUBLISHED = "published"


BASIS_ORDER: Final = (Basis.MEMORY, Basis.CROSS_CHECKED, Basis.PUBLISHED)


def weakest(bases: list[Basis]) -> Basis | None:
    """Return the least certain of several bases, ``None`` of none."""
    return min(bases, key=BASIS_ORDER.index, default=None)


def strongest(bases: list[Basis]) -> Basis | None:
    """Return the most certain of several bases, ``None`` of none."""
    return max(bases, key=BASIS_ORDER.index, default=None)


class Status(StrEnum):
    """What an edition does with a parameter."""

    # That of the text: equal to it, and many times faster to find in a table.
    __hash__ = str.__hash__

    REQUIRED = "required"
    JUDGED_IF_PRESENT = "judged_if_present"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True)
class CheckPoint:
    """A value printed somewhere, to hold a limit against."""

    frequency_mhz: float
    value: float
    source: str


@dataclass(frozen=True, slots=True)
class Segment:
    """One stretch of a limit curve.

    Attributes:
        from_mhz: included. [MHz]
        to_mhz: excluded, except in the last segment of its curve. [MHz]
        form: a name in ``curves.FORMS``.
        coefficients: what the form needs.
        cap: bound on the computed value, in the unit of the parameter.
        cap_rule: ``ceiling`` (never above the cap) or ``floor`` (never below).
        source: where the expression comes from, with clause where known.
        note: a doubt or a derivation worth knowing.
        confirmed_by: who checked it against the standard itself.
        confirmed_on: ISO date of that check.
    """

    from_mhz: float
    to_mhz: float
    form: str
    coefficients: Mapping[str, object]
    source: str
    basis: Basis
    clause: str | None = None
    cap: float | None = None
    cap_rule: str | None = None
    note: str | None = None
    check_points: tuple[CheckPoint, ...] = ()
    confirmed_by: str | None = None
    confirmed_on: str | None = None


LimitKey = tuple[str, str, str]


@dataclass(frozen=True, slots=True, eq=False)
class CurveLimit:
    """A limit over frequency.

    Attributes:
        segments: in order of frequency; where two meet the upper one holds.
        operands: the limits that a ``difference`` segment refers to by role.
    """

    parameter: Parameter
    category: str
    configuration: str
    segments: tuple[Segment, ...]
    operands: Mapping[str, CurveLimit] = field(default_factory=dict)

    @property
    def from_mhz(self) -> float:
        """The lowest frequency that has a limit. [MHz]."""
        return self.segments[0].from_mhz

    @property
    def to_mhz(self) -> float:
        """The highest frequency that has a limit. [MHz]."""
        return self.segments[-1].to_mhz

    def at(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the limit at (n,) frequencies, NaN where there is none."""
        value = np.full(frequency_mhz.shape, np.nan)
        last = self.segments[-1]
        for segment in self.segments:
            inside = (frequency_mhz >= segment.from_mhz) & (frequency_mhz < segment.to_mhz)
            if segment is last:
                inside |= frequency_mhz == segment.to_mhz
            if inside.any():
                value[inside] = evaluate(segment, frequency_mhz[inside], self.operands)
        return value

    def segment_at(self, frequency_mhz: float) -> Segment | None:
        """Return the segment that holds at one frequency."""
        for segment in reversed(self.segments):
            if segment.from_mhz <= frequency_mhz <= segment.to_mhz:
                return segment
        return None

    @property
    def basis(self) -> Basis:
        """The weakest basis of its segments."""
        return min((s.basis for s in self.segments), key=BASIS_ORDER.index)


@dataclass(frozen=True, slots=True)
class ReadingLimit:
    """A single upper value.

    Attributes:
        value: in the unit of the parameter.
        percent: where set, the limit is the greater of ``value`` and this share
            of the sum of the two resistances compared.
        allowance_percent: added to ``value`` before judging (length: NVP).
    """

    parameter: Parameter
    category: str
    configuration: str
    value: float
    source: str
    basis: Basis
    clause: str | None = None
    percent: float | None = None
    allowance_percent: float = 0.0
    note: str | None = None
    confirmed_by: str | None = None
    confirmed_on: str | None = None

    @property
    def judged_value(self) -> float:
        """The value that a reading is held against."""
        return self.value * (1 + self.allowance_percent / 100)


@dataclass(frozen=True, slots=True)
class Rule:
    """A switch of an edition with its source.

    Attributes:
        value: the threshold in dB or MHz, or ``None`` where the edition has no such rule.
    """

    value: float | None
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class ShortLinkRelief:
    """The NEXT relief that class EA gives to links of little loss above a frequency.

    The limit drops by ``slope_db`` for each ``per_mhz`` above ``from_mhz`` where
    the insertion loss at ``loss_at_mhz`` is below ``loss_below_db``.
    """

    from_mhz: float
    slope_db: float
    per_mhz: float
    loss_at_mhz: float
    loss_below_db: float
    source: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class CoverageStep:
    """The coarsest frequency step that is accepted up to a frequency."""

    up_to_mhz: float
    step_mhz: float


@dataclass(frozen=True, slots=True)
class EvaluationRules:
    """The switches of an edition, for one category or class.

    Attributes:
        return_loss_below_loss_db: return loss is excused where the pair's own
            insertion loss is below this. [dB]
        next_below_loss_db: NEXT is excused where both pairs, PS NEXT, ACR-N and
            PS ACR-N where the disturbed pair's insertion loss is below this. [dB]
        acr_f_above_fext_db: ACR-F is excused where FEXT is above this. [dB]
        ps_acr_f_above_ps_fext_db: PS ACR-F likewise with PS FEXT. [dB]
        acr_f_loss_of: whose insertion loss ACR-F refers to, ``disturbed`` or
            ``disturbing``.
        delay_at_mhz: the one frequency at which delay is judged; ``None``:
            at the frequency at which it was measured.
        short_link_relief: see there; ``None`` where the class has none.
        coverage: accepted frequency steps, in order of frequency.
        coverage_source: where they come from.
    """

    return_loss_below_loss_db: Rule
    next_below_loss_db: Rule
    acr_f_above_fext_db: Rule
    ps_acr_f_above_ps_fext_db: Rule
    acr_f_loss_of: str
    acr_f_loss_of_source: str
    delay_at_mhz: Rule
    coverage: tuple[CoverageStep, ...]
    coverage_source: str
    short_link_relief: ShortLinkRelief | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Category:
    """A category (TIA) or class (ISO) of an edition.

    Attributes:
        name: ``"6A"``, ``"EA"``.
        title: as it stands in a sentence, ``"category 6A"``, ``"class EA"``.
        from_mhz, to_mhz: the range that is judged. [MHz]
        statuses: what the edition does with each parameter.
        rules: its switches.
        missing: why it has no limits built in; ``None`` where it has.
    """

    name: str
    title: str
    from_mhz: float
    to_mhz: float
    statuses: Mapping[Parameter, Status]
    rules: EvaluationRules
    missing: str | None = None

    def required(self) -> tuple[Parameter, ...]:
        """Return the parameters without which no link can pass."""
        return tuple(p for p, status in self.statuses.items() if status is Status.REQUIRED)


@dataclass(frozen=True, slots=True, eq=False)
class RuleSet:
    """One published edition.

    Attributes:
        id: carries the year, ``"tia-568.2-d-2018"``.
        standard: family, ``"TIA"`` or ``"ISO"``.
        title: the edition's own name.
        digest: ``sha256:`` and the hex digest of the file's bytes.
        supersedes: id of the rule set that this one replaces.
        gradable: false for an edition kept for reference alone.
        categories: by name, lowest first.
        curve_limits, reading_limits: by category, configuration and parameter.
        references: component curves (cable, connector) that the limits are
            built from; never used for a verdict.
    """

    id: str
    standard: str
    title: str
    digest: str
    categories: Mapping[str, Category]
    curve_limits: Mapping[LimitKey, CurveLimit]
    reading_limits: Mapping[LimitKey, ReadingLimit]
    references: Mapping[LimitKey, CurveLimit] = field(default_factory=dict)
    supersedes: str | None = None
    gradable: bool = True
    notes: tuple[str, ...] = ()

    def category(self, name: str) -> Category:
        """Return a category or class by name, in any case.

        Raises:
            InvalidRequirementError: the edition has none of that name.
        """
        for known, category in self.categories.items():
            if known.casefold() == name.casefold():
                return category
        raise InvalidRequirementError(
            "/requirement/category",
            f"{self.title} has no category or class {name!r}; it has {', '.join(self.categories)}.",
            name,
        )

    def curve(self, category: str, configuration: Configuration, parameter: Parameter) -> CurveLimit | None:
        """Return the limit curve, or ``None`` where the edition gives none."""
        return self.curve_limits.get((category, configuration, parameter))

    def reading(
        self, category: str, configuration: Configuration, parameter: Parameter
    ) -> ReadingLimit | None:
        """Return the single-value limit, or ``None`` where the edition gives none."""
        return self.reading_limits.get((category, configuration, parameter))
