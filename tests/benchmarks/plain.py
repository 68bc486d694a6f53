"""What one would write first: the same worst margins by plain loops, and by plain numpy.

Both know the excuses of the editions, and no relief for short links: they are
for rule sets without one. Limits at the measured frequencies are given to them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import inf, log10
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain.grading.categories import JUDGED
from fourpair_service.domain.grading.margins import axis_limits
from fourpair_service.domain.limits import Category, RuleSet
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, End, next_combination
from fourpair_service.domain.measurement import FloatArray, LinkMeasurement
from fourpair_service.domain.parameters import Parameter

Key: TypeAlias = tuple[str, Parameter, End | None]
Worst: TypeAlias = dict[Key, tuple[float, float]]
"""By category, parameter and end: worst margin [dB] and its frequency [MHz]."""

Curve: TypeAlias = FloatArray | list[float]
Curves: TypeAlias = dict[tuple[Parameter, End | None, str], Curve]
ENDS = (End.NEAR, End.FAR)


@dataclass(frozen=True, slots=True)
class Limits:
    """One category at the frequencies of the links."""

    category: Category
    window: slice
    at: Mapping[Parameter, list[float]]

    @property
    def below_next(self) -> float:
        """The loss below which NEXT and what follows from it is excused. [dB]."""
        return self.category.rules.next_below_loss_db.value or -inf

    def judged(self) -> list[Parameter]:
        """Return the parameters that have a limit and count."""
        return [p for p in self.at if p in LOOPS and self.category.statuses.get(p) in JUDGED]


def limits_of(rule_set: RuleSet, link: LinkMeasurement) -> list[Limits]:
    """Return the limits of all categories, signed so that a larger value is better."""
    axis = link.curves[(Parameter.INSERTION_LOSS, None)][0].frequency_mhz
    found = []
    for category in rule_set.categories.values():
        if category.missing is None:
            limits = axis_limits(rule_set, category, link.configuration, axis)
            at = {parameter: limit.tolist() for parameter, limit in limits.limit.items()}
            found.append(Limits(category, limits.window, at))
    return found


def curves_of(link: LinkMeasurement, made: Callable[[FloatArray], Curve]) -> tuple[Curve, Curves]:
    """Return the axis and the curves of a link measured on one axis, as lists or as arrays."""
    groups = {key: group for key, (group,) in link.curves.items()}
    axis = next(iter(groups.values())).frequency_mhz
    return made(axis), {
        (parameter, end, key): made(group.value_db[row])
        for (parameter, end), group in groups.items()
        for row, key in enumerate(group.keys)
    }


def _loss(curves: Curves, pair: str) -> Curve:
    return curves[(Parameter.INSERTION_LOSS, None, pair)]


def _next_keys(pair: str) -> list[str]:
    return [next_combination(pair, other) for other in PAIRS if other != pair]


def _fext_keys(pair: str) -> list[str]:
    return [f"{other}>{pair}" for other in PAIRS if other != pair]


# By plain loops: every value by itself.


def _sum_of(curves: Curves, parameter: Parameter, end: End | None, keys: list[str], i: int) -> float:
    return -10 * log10(sum(10 ** (-curves[(parameter, end, key)][i] / 10) for key in keys))


def _loop_losses(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    yield from (-_loss(curves, pair)[i] for pair in PAIRS)


def _loop_return_losses(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for pair in PAIRS:
        if not _loss(curves, pair)[i] < (limits.category.rules.return_loss_below_loss_db.value or -inf):
            yield curves[(Parameter.RETURN_LOSS, end, pair)][i]


def _loop_next(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for key in NEXT_COMBINATIONS:
        if not all(_loss(curves, pair)[i] < limits.below_next for pair in key.split("-")):
            yield curves[(Parameter.NEXT, end, key)][i]


def _loop_acr_n(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for pair in PAIRS:
        if not _loss(curves, pair)[i] < limits.below_next:
            for key in _next_keys(pair):
                yield curves[(Parameter.NEXT, end, key)][i] - _loss(curves, pair)[i]


def _loop_acr_f(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for key in FEXT_COMBINATIONS:
        value = curves[(Parameter.FEXT, end, key)][i]
        if not value > (limits.category.rules.acr_f_above_fext_db.value or inf):
            yield value - _loss(curves, key.split(">")[1])[i]


def _loop_ps_next(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for pair in PAIRS:
        if not _loss(curves, pair)[i] < limits.below_next:
            yield _sum_of(curves, Parameter.NEXT, end, _next_keys(pair), i)


def _loop_ps_acr_n(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for pair in PAIRS:
        loss = _loss(curves, pair)[i]
        if not loss < limits.below_next:
            yield _sum_of(curves, Parameter.NEXT, end, _next_keys(pair), i) - loss


def _loop_ps_acr_f(curves: Curves, limits: Limits, end: End | None, i: int) -> Iterator[float]:
    for pair in PAIRS:
        together = _sum_of(curves, Parameter.FEXT, end, _fext_keys(pair), i)
        if not together > (limits.category.rules.ps_acr_f_above_ps_fext_db.value or inf):
            yield together - _loss(curves, pair)[i]


LOOPS: Final = {
    Parameter.INSERTION_LOSS: _loop_losses,
    Parameter.RETURN_LOSS: _loop_return_losses,
    Parameter.NEXT: _loop_next,
    Parameter.PS_NEXT: _loop_ps_next,
    Parameter.ACR_N: _loop_acr_n,
    Parameter.PS_ACR_N: _loop_ps_acr_n,
    Parameter.ACR_F: _loop_acr_f,
    Parameter.PS_ACR_F: _loop_ps_acr_f,
}


def by_loops(axis: Curve, curves: Curves, all_limits: list[Limits]) -> Worst:
    """Return the worst margins of one link by loops over lists of numbers."""
    found: Worst = {}
    for limits in all_limits:
        for parameter in limits.judged():
            for end in (None,) if parameter is Parameter.INSERTION_LOSS else ENDS:
                worst, at = inf, 0
                for i in range(limits.window.start, limits.window.stop):
                    limit = limits.at[parameter][i - limits.window.start]
                    for value in LOOPS[parameter](curves, limits, end, i):
                        if value - limit < worst:
                            worst, at = value - limit, i
                if worst != inf:
                    found[(limits.category.name, parameter, end)] = (worst, axis[at])
    return found


# By plain numpy: a curve at a time, one category after the other.


def _together(curves: Curves, parameter: Parameter, end: End | None, keys: list[str]) -> FloatArray:
    rows = np.array([curves[(parameter, end, key)] for key in keys])
    return np.asarray(-10 * np.log10(np.sum(10 ** (-rows / 10), axis=0)))


def _array_values(
    curves: Curves, limits: Limits, parameter: Parameter, end: End | None
) -> Iterator[FloatArray]:
    """Yield the signed curves of one parameter, +inf where they are excused."""
    rules = limits.category.rules
    loss = {pair: np.asarray(_loss(curves, pair)) for pair in PAIRS}
    if parameter is Parameter.INSERTION_LOSS:
        yield from (-loss[pair] for pair in PAIRS)
    elif parameter is Parameter.RETURN_LOSS:
        for pair in PAIRS:
            short = loss[pair] < (rules.return_loss_below_loss_db.value or -inf)
            yield np.where(short, inf, curves[(parameter, end, pair)])
    elif parameter is Parameter.NEXT:
        for key in NEXT_COMBINATIONS:
            first, second = (loss[pair] < limits.below_next for pair in key.split("-"))
            yield np.where(first & second, inf, curves[(parameter, end, key)])
    elif parameter is Parameter.ACR_F:
        for key in FEXT_COMBINATIONS:
            value = np.asarray(curves[(Parameter.FEXT, end, key)])
            far = value > (rules.acr_f_above_fext_db.value or inf)
            yield np.where(far, inf, value - loss[key.split(">")[1]])
    elif parameter is Parameter.PS_ACR_F:
        for pair in PAIRS:
            value = _together(curves, Parameter.FEXT, end, _fext_keys(pair))
            far = value > (rules.ps_acr_f_above_ps_fext_db.value or inf)
            yield np.where(far, inf, value - loss[pair])
    else:
        yield from _array_next_sums(curves, loss, limits.below_next, parameter, end)


def _array_next_sums(
    curves: Curves, loss: Mapping[str, FloatArray], below: float, parameter: Parameter, end: End | None
) -> Iterator[FloatArray]:
    for pair in PAIRS:
        keys = _next_keys(pair)
        if parameter is Parameter.ACR_N:
            values = [curves[(Parameter.NEXT, end, key)] - loss[pair] for key in keys]
        else:
            together = _together(curves, Parameter.NEXT, end, keys)
            values = [together - loss[pair] if parameter is Parameter.PS_ACR_N else together]
        yield from (np.where(loss[pair] < below, inf, value) for value in values)


def by_arrays(axis: Curve, curves: Curves, all_limits: list[Limits]) -> Worst:
    """Return the worst margins of one link by numpy, a curve and a category at a time."""
    found: Worst = {}
    for limits in all_limits:
        for parameter in limits.judged():
            limit = np.array(limits.at[parameter])
            for end in (None,) if parameter is Parameter.INSERTION_LOSS else ENDS:
                worst, at = inf, 0
                for value in _array_values(curves, limits, parameter, end):
                    margin = value[limits.window] - limit
                    i = int(np.argmin(margin))
                    if margin[i] < worst:
                        worst, at = float(margin[i]), i + limits.window.start
                if worst != inf:
                    found[(limits.category.name, parameter, end)] = (worst, float(axis[at]))
    return found
