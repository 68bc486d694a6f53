"""What grading says: outcomes, the points that decide them, the verdict of a link.

A margin is positive inside its limit, whatever the sense of the limit. Values
here are unrounded; ``verdict_document`` rounds them for people and machines.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from fourpair_service.domain.limits import Basis, Status
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.wiremap import WireMapFinding


class Outcome(StrEnum):
    """The answer for a point, a parameter or a link."""

    # That of the text: equal to it, and many times faster to find in a table.
    __hash__ = str.__hash__

    PASS = "pass"
    MARGINAL_PASS = "marginal_pass"
    MARGINAL_FAIL = "marginal_fail"
    FAIL = "fail"
    INCOMPLETE = "incomplete"


# Worst first: a failure stays one whatever else is missing, and what is missing
# weighs more than a pass.
PRECEDENCE: Final = (
    Outcome.FAIL,
    Outcome.MARGINAL_FAIL,
    Outcome.INCOMPLETE,
    Outcome.MARGINAL_PASS,
    Outcome.PASS,
)

OUTCOME_WORDS: Final = {
    Outcome.PASS: "pass",
    Outcome.MARGINAL_PASS: "pass*",
    Outcome.MARGINAL_FAIL: "fail*",
    Outcome.FAIL: "fail",
    Outcome.INCOMPLETE: "incomplete",
}

FAILED: Final = frozenset({Outcome.FAIL, Outcome.MARGINAL_FAIL})


_RANK: Final = {outcome: rank for rank, outcome in enumerate(PRECEDENCE)}


def worst(outcomes: list[Outcome]) -> Outcome:
    """Return the outcome that decides, ``pass`` where there is none.

    >>> worst([Outcome.PASS, Outcome.INCOMPLETE, Outcome.MARGINAL_FAIL]).value
    'marginal_fail'
    """
    return min(outcomes, key=_RANK.__getitem__, default=Outcome.PASS)


def point_outcome(margin: float, accuracy: float) -> Outcome:
    """Return the outcome of one point.

    A margin smaller than the measurement accuracy decides nothing by itself, so
    it is marginal on its side of the limit. Without a stated accuracy (zero)
    there is no marginal band.

    >>> [point_outcome(m, 0.5).value for m in (0.5, 0.4, 0.0, -0.4, -0.5)]
    ['pass', 'marginal_pass', 'marginal_pass', 'marginal_fail', 'fail']
    >>> [point_outcome(m, 0.0).value for m in (0.0, -0.001)]
    ['pass', 'fail']
    """
    if margin >= accuracy:
        return Outcome.PASS
    if margin >= 0:
        return Outcome.MARGINAL_PASS
    return Outcome.MARGINAL_FAIL if margin > -accuracy else Outcome.FAIL


class Point(NamedTuple):
    """A value held against its limit, in the unit of its parameter.

    Attributes:
        margin: positive inside the limit; ``None`` where there is no limit.
        frequency_mhz: ``None`` for a single value that has none. [MHz]
        pairs: the pair or combination; ``None`` for the link as a whole.
    """

    margin: float | None
    measured: float
    limit: float | None
    frequency_mhz: float | None = None
    pairs: str | None = None
    end: End | None = None
    outcome: Outcome | None = None


@dataclass(frozen=True, slots=True)
class Excuse:
    """Points that the edition does not judge.

    Attributes:
        rule: machine word of the rule.
        text: the rule in words.
        points: how many of the measured points it took out.
        source: where the rule stands.
    """

    rule: str
    text: str
    points: int
    source: str


@dataclass(frozen=True, slots=True)
class ParameterResult:
    """One parameter at one end.

    Attributes:
        outcome: ``None`` for a parameter that is shown and not judged.
        worst_margin: the judged point with the smallest margin; ``None`` where
            every point is excused or nothing was measured.
        worst_value: the judged point with the worst value.
        decisive: the point that decides the outcome where that is not the one with
            the smallest margin, as happens with an accuracy that varies.
        by_pair: the smallest margin of each pair or combination.
        judged_points: how many points were held against the limit.
        excuse: what was not judged, and why.
        incomplete_because: what is missing, as sentences.
        basis: how well the deciding limit is known.
        accuracy: the stated measurement accuracy at the point that decides.
        note: how the value came about where it was not measured as it stands.
    """

    parameter: Parameter
    end: End | None
    status: Status
    outcome: Outcome | None
    worst_margin: Point | None = None
    worst_value: Point | None = None
    decisive: Point | None = None
    by_pair: tuple[Point, ...] = ()
    judged_points: int = 0
    excuse: Excuse | None = None
    incomplete_because: tuple[str, ...] = ()
    basis: Basis | None = None
    source: str | None = None
    clause: str | None = None
    accuracy: float | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class WireMapResult:
    """What continuity and the crosstalk that only a split pair shows say together.

    Attributes:
        outcome: ``pass``, ``fail``, or ``incomplete`` when not tested.
        findings: what is wrong, empty when the link is straight-through.
        split_pairs: ``found``, ``none`` or ``not_excluded``.
    """

    outcome: Outcome
    findings: tuple[WireMapFinding, ...] = ()
    split_pairs: str = "not_excluded"
    note: str | None = None


class CategoryState(StrEnum):
    """Whether a link meets the limits of a category or class."""

    MET = "met"
    NOT_MET = "not_met"
    NOT_EVALUATED = "not_evaluated"


@dataclass(frozen=True, slots=True)
class CategoryResult:
    """How a link stands to one category or class of the standard.

    Attributes:
        headroom_db: smallest margin of its judged dB parameters, ``None`` where
            something that is not in dB fails. [dB]
        parameter, end, frequency_mhz, pairs: where that margin is.
        stopped_by: what fails, as sentences.
        missing: what could not be judged, as sentences.
    """

    category: str
    title: str
    state: CategoryState
    headroom_db: float | None = None
    parameter: Parameter | None = None
    end: End | None = None
    frequency_mhz: float | None = None
    pairs: str | None = None
    stopped_by: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to know that decides nothing."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a link is asked to meet.

    Attributes:
        category: category or class, as the rule set writes it.
        minimum_basis: limits known less well than this decide nothing.
        coverage_is_advisory: for laboratory data: a gap in the frequency axis is
            a caution and makes the verdict provisional, instead of incomplete.
        shield_required: judge the shield even where no screen is declared.
    """

    category: str
    minimum_basis: Basis | None = None
    coverage_is_advisory: bool = False
    shield_required: bool = False


@dataclass(frozen=True, slots=True)
class Headroom:
    """The smallest margin of the judged dB parameters, and where it is."""

    margin_db: float
    parameter: Parameter
    end: End | None
    pairs: str | None
    frequency_mhz: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer for one link under one rule set.

    Attributes:
        basis: of a pass the weakest of the required limits, of a fail the
            strongest among those that fail.
        notices: what must be said before anything else; a verdict that has any
            is provisional (a required limit is from memory, not yet checked
            against the standard, or a gap in coverage was made advisory).
        headroom: ``None`` where nothing in dB was judged, or where something
            that is not in dB fails.
        not_evaluated: parameters that could not be judged, as sentences.
    """

    outcome: Outcome
    label: str | None
    requirement: Requirement
    configuration: Configuration
    rule_set_id: str
    rule_set_digest: str
    rule_set_title: str
    category_title: str
    basis: Basis | None
    notices: tuple[str, ...]
    from_summary: bool
    reasons: tuple[str, ...]
    headroom: Headroom | None
    wire_map: WireMapResult
    parameters: tuple[ParameterResult, ...]
    categories: tuple[CategoryResult, ...]
    not_evaluated: tuple[str, ...]
    cautions: tuple[Caution, ...]

    @property
    def provisional(self) -> bool:
        """Whether the verdict rests on something not yet settled."""
        return bool(self.notices)
