"""A made-up edition with flat limits, and links with flat curves: every margin is a whole number.

Limits: insertion loss at most 20 dB, every other curve in dB at least 30 dB, return
loss at least 10 dB. The sound link has 10 dB of insertion loss, 60 dB of NEXT and 70 dB
of FEXT on every pair, 20 dB of return loss, and readings well inside.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.limits import (
    Basis,
    Category,
    CoverageStep,
    CurveLimit,
    EvaluationRules,
    ReadingLimit,
    Rule,
    RuleSet,
    Segment,
    Status,
)
from fourpair_service.domain.link import PAIRS, PINS, Configuration, End
from fourpair_service.domain.measurement import (
    Cable,
    CurveGroup,
    Instrument,
    LinkMeasurement,
    PairReadings,
    WireMap,
)
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.domain.verdict import Requirement

AXIS = np.array([1.0, *range(10, 101, 10)])
LINK = Configuration.PERMANENT_LINK
STRAIGHT = WireMap(tuple((pin, pin) for pin in PINS))
ASKED = Requirement("X")

CURVE_LIMITS = {
    Parameter.INSERTION_LOSS: 20.0,
    Parameter.NEXT: 30.0,
    Parameter.PS_NEXT: 30.0,
    Parameter.ACR_N: 30.0,
    Parameter.PS_ACR_N: 30.0,
    Parameter.ACR_F: 30.0,
    Parameter.PS_ACR_F: 30.0,
    Parameter.RETURN_LOSS: 10.0,
    Parameter.PROPAGATION_DELAY: 500.0,
}
READING_LIMITS = {
    Parameter.LENGTH: 90.0,
    Parameter.DELAY_SKEW: 44.0,
    Parameter.DC_LOOP_RESISTANCE: 21.0,
}
REQUIRED = (Parameter.WIRE_MAP, *CURVE_LIMITS, *READING_LIMITS)
NONE = Rule(None, "no such rule", Basis.PUBLISHED)

SOUND = {
    Parameter.INSERTION_LOSS: 10.0,
    Parameter.NEXT: 60.0,
    Parameter.FEXT: 70.0,
    Parameter.RETURN_LOSS: 20.0,
}
READINGS = PairReadings(length_m=50.0, delay_ns=250.0, loop_resistance_ohm=8.0)


def rules(**changes):
    """The switches of the edition: no excuses, delay at 10 MHz, steps of 10 MHz."""
    plain = EvaluationRules(
        return_loss_below_loss_db=NONE,
        next_below_loss_db=NONE,
        acr_f_above_fext_db=NONE,
        ps_acr_f_above_ps_fext_db=NONE,
        acr_f_loss_of="disturbed",
        acr_f_loss_of_source="made up",
        delay_at_mhz=Rule(10.0, "made up", Basis.PUBLISHED),
        coverage=(CoverageStep(2000.0, 10.0),),
        coverage_source="made up",
    )
    return replace(plain, **changes)


def rule(value):
    return Rule(value, "the made-up rule book", Basis.PUBLISHED)


def segment(value, start=1.0, stop=100.0, basis=Basis.PUBLISHED):
    return Segment(start, stop, "constant", {"value": value}, "made up", basis, clause="1.2")


def curve(parameter, *segments, category="X"):
    return CurveLimit(parameter, category, LINK.value, segments)


def category(name="X", required=REQUIRED, judged=(), switches=None, top_mhz=100.0, missing=None):
    statuses = dict.fromkeys(required, Status.REQUIRED) | dict.fromkeys(judged, Status.JUDGED_IF_PRESENT)
    return Category(name, f"category {name}", 1.0, top_mhz, statuses, switches or rules(), missing)


def edition(*categories, curves=(), readings=(), basis=Basis.PUBLISHED, gradable=True, **fields):
    """A rule set; ``curves`` and ``readings`` replace limits, ``fields`` make category X."""
    categories = categories or (category(**fields),)
    curve_limits, reading_limits = {}, {}
    for each in categories:
        if each.missing is not None:
            continue
        for parameter, value in CURVE_LIMITS.items():
            found = curve(parameter, segment(value, stop=each.to_mhz, basis=basis), category=each.name)
            curve_limits[(each.name, LINK.value, parameter.value)] = found
        for parameter, value in READING_LIMITS.items():
            found = ReadingLimit(parameter, each.name, LINK.value, value, "made up", basis)
            reading_limits[(each.name, LINK.value, parameter.value)] = found
    curve_limits |= {(c.category, LINK.value, c.parameter.value): c for c in curves}
    reading_limits |= {(r.category, LINK.value, r.parameter.value): r for r in readings}
    return RuleSet(
        "made-up-2020",
        "MADE-UP",
        "the made-up edition",
        "sha256:0",
        {each.name: each for each in categories},
        curve_limits,
        reading_limits,
        gradable=gradable,
    )


def at(value, frequency_mhz, sound, axis=AXIS):
    """(n,) a flat curve with another value at one frequency."""
    return np.where(axis == frequency_mhz, value, sound)


def link(changes=None, *, without=(), axis=AXIS, sound=SOUND, accuracy=None, **fields):
    """A link with flat curves.

    Args:
        changes: by (parameter, end, key), or (parameter, end) for all keys, another value or curve.
        without: (parameter, end) or (parameter, end, key) that were not measured.
        sound: values of what is not changed.
    """
    changes, curves = changes or {}, {}
    for parameter, value in sound.items():
        for end in End if TRAITS[parameter].has_ends else (None,):
            rows = {
                key: changes.get((parameter, end, key), changes.get((parameter, end), value))
                for key in TRAITS[parameter].keys
                if (parameter, end) not in without and (parameter, end, key) not in without
            }
            if rows:
                values = np.stack([np.broadcast_to(np.asarray(v, float), axis.shape) for v in rows.values()])
                curves[(parameter, end)] = (CurveGroup(axis, tuple(rows), values),)
    known = {
        "configuration": LINK,
        "wire_map": STRAIGHT,
        "readings": dict.fromkeys(PAIRS, READINGS),
        "cable": Cable(nvp=0.667),
        "instrument": Instrument(accuracy=accuracy or {}),
        "curves": curves,
    }
    return LinkMeasurement(**(known | fields))


def verdict_of(measurement=None, rule_set=None, requirement=ASKED, **more):
    return grade(link() if measurement is None else measurement, rule_set or edition(), requirement, **more)


def result(verdict, parameter, end=None):
    """The one result of a parameter and end."""
    (found,) = [r for r in verdict.parameters if (r.parameter, r.end) == (parameter, end)]
    return found


def codes(verdict):
    return [caution.code for caution in verdict.cautions]
