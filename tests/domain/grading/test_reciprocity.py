"""FEXT a>b from the near end and b>a from the far end are one quantity: a caution where they differ.

The bounds (1 dB, above 5 MHz, both below 60 dB) are a criterion of our own, no published source.
"""

import numpy as np
import pytest

from domain.grading.flat import AXIS, at, codes, link, verdict_of
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import Parameter

CODE = "fext-not-reciprocal"


def fext(near, far, **fields):
    """A link whose FEXT 12>36 is ``near`` from the near end, and its mirror ``far`` from the far end."""
    changes = {(Parameter.FEXT, End.NEAR, "12>36"): near, (Parameter.FEXT, End.FAR, "36>12"): far}
    return link(changes, **fields)


@pytest.mark.parametrize(("apart", "cautioned"), [(0.99, False), (1.01, True), (-1.01, True)])
def test_a_difference_of_more_than_1_db_is_a_caution(apart, cautioned):
    assert (CODE in codes(verdict_of(fext(50.0, 50.0 + apart)))) is cautioned


def test_the_caution_names_the_combination_and_the_size():
    (text,) = [c.text for c in verdict_of(fext(50.0, 53.0)).cautions if c.code == CODE]

    assert text.startswith("FEXT 12>36 from the near end and its mirror from the far end differ by 3.0 dB")


def test_it_is_the_mirror_that_is_compared_and_not_the_same_name():
    changes = {(Parameter.FEXT, end): 55.0 for end in End}
    changes |= {(Parameter.FEXT, end, "12>36"): 50.0 for end in End}

    assert CODE in codes(verdict_of(link(changes)))


@pytest.mark.parametrize(
    ("near", "far", "cautioned"),
    [(59.9, 58.0, True), (60.1, 58.0, False), (58.0, 60.1, False), (85.0, 66.0, False), (58.0, 90.0, False)],
)
def test_only_values_well_above_the_noise_are_compared(near, far, cautioned):
    assert (CODE in codes(verdict_of(fext(near, far)))) is cautioned


@pytest.mark.parametrize(("frequency_mhz", "cautioned"), [(1.0, False), (10.0, True), (100.0, True)])
def test_only_above_5_mhz(frequency_mhz, cautioned):
    assert (CODE in codes(verdict_of(fext(50.0, at(55.0, frequency_mhz, 50.0))))) is cautioned


def test_two_sound_readings_with_the_noise_of_an_instrument_are_not_cautioned():
    # Noise 90 dB down on 60 dB: what the bounds were computed for.
    axis = np.linspace(5.5, 250, 2000)
    true = np.linspace(30, 80, axis.size)
    rng = np.random.default_rng(11)

    def read():
        noise = (rng.normal(size=axis.size) + 1j * rng.normal(size=axis.size)) * 10 ** (-90 / 20) / np.sqrt(2)
        return -20 * np.log10(np.abs(10 ** (-true / 20) + noise))

    near, far = read(), read()
    assert np.abs(near - far).max() > 2.0
    assert CODE not in codes(verdict_of(fext(near, far, axis=axis)))


def test_readings_on_two_axes_are_compared_where_they_meet():
    far = AXIS[AXIS > 35] + 5
    measured = link({(Parameter.FEXT, End.NEAR): 50.0})

    def with_far(value):
        group = CurveGroup(far, ("36>12",), np.full((1, far.size), value))
        return link(curves={**measured.curves, (Parameter.FEXT, End.FAR): (group,)})

    assert CODE not in codes(verdict_of(with_far(50.5)))
    assert CODE in codes(verdict_of(with_far(52.0)))


@pytest.mark.parametrize("end", End)
def test_one_end_alone_has_nothing_to_compare(end):
    assert CODE not in codes(verdict_of(link(without=[(Parameter.FEXT, end)])))


def test_ends_that_share_no_combination_have_nothing_to_compare():
    near, far = (
        CurveGroup(AXIS, (key,), np.full((1, AXIS.size), value))
        for key, value in (("12>36", 50.0), ("45>78", 30.0))
    )
    curves = {**link().curves, (Parameter.FEXT, End.NEAR): (near,), (Parameter.FEXT, End.FAR): (far,)}

    assert CODE not in codes(verdict_of(link(curves=curves)))
