"""A link without one of its connectors, against a modelled link that never had it.

The line model of the samples shares nothing with the gate. Levels are averages of power
over a band; how near they come is what is reached here, no published source.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from clinic.faulty import BAD_JACK, CATEGORY_6, JACK_6
from domain.applications.links import FACTS, TIA, link_inside
from fourpair_service.domain.applications.what_if import WhatIf, predict, what_if_document
from fourpair_service.domain.applications.without_place import without_place
from fourpair_service.domain.errors import InvalidMeasurementError, InvalidRequirementError
from fourpair_service.domain.link import NEXT_COMBINATIONS, PAIRS, PINS, Configuration, End
from fourpair_service.domain.measurement import (
    CurveGroup,
    LinkMeasurement,
    PairReadings,
    WireMap,
)
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Requirement
from fourpair_service.http.schemas.measurement import read_measurement
from line_model.instrument import sweep
from line_model.link import PhysicalLink
from line_model.parts import Stretch

AXIS = np.arange(1.0, 251.0)
LENGTH_M = 51.7
NVP = 0.69
SAMPLE = Path(__file__).resolve().parents[3] / "samples" / "links" / "1A-01-bad-far-connector.json"
NEXT, RETURN_LOSS, LOSS = Parameter.NEXT, Parameter.RETURN_LOSS, Parameter.INSERTION_LOSS


def measured(*parts, axis=AXIS):
    """A modelled link as complex curves."""
    s = sweep(PhysicalLink(parts, 111), axis)

    def rows(first, second):
        return s[:, first, second].T

    index = {pair: row for row, pair in enumerate(PAIRS)}
    ends = {End.NEAR: 0, End.FAR: 4}
    curves = {(LOSS, None): (CurveGroup.from_complex(axis, PAIRS, rows([4, 5, 6, 7], [0, 1, 2, 3])),)}
    for end, first in ends.items():
        both = [[first + index[pair] for pair in key.split("-")] for key in NEXT_COMBINATIONS]
        a, b = zip(*both, strict=True)
        own = [first + row for row in range(4)]
        curves[(NEXT, end)] = (CurveGroup.from_complex(axis, NEXT_COMBINATIONS, rows(list(a), list(b))),)
        curves[(RETURN_LOSS, end)] = (CurveGroup.from_complex(axis, PAIRS, rows(own, own)),)
    return LinkMeasurement(
        Configuration.PERMANENT_LINK,
        wire_map=WireMap(tuple((pin, pin) for pin in PINS)),
        readings=dict.fromkeys(PAIRS, PairReadings(length_m=LENGTH_M)),
        curves=curves,
    )


BAD = measured(JACK_6, Stretch(CATEGORY_6, LENGTH_M), BAD_JACK)
NEVER = measured(JACK_6, Stretch(CATEGORY_6, LENGTH_M))


def level_db(link, parameter, end, key, band):
    curve = link.sweep(parameter, end, key)
    inside = (curve.frequency_mhz >= band[0]) & (curve.frequency_mhz < band[1])
    return -10 * np.log10(np.mean(10 ** (-curve.value_db[inside] / 10)))


@pytest.mark.parametrize("key", ["36-45", "12-36"])
@pytest.mark.parametrize(
    ("band", "within_db"),
    [((5, 10), 2.5), ((10, 20), 1.5), ((20, 50), 1.5), ((50, 100), 1.5), ((100, 245), 2.0)],
)
def test_next_without_a_bad_connector_is_that_of_the_link_that_never_had_it(key, band, within_db):
    left = without_place(BAD, LENGTH_M, NVP).measurement

    never = level_db(NEVER, NEXT, End.FAR, key, band)
    assert level_db(BAD, NEXT, End.FAR, key, band) < never - 4  # it was much worse before
    assert level_db(left, NEXT, End.FAR, key, band) == pytest.approx(never, abs=within_db)


def test_what_lies_elsewhere_is_as_in_the_link_that_never_had_it():
    left = without_place(BAD, LENGTH_M, NVP).measurement

    for key in NEXT_COMBINATIONS:
        never, after = (level_db(link, NEXT, End.NEAR, key, (10, 245)) for link in (NEVER, left))
        assert after == pytest.approx(never, abs=1.2)
    assert left.curves[(LOSS, None)][0] is BAD.curves[(LOSS, None)][0]


def test_the_near_connector_is_taken_out_at_0_m():
    turned = measured(BAD_JACK, Stretch(CATEGORY_6, LENGTH_M), JACK_6)

    left = without_place(turned, 0.0, NVP)

    before, after = (
        level_db(link, NEXT, End.NEAR, "36-45", (10, 245)) for link in (turned, left.measurement)
    )
    assert after > before + 15
    assert left.sentence().startswith("Without what reflects and couples from 0.0 m to 2.0 m, counted from")


def test_the_sample_with_a_bad_jack_would_pass_without_it():
    link = read_measurement(json.loads(SAMPLE.read_bytes())).measurement

    prediction = predict(link, WhatIf(without_m=51.6), TIA, Requirement("6"), FACTS)

    far = {m.parameter: m for m in prediction.margins if m.end is End.FAR}
    for parameter in (NEXT, Parameter.PS_NEXT):
        assert far[parameter].as_measured < -5
        assert far[parameter].margin > 5
    document = what_if_document(prediction)
    (told,) = document["assumptions"]
    assert "taken out of" in told and "an estimate" in told
    assert prediction.measurement.instrument.kind == "predicted, not measured"
    (shown,) = (m for m in document["margins"] if (m["parameter"], m["end"]) == ("next", "far"))
    assert shown["margin_as_measured_db"] == round(far[NEXT].as_measured, 3)


def test_a_place_outside_the_link_is_refused_with_its_length():
    with pytest.raises(InvalidMeasurementError, match=r"51\.7 m long"):
        without_place(BAD, 51.8, NVP)
    with pytest.raises(InvalidRequirementError, match=r"The link is 51\.7 m long") as refused:
        predict(BAD, WhatIf(without_m=-0.1), TIA, Requirement("6"), FACTS)
    assert (refused.value.pointer, refused.value.value) == ("/what_if/without_m", -0.1)


def without_phase(link, key):
    groups = tuple(replace(group, value_complex=None) for group in link.curves[key])
    return replace(link, curves={**link.curves, key: groups})


SIDES = [(parameter, end) for parameter in (NEXT, RETURN_LOSS) for end in End]
NOISE = 1e-5 * (
    np.random.default_rng(5).standard_normal((4, 250))
    + 1j * np.random.default_rng(6).standard_normal((4, 250))
)


@pytest.mark.parametrize(
    "link",
    [
        link_inside("6"),
        without_phase(BAD, (LOSS, None)),
        replace(BAD, wire_map=WireMap(())),
        replace(BAD, curves={(LOSS, None): BAD.curves[(LOSS, None)]}),
        replace(BAD, curves={key: curves for key, curves in BAD.curves.items() if key != (LOSS, None)}),
        replace(BAD, curves={**BAD.curves, (LOSS, None): (CurveGroup.from_complex(AXIS, PAIRS, NOISE),)}),
    ],
    ids=["no phase", "no phase of the loss", "no intact pair", "nothing reflected", "no loss", "noise"],
)
def test_without_phase_length_or_a_path_nothing_is_taken_out(link):
    assert without_place(link, 10.0, NVP) is None
    with pytest.raises(InvalidRequirementError, match="as complex values"):
        predict(link, WhatIf(without_m=10.0), TIA, Requirement("6"), FACTS)


def test_curves_without_phase_and_pairs_without_a_path_stay_as_measured():
    link = without_phase(BAD, (NEXT, End.NEAR))
    (loss,) = link.curves[(LOSS, None)]
    three = CurveGroup.from_complex(AXIS, PAIRS[:3], loss.value_complex[:3])
    link = replace(link, curves={**link.curves, (LOSS, None): (three,)})

    left = without_place(link, LENGTH_M, NVP)

    changed = left.measurement.curves
    assert changed[(NEXT, End.NEAR)][0] is link.curves[(NEXT, End.NEAR)][0]
    for key, same in (("36-78", True), ("36-45", False)):
        before, after = (m.sweep(NEXT, End.FAR, key).value_db for m in (link, left.measurement))
        assert np.array_equal(before, after) is same
    assert left.curves == ("return loss at the near end", "return loss at the far end", "NEXT at the far end")


def test_pairs_swept_apart_are_each_taken_out():
    (group,) = BAD.curves[(RETURN_LOSS, End.FAR)]
    plain = CurveGroup(AXIS, PAIRS[:2], group.value_db[:2])
    phased = CurveGroup.from_complex(AXIS, PAIRS[2:], group.value_complex[2:])
    link = replace(BAD, curves={**BAD.curves, (RETURN_LOSS, End.FAR): (plain, phased)})

    kept, changed = without_place(link, LENGTH_M, NVP).measurement.curves[(RETURN_LOSS, End.FAR)]

    assert kept is plain
    assert not np.array_equal(changed.value_db, phased.value_db)


def test_a_sweep_that_ends_below_10_mhz_has_nothing_to_continue_from_and_stays():
    low = np.arange(1.0, 9.0, 0.25)
    link = measured(JACK_6, Stretch(CATEGORY_6, LENGTH_M), BAD_JACK, axis=low)

    left = without_place(link, LENGTH_M, NVP).measurement

    for key in SIDES:
        np.testing.assert_allclose(left.curves[key][0].value_db, link.curves[key][0].value_db)
