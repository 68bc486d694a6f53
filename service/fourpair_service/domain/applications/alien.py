"""Noise from other cables: measured, kept away by design, or open.

Without a measurement the declared cable and connectors decide, never what the
sweeps happen to meet: a cable that is not declared counts as unscreened and
below category 6A, and the answer says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from fourpair_service.domain.applications.data import AlienLine, AlienRules, Application
from fourpair_service.domain.applications.segment import ALIEN, LimitPoint, LinkTables, worst_of_group
from fourpair_service.domain.grading.rows import ENDS
from fourpair_service.domain.grading.timing import length_m
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import WireMapResult
from fourpair_service.domain.wiremap import WireMapFault

_CATEGORY_WORDS: Final = re.compile(r"category|class|cat\.?|\s", re.IGNORECASE)


class AlienState(StrEnum):
    """What is known of the noise from other cables."""

    NOT_ASKED = "not_asked"
    IN_CHECK = "in_check"
    OPEN = "open"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class AlienAnswer:
    """What noise from other cables means for an application.

    Attributes:
        sentences: why.
        point: the worst measured point.
    """

    state: AlienState
    sentences: tuple[str, ...] = ()
    point: LimitPoint | None = None


@dataclass(frozen=True, slots=True)
class Declared:
    """What the cabling is said to be.

    Attributes:
        cable, connectors: category, ``None`` where not declared.
        is_screened: with a screen that reaches the far end where that was tested.
        has_broken_screen: a screen that does not.
    """

    cable: str | None
    connectors: str | None
    is_screened: bool
    has_broken_screen: bool = False


def declared(
    measurement: LinkMeasurement, wire_map: WireMapResult, connectors: str | None = None
) -> Declared:
    """Return what a measurement declares of its cabling.

    Args:
        measurement: cable category and screening.
        wire_map: whether the screen is whole.
        connectors: category of the connectors, where declared.
    """
    broken = any(f.kind is WireMapFault.OPEN_SHIELD for f in wire_map.findings)
    screened = bool(measurement.cable.is_screened)
    return Declared(measurement.cable.category, connectors, screened and not broken, screened and broken)


def category_word(text: str) -> str:
    """Return a category or class without the words around it.

    >>> category_word("Cat. 6a"), category_word("class EA")
    ('6A', 'EA')
    """
    return _CATEGORY_WORDS.sub("", text).upper()


def judge_alien(
    link: LinkTables, application: Application, rules: AlienRules, cabling: Declared
) -> AlienAnswer:
    """Return what noise from other cables means for an application on a link, cords included."""
    if application.alien is AlienLine.NONE:
        return AlienAnswer(AlienState.NOT_ASKED)
    points = _measured(link, application, rules)
    if points:
        return _by_measurement(application, min(points, key=lambda point: point.margin))
    by_design = _by_design(rules, cabling)
    if by_design is not None:
        return AlienAnswer(AlienState.IN_CHECK, (by_design,))
    return AlienAnswer(AlienState.OPEN, tuple(_open(link.measurement, application, rules, cabling)))


def alien_state(
    link: LinkTables, application: Application, rules: AlienRules, cabling: Declared
) -> AlienState:
    """Return the state that :func:`judge_alien` gives, without the sentences where nothing was measured."""
    if application.alien is AlienLine.NONE:
        return AlienState.NOT_ASKED
    if _was_measured(link):
        return judge_alien(link, application, rules, cabling).state
    return AlienState.OPEN if _by_design(rules, cabling) is None else AlienState.IN_CHECK


def _was_measured(link: LinkTables) -> bool:
    return all((parameter, end) in link.measured.curves for parameter in ALIEN for end in ENDS)


def _measured(link: LinkTables, application: Application, rules: AlienRules) -> list[LimitPoint]:
    """Return the worst point of each alien parameter and end, nothing where any is missing."""
    if not _was_measured(link):
        return []
    points = []
    for parameter in ALIEN:
        drop = _relief_db(link, application, rules) if parameter is Parameter.PS_ANEXT else 0.0
        for end in ENDS:
            point = worst_of_group(link, application, application.limits[parameter], end, drop_db=drop)
            if point is None:
                return []
            points.append(point)
    return points


def _relief_db(link: LinkTables, application: Application, rules: AlienRules) -> float:
    if application.alien is not AlienLine.REQUIRED:
        return 0.0
    losses = []
    for pair in PAIRS:
        sweep = link.measurement.sweep(Parameter.INSERTION_LOSS, None, pair)
        if sweep is None or sweep.frequency_mhz[-1] < rules.relief.loss_at_mhz:
            return 0.0
        losses.append(float(np.interp(rules.relief.loss_at_mhz, sweep.frequency_mhz, sweep.value_db)))
    return rules.relief.drop_db(max(losses))


def _by_measurement(application: Application, worst: LimitPoint) -> AlienAnswer:
    title = TRAITS[worst.parameter].title
    where = f"{title} at the {worst.end} end on {worst.pairs} at {worst.frequency_mhz:.4g} MHz"
    if worst.margin >= 0:
        text = f"Alien crosstalk was measured: {where} is {worst.margin:.1f} dB inside its limit."
        return AlienAnswer(AlienState.IN_CHECK, (text,), worst)
    if application.alien is AlienLine.REQUIRED:
        text = f"Alien crosstalk was measured: {where} is {-worst.margin:.1f} dB outside its limit."
        return AlienAnswer(AlienState.OUTSIDE, (text,), worst)
    text = (
        f"Alien crosstalk was measured: {where} is {-worst.margin:.1f} dB outside the line of a category 6A "
        f"channel, which would be enough; the test that {application.name} itself asks for is not built in."
    )
    return AlienAnswer(AlienState.OPEN, (text,), worst)


def _by_design(rules: AlienRules, cabling: Declared) -> str | None:
    """Return why no measurement is needed, or ``None`` where one is."""
    connectors = cabling.connectors
    if connectors is not None and category_word(connectors) not in rules.categories:
        return None
    unnamed = "" if connectors else "; the connectors are not declared and taken to be like the cable"
    if cabling.is_screened:
        return f"Alien crosstalk was not measured; {rules.screened.text}{unnamed}."
    if cabling.cable is not None and category_word(cabling.cable) in rules.categories:
        return (
            f"Alien crosstalk was not measured; the cable is declared as category or class "
            f"{category_word(cabling.cable)}, which limits it by design{unnamed}."
        )
    return None


def _open(
    measurement: LinkMeasurement, application: Application, rules: AlienRules, cabling: Declared
) -> list[str]:
    sentences = ["Alien crosstalk was not measured."]
    if cabling.has_broken_screen:
        sentences.append("The screen does not reach the far end, so it does not count.")
    elif cabling.cable is None:
        sentences.append("The cable is not declared, so it counts as unscreened and below category 6A.")
    else:
        sentences.append("The declared cabling counts as unscreened and below category 6A.")
    sentences += _by_length(measurement, application, rules)
    sentences.append(f"What helps: {rules.condition.text}.")
    return sentences


def link_length_m(measurement: LinkMeasurement) -> float | None:
    """Return the length of the shortest pair, ``None`` where it is not known. [m]."""
    lengths = [length_m(measurement, pair) for pair in PAIRS]
    return min((length for length in lengths if length is not None), default=None)


def _by_length(measurement: LinkMeasurement, application: Application, rules: AlienRules) -> list[str]:
    rows = [row for row in rules.lengths if row.application == application.name]
    if not rows:
        return []
    length = link_length_m(measurement)
    if length is None:
        return ["Its length is not known, on which the alien crosstalk depends."]
    row = next(row for row in rows if row.up_to_m is None or length <= row.up_to_m)
    return [f"From end to end it is {length:.0f} m: {row.advice.text}."]
