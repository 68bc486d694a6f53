"""The switches of an edition, and of the categories that have their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from fourpair_service.domain.limits import (
    Basis,
    CoverageStep,
    EvaluationRules,
    Rule,
    RuleSet,
    ShortLinkRelief,
)
from fourpair_service.rulesets.places import Confirmation, Place

RULE_NAMES: Final = (
    "return_loss_below_loss_db",
    "next_below_loss_db",
    "acr_f_above_fext_db",
    "ps_acr_f_above_ps_fext_db",
    "delay_at_mhz",
)
OTHER_KEYS: Final = ("acr_f_loss_of", "coverage")
RULES_KEYS: Final = {*RULE_NAMES, *OTHER_KEYS, "coverage_source", "short_link_relief"}
LOSS_OF: Final = ("disturbed", "disturbing")
RELIEF_NUMBERS: Final = ("from_mhz", "slope_db", "per_mhz", "loss_at_mhz", "loss_below_db")

Switches = Mapping[str, Any]


class SwitchTable:
    """What the ``rules`` and ``rules_of`` tables of a file say.

    In a file that extends another, the switches given replace those of the
    extended edition, one by one.
    """

    def __init__(self, file: Place, base: RuleSet | None, confirmed: Confirmation) -> None:
        self._file, self._base = file, base
        self._common = read_switches(file.inner("rules"), confirmed) if "rules" in file.table else {}
        own = file.inner("rules_of") if "rules_of" in file.table else None
        self._own = {name: read_switches(own.inner(name), confirmed) for name in own.table} if own else {}

    def names(self) -> tuple[str, ...]:
        """Return the categories that have switches of their own in this file."""
        return tuple(self._own)

    def of(self, category: str) -> EvaluationRules:
        """Return the switches of a category.

        Raises:
            InvalidRuleSetError: some are missing.
        """
        given = {**self._common, **self._own.get(category, {})}
        extended = self._base.categories.get(category) if self._base else None
        if extended is not None:
            return replace(extended.rules, **given)
        missing = [key for key in (*RULE_NAMES, *OTHER_KEYS) if key not in given]
        if missing:
            self._file.refuse(
                "rules",
                f"category {category} has no {', '.join(missing)}; give them in [rules] or, for this "
                f"category alone, in [rules_of.{category}]",
            )
        return EvaluationRules(**given)


def read_switches(place: Place, confirmed: Confirmation) -> Switches:
    """Return the switches that a table gives, by the fields of ``EvaluationRules``.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    place.only(RULES_KEYS)
    found: dict[str, Any] = {
        name: _rule(place.inner(name), confirmed) for name in RULE_NAMES if name in place.table
    }
    if "acr_f_loss_of" in place.table:
        loss_of = place.inner("acr_f_loss_of")
        loss_of.only({"pair", "source", "basis"})
        found |= {
            "acr_f_loss_of": loss_of.word("pair", LOSS_OF),
            "acr_f_loss_of_source": loss_of.text("source"),
        }
        loss_of.basis(confirmed)
    if "coverage" in place.table:
        found |= {"coverage": _coverage(place), "coverage_source": place.text("coverage_source")}
    if "short_link_relief" in place.table:
        found["short_link_relief"] = _relief(place.inner("short_link_relief"), confirmed)
    return found


def confirmed_switches(rules: EvaluationRules) -> EvaluationRules:
    """Return the same switches, each as one that was checked against the standard."""
    relief = rules.short_link_relief
    return replace(
        rules,
        **{name: replace(getattr(rules, name), basis=Basis.PUBLISHED) for name in RULE_NAMES},
        short_link_relief=replace(relief, basis=Basis.PUBLISHED) if relief else None,
    )


def _rule(place: Place, confirmed: Confirmation) -> Rule:
    place.only({"value", "source", "basis"})
    return Rule(place.optional_number("value"), place.text("source"), place.basis(confirmed))


def _relief(place: Place, confirmed: Confirmation) -> ShortLinkRelief:
    place.only({*RELIEF_NUMBERS, "source", "basis"})
    numbers = {key: place.positive(key) for key in RELIEF_NUMBERS}
    return ShortLinkRelief(**numbers, source=place.text("source"), basis=place.basis(confirmed))


def _coverage(place: Place) -> tuple[CoverageStep, ...]:
    steps: list[CoverageStep] = []
    for entry in place.inners("coverage"):
        entry.only({"up_to_mhz", "step_mhz"})
        step = CoverageStep(entry.positive("up_to_mhz"), entry.positive("step_mhz"))
        if steps and step.up_to_mhz <= steps[-1].up_to_mhz:
            entry.refuse(
                "up_to_mhz", f"{step.up_to_mhz:g} MHz is not above the step before; put them in order"
            )
        steps.append(step)
    if not steps:
        place.refuse("coverage", "at least one step is needed here: { up_to_mhz = …, step_mhz = … }")
    return tuple(steps)
