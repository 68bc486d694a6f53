"""What would the margins be without a connector, in the heat, with more cord: a prediction, never a verdict.

The standards scale insertion loss with temperature when a link is designed;
a field limit is never corrected. So the limits here are those of the edition,
held against scaled values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from fourpair_service.domain.applications.alien import category_word
from fourpair_service.domain.applications.design import (
    at_temperature,
    cable_curves,
    designed,
    with_cords,
)
from fourpair_service.domain.applications.without_place import without_place
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.errors import InvalidMeasurementError, InvalidRequirementError
from fourpair_service.domain.facts import CableFacts, TemperatureTable
from fourpair_service.domain.grading.categories import JUDGED
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.link import CONFIGURATION_TITLES, Configuration, End
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import Requirement
from fourpair_service.domain.verdict_document import rounded

# Temperature that limits and tables refer to. [°C]
REFERENCE_C: Final = 20.0
LONGEST_CORDS_M: Final = 100.0
LOWEST_CATEGORIES: Final = frozenset({"3", "C"})
NOTICE: Final = "A prediction by the design rules of the standards, not a measurement and not a verdict."


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is asked; ``None`` leaves it as it is.

    Attributes:
        temperature_c: of the cable. [°C]
        added_cord_m: stranded cord in addition to what was measured. [m]
        without_m: a place on the link, from the near end, whose connector or other
            disturbance is to be thought away. [m]
    """

    temperature_c: float | None = None
    added_cord_m: float | None = None
    without_m: float | None = None


@dataclass(frozen=True, slots=True)
class PredictedMargin:
    """The smallest margin of one parameter and end; it has no outcome.

    Attributes:
        margin: predicted, in the unit of the parameter; positive inside the limit.
        value: predicted.
        limit: of the edition.
        as_measured: the margin that was measured, against the limits of what was
            measured; ``None`` where there is none.
    """

    parameter: Parameter
    end: End | None
    pairs: str | None
    frequency_mhz: float | None
    margin: float
    value: float
    limit: float
    as_measured: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """The same link under other circumstances.

    Attributes:
        measurement: predicted; its label and instrument say so.
        margins: against the limits of the configuration that it then is.
        assumptions: what was scaled and by which rule, as sentences.
    """

    measurement: LinkMeasurement
    margins: tuple[PredictedMargin, ...]
    assumptions: tuple[str, ...]


def predict(
    measurement: LinkMeasurement,
    asked: WhatIf,
    rule_set: RuleSet,
    requirement: Requirement,
    facts: CableFacts,
) -> Prediction:
    """Return a link as it would be under other circumstances.

    Args:
        measurement: the link as measured.
        asked: what to change; a place first, then temperature, then cords.
        rule_set: limits, cable, stranded factor.
        requirement: which category to hold it against.
        facts: temperature tables, wire and gauge of cords, stranded factors.

    Raises:
        InvalidRequirementError: nothing is asked, a value lies outside what the
            design rules print, or the edition does not say how its cable loses.
    """
    if asked == WhatIf():
        detail = "Say what to change: a temperature, a length of cord to add, or a place to think away; or several."
        raise InvalidRequirementError("/what_if", detail)
    link, said = measurement, []
    if asked.without_m is not None:
        link, sentence = _without(link, asked.without_m, facts)
        said.append(sentence)
    if asked.temperature_c is not None:
        link, sentence = _warmer(link, asked.temperature_c, requirement, facts)
        said.append(sentence)
    if asked.added_cord_m is not None:
        link, sentence = _longer(link, asked.added_cord_m, rule_set, requirement, facts)
        said.append(sentence)
    link = replace(link, label=measurement.label and f"{measurement.label} (predicted)")
    measured = _worst_margins(measurement, rule_set, requirement)
    return Prediction(link, _margins(link, rule_set, requirement, measured), tuple(said))


def _without(measurement: LinkMeasurement, place_m: float, facts: CableFacts) -> tuple[LinkMeasurement, str]:
    nvp = measurement.cable.nvp or facts.nvp_typical.value
    try:
        left = without_place(measurement, place_m, nvp)
    except InvalidMeasurementError as error:
        detail = f"{error.detail[0].upper()}{error.detail[1:]}."
        raise InvalidRequirementError("/what_if/without_m", detail, place_m) from None
    if left is None:
        raise InvalidRequirementError(
            "/what_if/without_m",
            "Nothing can be taken out: that needs return loss or NEXT as complex values (re and im), and "
            "insertion loss as complex values with the length of an intact pair.",
            place_m,
        )
    return left.measurement, left.sentence()


def _table(
    measurement: LinkMeasurement, requirement: Requirement, facts: CableFacts
) -> tuple[str, TemperatureTable]:
    category = category_word(measurement.cable.category or requirement.category)
    if category in LOWEST_CATEGORIES:
        kind = "category_3"
    else:
        kind = "screened" if measurement.cable.is_screened else "unscreened"
    return kind.replace("_", " "), facts.insertion_loss_temperature[kind]


def _warmer(
    measurement: LinkMeasurement, temperature_c: float, requirement: Requirement, facts: CableFacts
) -> tuple[LinkMeasurement, str]:
    kind, table = _table(measurement, requirement, facts)
    low, high = table.steps[0].from_c, table.steps[-1].to_c
    if not low <= temperature_c <= high:
        raise InvalidRequirementError(
            "/what_if/temperature_c",
            f"The design rule for {kind} cable is printed from {low:g} to {high:g} °C; ask within that.",
            temperature_c,
        )
    stated = measurement.cable.temperature_c
    measured_c = REFERENCE_C if stated is None else stated
    loss = table.loss_factor(temperature_c) / table.loss_factor(measured_c)
    copper = facts.copper_resistance_factor(temperature_c) / facts.copper_resistance_factor(measured_c)
    whence = f"measured at {measured_c:g} °C" if stated is not None else "taken as measured at 20 °C"
    sentence = (
        f"At {temperature_c:g} °C instead of the link being {whence}: insertion loss times {loss:.3f} "
        f"({kind} cable: {table.source}), resistance times {copper:.3f}; delay, NEXT, ACR-F and return loss "
        f"as measured."
    )
    warmer = at_temperature(measurement, loss, copper)
    return replace(warmer, cable=replace(measurement.cable, temperature_c=temperature_c)), sentence


def _longer(
    measurement: LinkMeasurement,
    added_m: float,
    rule_set: RuleSet,
    requirement: Requirement,
    facts: CableFacts,
) -> tuple[LinkMeasurement, str]:
    if not 0 < added_m <= LONGEST_CORDS_M:
        detail = f"Cords to add are above 0 and at most {LONGEST_CORDS_M:g} m."
        raise InvalidRequirementError("/what_if/added_cord_m", detail, added_m)
    title = CONFIGURATION_TITLES[measurement.configuration]
    if measurement.configuration is Configuration.PATCH_CORD:
        detail = f"A {title} is a cord itself; ask for a link or a channel."
        raise InvalidRequirementError("/what_if/added_cord_m", detail, added_m)
    cable = cable_curves(rule_set, requirement.category)
    if cable is None:
        detail = f"{rule_set.title} does not say how the cable of its links loses, so no cord can be added."
        raise InvalidRequirementError("/what_if/added_cord_m", detail, added_m)
    cords = designed(StatedCords(added_m), rule_set, facts, is_stated=True)
    sentence = (
        f"With {added_m:g} m of stranded cord more: the loss of cable of this category times "
        f"{cords.stranded_factor.value:g} ({cords.stranded_factor.source}), its delay, and "
        f"{cords.loop_ohm_per_m.value:g} ohm a metre and pair; NEXT, ACR-F and return loss as measured."
    )
    if measurement.configuration is not Configuration.CHANNEL:
        sentence += f" A {title} with cords is held against the limits of a channel."
    return with_cords(measurement, cords, cable), sentence


Place = tuple[Parameter, End | None]


def _worst_margins(
    link: LinkMeasurement, rule_set: RuleSet, requirement: Requirement
) -> dict[Place, float | None]:
    results = grade(link, rule_set, requirement).parameters
    return {(r.parameter, r.end): r.worst_margin.margin for r in results if r.worst_margin}


def _margins(
    link: LinkMeasurement,
    rule_set: RuleSet,
    requirement: Requirement,
    measured: Mapping[Place, float | None],
) -> tuple[PredictedMargin, ...]:
    verdict = grade(link, rule_set, requirement)
    found = []
    for result in verdict.parameters:
        point = result.worst_margin
        if result.status in JUDGED and point and point.margin is not None and point.limit is not None:
            found.append(
                PredictedMargin(
                    result.parameter, result.end, point.pairs, point.frequency_mhz,
                    point.margin, point.measured, point.limit,
                    measured.get((result.parameter, result.end)),
                )
            )  # fmt: skip
    return tuple(found)


def what_if_document(prediction: Prediction) -> dict[str, Any]:
    """Return a prediction as a document; it has margins and no outcome."""
    return {
        "predicted": True,
        "notice": NOTICE,
        "label": prediction.measurement.label,
        "configuration": prediction.measurement.configuration.value,
        "assumptions": list(prediction.assumptions),
        "margins": [_margin(margin) for margin in prediction.margins],
    }


def _margin(margin: PredictedMargin) -> dict[str, Any]:
    traits = TRAITS[margin.parameter]
    return {
        "parameter": margin.parameter.value,
        "title": traits.title,
        "end": margin.end.value if margin.end else None,
        "pairs": margin.pairs,
        "frequency_mhz": rounded(margin.frequency_mhz),
        f"margin_{traits.unit}": rounded(margin.margin),
        f"predicted_{traits.unit}": rounded(margin.value),
        f"limit_{traits.unit}": rounded(margin.limit),
        f"margin_as_measured_{traits.unit}": rounded(margin.as_measured),
    }
