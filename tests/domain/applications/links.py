"""Links that lie a chosen margin inside the limits of a category, and what is needed to judge them."""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from fourpair_service.domain.applications.support import (
    assess_applications,
    end_to_end,
    supported_applications,
)
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, PINS, Configuration, End
from fourpair_service.domain.measurement import Cable, CurveGroup, LinkMeasurement, PairReadings, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.support import Support
from fourpair_service.domain.verdict import Requirement
from fourpair_service.rulesets.application_reader import read_applications
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.facts_reader import read_cable_facts

DATA = read_applications()
FACTS = read_cable_facts()
EDITIONS = Catalogue.load(None)
TIA = EDITIONS.get("tia-568.2-d-2018")
ISO = EDITIONS.get("iso-11801-1-2017")

STRAIGHT = WireMap(tuple((pin, pin) for pin in PINS))
THREE_EQUAL_DB = 10 * np.log10(3)
LIMITS = {"5e": 100.0, "6": 250.0, "6A": 500.0, "3": 16.0}


@lru_cache(maxsize=8)
def axis_to(top_mhz):
    parts = [
        np.arange(1, 31.25, 0.15),
        np.arange(31.25, 100, 0.25),
        np.arange(100, 250, 0.5),
        np.arange(250, 500.5, 1.0),
    ]
    axis = np.concatenate(parts)
    return np.append(axis[axis < top_mhz], top_mhz)


def limit_at(category, parameter, f, configuration=Configuration.CHANNEL):
    return TIA.curve(category, configuration, parameter).at(f)


def _group(f, keys, value):
    return (CurveGroup(f, keys, np.tile(value, (len(keys), 1))),)


def link_inside(
    category,
    *,
    margin_db=1.0,
    loss_share=0.9,
    configuration=Configuration.CHANNEL,
    top_mhz=None,
    cable=None,
    length_m=80.0,
    delay_ns=450.0,
):
    """Return a link whose losses are a share of the limit and whose other curves a margin inside theirs.

    The curves of a category carry on above its own range with those of category 6A, where ``top_mhz`` asks.
    """
    top = LIMITS[category] if top_mhz is None else top_mhz
    f = axis_to(top)
    own = f <= LIMITS[category]

    def limit(parameter):
        upper = limit_at("6A", parameter, f, configuration)
        return np.where(own, limit_at(category, parameter, f, configuration), upper)

    loss = loss_share * limit(Parameter.INSERTION_LOSS)
    near = limit(Parameter.PS_NEXT) + THREE_EQUAL_DB + margin_db
    far = limit(Parameter.PS_ACR_F) + THREE_EQUAL_DB + margin_db + loss
    reflection = limit(Parameter.RETURN_LOSS) + margin_db
    curves = {(Parameter.INSERTION_LOSS, None): _group(f, PAIRS, loss)}
    for end in End:
        curves[(Parameter.NEXT, end)] = _group(f, NEXT_COMBINATIONS, near)
        curves[(Parameter.FEXT, end)] = _group(f, FEXT_COMBINATIONS, far)
        curves[(Parameter.RETURN_LOSS, end)] = _group(f, PAIRS, reflection)
    return LinkMeasurement(
        configuration,
        label="1A-01",
        cable=Cable() if cable is None else cable,
        wire_map=STRAIGHT,
        readings={
            pair: PairReadings(length_m=length_m, delay_ns=delay_ns + i, loop_resistance_ohm=14.0)
            for i, pair in enumerate(PAIRS)
        },
        curves=curves,
    )


def with_curve(link, parameter, end, key, change):
    """Return a link with one curve changed by ``change(frequency_mhz, value_db)``."""
    curves = dict(link.curves)
    (group,) = curves[(parameter, end)]
    value = group.value_db.copy()
    row = group.keys.index(key)
    value[row] = change(group.frequency_mhz, value[row])
    curves[(parameter, end)] = (CurveGroup(group.frequency_mhz, group.keys, value),)
    return replace(link, curves=curves)


def with_alien(link, level_db, far_level_db=40.0, top_mhz=500.0):
    """Return a link with alien crosstalk of a level at 100 MHz, measured from both ends."""
    f = axis_to(top_mhz)
    curves = dict(link.curves)
    slope = np.where(f < 100, 10, 15) * np.log10(f / 100)
    for end in End:
        curves[(Parameter.PS_ANEXT, end)] = _group(f, PAIRS, level_db - slope)
        curves[(Parameter.PS_AACR_F, end)] = _group(f, PAIRS, far_level_db - 20 * np.log10(f / 100))
    return replace(link, curves=curves)


def verdict_of(link, category, rule_set=TIA):
    return grade(link, rule_set, Requirement(category))


def answers(link, category, *, rule_set=TIA, cords_m=None, connectors=None, data=DATA):
    """Return the answers for a link by the name of the application."""
    verdict = verdict_of(link, category, rule_set)
    stated = None if cords_m is None else StatedCords(cords_m)
    whole = end_to_end(link, verdict, rule_set, data, FACTS, stated)
    found = assess_applications(link, verdict, whole, data, connectors)
    again = end_to_end(link, verdict, rule_set, data, FACTS, stated)
    alone = supported_applications(link, verdict, again, data, connectors)
    # The short way must say yes to the same ones, on every link of these tests.
    assert [a.name for a in alone] == [a.application.name for a in found if a.state is Support.SUPPORTED]
    return {answer.application.name: answer for answer in found}


def states(link, category, **options):
    return {name: answer.state.value for name, answer in answers(link, category, **options).items()}
