"""The same link at another temperature or with more cord: predictions, never verdicts."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.applications.links import FACTS, TIA, link_inside, verdict_of, with_curve
from fourpair_service.domain.applications.what_if import NOTICE, WhatIf, predict, what_if_document
from fourpair_service.domain.crosstalk import NEXT_DISTURBERS, power_sums
from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.link import PAIRS, Configuration, End
from fourpair_service.domain.measurement import Cable, CurveGroup, PairReadings
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Requirement

LOSS = (Parameter.INSERTION_LOSS, None)


def ask(link, category="5e", rule_set=TIA, **asked):
    return predict(link, WhatIf(**asked), rule_set, Requirement(category), FACTS)


def losses(link):
    return link.curves[LOSS][0].value_db


def margin(prediction, parameter):
    return min(m.margin for m in prediction.margins if m.parameter is parameter)


@pytest.mark.parametrize(
    ("cable", "temperature_c", "factor"),
    [
        # TIA-568-C.2 clause 6.4.7: 0.4 % a degree from 20 to 40, 0.6 % from 40 to 60; screened 0.2 %.
        (Cable(category="5e"), 40, 1.08),
        (Cable(category="5e"), 60, 1.20),
        (Cable(category="6", screening="F/UTP"), 60, 1.08),
        (Cable(category="3"), 40, 1.30),  # 1.5 % a degree, memory
        (Cable(category="5e", temperature_c=40), 60, 1.20 / 1.08),
        (Cable(category="5e", temperature_c=40), 20, 1 / 1.08),
    ],
)
def test_insertion_loss_follows_the_temperature_of_the_design_rule(cable, temperature_c, factor):
    link = link_inside("5e", cable=cable)

    warmer = ask(link, temperature_c=temperature_c).measurement

    assert losses(warmer) == pytest.approx(losses(link) * factor)
    assert warmer.cable.temperature_c == temperature_c


def test_copper_resistance_follows_temperature_and_delay_does_not():
    link = replace(
        link_inside("5e"),
        conductor_resistance_ohm={"1": 7.0},
        unbalance_between_pairs_ohm={"12-36": 0.1},
    )
    link = replace(
        link,
        readings={**link.readings, "78": PairReadings(delay_ns=450.0, resistance_unbalance_ohm=0.1)},
    )

    warmer = ask(link, temperature_c=60).measurement

    copper = 1 + 0.00393 * 40  # memory
    assert warmer.readings["12"].loop_resistance_ohm == pytest.approx(14 * copper)
    assert warmer.readings["78"].resistance_unbalance_ohm == pytest.approx(0.1 * copper)
    assert warmer.conductor_resistance_ohm["1"] == pytest.approx(7 * copper)
    assert warmer.unbalance_between_pairs_ohm["12-36"] == pytest.approx(0.1 * copper)
    assert warmer.readings["12"].delay_ns == link.readings["12"].delay_ns


def test_near_end_crosstalk_and_acr_f_stay_as_measured():
    link = link_inside("5e")

    for asked in ({"temperature_c": 60.0}, {"added_cord_m": 20.0}):
        changed = ask(link, **asked).measurement
        for end in End:
            kept, had = changed.curves[(Parameter.NEXT, end)], link.curves[(Parameter.NEXT, end)]
            assert [g.value_db.tolist() for g in kept] == [g.value_db.tolist() for g in had]
            fext, before = (m.curves[(Parameter.FEXT, end)][0].value_db[0] for m in (changed, link))
            assert fext - losses(changed)[1] == pytest.approx(before - losses(link)[1])


def test_a_pair_without_a_measured_loss_keeps_its_fext():
    link = link_inside("5e")
    (group,) = link.curves[LOSS]
    three = replace(group, keys=group.keys[:3], value_db=group.value_db[:3])
    link = replace(link, curves={**link.curves, LOSS: (three,)})

    warmer = ask(link, temperature_c=60).measurement

    before, after = (m.curves[(Parameter.FEXT, End.NEAR)][0] for m in (link, warmer))
    row = before.keys.index("12>78")
    assert np.array_equal(before.value_db[row], after.value_db[row])


def test_cords_add_loss_delay_length_and_resistance():
    link = replace(link_inside("5e"), conductor_resistance_ohm={"1": 7.0})

    longer = ask(link, added_cord_m=20.0).measurement

    f = link.curves[LOSS][0].frequency_mhz
    added = 1.2 * (1.967 * f**0.5 + 0.023 * f + 0.05 / f**0.5) * 0.2
    assert losses(longer) - losses(link) == pytest.approx(np.tile(added, (4, 1)))
    readings = longer.readings["12"]
    assert readings.length_m == pytest.approx(100)
    # 534 + 36/sqrt(f) ns a 100 m at 10 MHz (TIA-568.2-D).
    assert readings.delay_ns == pytest.approx(450 + 0.2 * (534 + 36 / 10**0.5))
    assert readings.loop_resistance_ohm == pytest.approx(14 + 20 * 0.2678)  # 26 AWG
    assert longer.conductor_resistance_ohm["1"] == pytest.approx(7 + 10 * 0.2678)


def test_a_link_with_cords_is_held_against_the_limits_of_a_channel():
    link = link_inside("5e", configuration=Configuration.PERMANENT_LINK)

    prediction = ask(link, added_cord_m=10.0)

    assert prediction.measurement.configuration is Configuration.CHANNEL
    assert "held against the limits of a channel" in prediction.assumptions[0]
    assert "held against" not in ask(link_inside("5e"), added_cord_m=10.0).assumptions[0]


def test_temperature_and_cords_together_are_told_in_order():
    prediction = ask(link_inside("5e"), temperature_c=40.0, added_cord_m=10.0)

    assert len(prediction.assumptions) == 2
    assert prediction.assumptions[0].startswith(
        "At 40 °C instead of the link being taken as measured at 20 °C"
    )
    assert prediction.measurement.label == "1A-01 (predicted)"


def test_the_temperature_of_the_measurement_is_named_where_it_is_stated():
    link = link_inside("5e", cable=Cable(temperature_c=25))

    assert "measured at 25 °C" in ask(link, temperature_c=40.0).assumptions[0]


def test_a_prediction_is_marked_and_has_margins_and_no_outcome():
    link = with_curve(link_inside("5e"), Parameter.INSERTION_LOSS, None, "12", lambda f, v: v)
    link = replace(link, label=None)
    prediction = ask(link, temperature_c=60.0)
    document = what_if_document(prediction)

    assert prediction.measurement.label is None
    assert prediction.measurement.instrument.kind == "predicted, not measured"
    assert document["predicted"] is True
    assert document["notice"] == NOTICE
    assert "outcome" not in json.dumps(document)
    assert {m["parameter"] for m in document["margins"]} >= {"insertion_loss", "next", "propagation_delay"}
    (loss,) = (m for m in document["margins"] if m["parameter"] == "insertion_loss")
    assert loss["margin_db"] == pytest.approx(loss["limit_db"] - loss["predicted_db"], abs=0.002)


def test_predicted_curves_carry_no_phase_and_no_supplied_derived_values():
    link = link_inside("5e")
    (group,) = link.curves[LOSS]
    complex_loss = CurveGroup(
        group.frequency_mhz, group.keys, group.value_db, 10 ** (-group.value_db / 20) + 0j
    )
    (crosstalk,) = link.curves[(Parameter.NEXT, End.NEAR)]
    sums = CurveGroup(group.frequency_mhz, PAIRS, power_sums(crosstalk.value_db, NEXT_DISTURBERS))
    supplied = {LOSS: (complex_loss,), (Parameter.PS_NEXT, End.NEAR): (sums,)}
    link = replace(link, curves={**link.curves, **supplied})

    warmer = ask(link, temperature_c=60.0).measurement

    assert warmer.curves[LOSS][0].value_complex is None
    assert (Parameter.PS_NEXT, End.NEAR) not in warmer.curves


def test_nothing_changes_at_the_temperature_of_the_measurement():
    link = link_inside("5e", cable=Cable(temperature_c=30))
    verdict = verdict_of(link, "5e")
    (before,) = (r for r in verdict.parameters if r.parameter is Parameter.INSERTION_LOSS)

    assert margin(ask(link, temperature_c=30), Parameter.INSERTION_LOSS) == pytest.approx(
        before.worst_margin.margin
    )


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ({}, "/what_if"),
        ({"temperature_c": 19.9}, "/what_if/temperature_c"),
        ({"temperature_c": 60.1}, "/what_if/temperature_c"),
        ({"temperature_c": float("nan")}, "/what_if/temperature_c"),
        ({"added_cord_m": 0.0}, "/what_if/added_cord_m"),
        ({"added_cord_m": -1.0}, "/what_if/added_cord_m"),
        ({"added_cord_m": 101.0}, "/what_if/added_cord_m"),
        ({"added_cord_m": float("nan")}, "/what_if/added_cord_m"),
    ],
)
def test_what_no_design_rule_covers_is_refused_with_its_place(asked, pointer):
    with pytest.raises(InvalidRequirementError) as refused:
        ask(link_inside("5e"), **asked)

    assert refused.value.pointer == pointer


def test_a_patch_cord_gets_no_cords():
    link = replace(link_inside("5e"), configuration=Configuration.PATCH_CORD)

    with pytest.raises(InvalidRequirementError, match="is a cord itself"):
        ask(link, added_cord_m=5.0)


def test_an_edition_that_does_not_say_how_its_cable_loses_gets_no_cords():
    key = ("5e", "permanent_link", "insertion_loss")
    own = replace(TIA, id="own", curve_limits={k: v for k, v in TIA.curve_limits.items() if k != key})

    with pytest.raises(InvalidRequirementError, match="does not say how the cable of its links loses"):
        ask(link_inside("5e"), rule_set=own, added_cord_m=5.0)


@settings(max_examples=12)
@given(st.floats(20, 60), st.floats(20, 60))
def test_a_hotter_link_never_has_more_margin(first, second):
    link = link_inside("5e")
    cooler, hotter = (ask(link, temperature_c=t) for t in sorted((first, second)))

    assert margin(hotter, Parameter.INSERTION_LOSS) <= margin(cooler, Parameter.INSERTION_LOSS) + 1e-9


@settings(max_examples=12)
@given(st.floats(0.1, 50), st.floats(0.1, 50))
def test_more_cord_never_has_more_margin(first, more):
    link = link_inside("5e", loss_share=0.6)
    short, long = ask(link, added_cord_m=first), ask(link, added_cord_m=first + more)

    for parameter in (Parameter.INSERTION_LOSS, Parameter.PROPAGATION_DELAY):
        assert margin(long, parameter) <= margin(short, parameter)
