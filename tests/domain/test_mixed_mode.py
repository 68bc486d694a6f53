"""Mixed modes and pair quantities agree with independent conversions and a measurement."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from domain.four_pair_network import differential_modes, mixed_modes, single_ended
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.mixed_mode import crosstalk_power, differential, mixed_mode, pair_quantities
from fourpair_service.domain.parameters import Parameter

TRUE_MODE = Path(__file__).parents[1] / "data" / "true_mode"
F = np.array([1.0, 10.0, 100.0])
PIN_PORTS = ((0, 1), (2, 5), (4, 3), (6, 7), (8, 9), (10, 13), (12, 11), (14, 15))


def random_matrices(seed, ports):
    rng = np.random.default_rng(seed)
    return rng.normal(size=(3, ports, ports)) + 1j * rng.normal(size=(3, ports, ports))


@given(st.integers(0, 2**32 - 1), st.sampled_from([4, 8, 16]))
def test_the_conversion_equals_that_of_scikit_rf(seed, ports):
    s = random_matrices(seed, ports)
    network = skrf.Network(s=s, f=[1, 2, 3], f_unit="MHz", z0=50)
    network.se2gmm(p=ports // 2)

    ours = mixed_mode(s, tuple((2 * i, 2 * i + 1) for i in range(ports // 2)))

    np.testing.assert_allclose(ours, network.s, atol=1e-12)


def test_numbered_elements_give_the_matrix_worked_by_hand():
    # S_ij = the number "ij", pairs (1, 2) and (3, 4); each element from the definition
    # Sd1d1 = (S11 - S12 - S21 + S22) / 2 and its likes (Bockelman and Eisenstadt 1995).
    s = np.array([[[10 * i + j for j in range(1, 5)] for i in range(1, 5)]], complex)

    expected = [[0, 0, -10, -10], [0, 0, -10, -10], [-1, -1, 33, 37], [-1, -1, 73, 77]]
    np.testing.assert_allclose(mixed_mode(s, ((0, 1), (2, 3)))[0], expected, atol=1e-12)


def test_the_conversion_agrees_with_a_measurement_with_true_balanced_stimulus():
    # Over all 2001 points of the source: median 1.6e-4, maximum 2.1e-3.
    def measured(name):
        text = io.StringIO((TRUE_MODE / name).read_text())
        text.name = name
        return skrf.io.touchstone.Touchstone(text).s

    order = [0, 2, 1, 3]  # it lists d1, c1, d2, c2
    true = measured("load_truemode_balbal.s4p")[:, order][:, :, order]

    difference = np.abs(mixed_mode(measured("load_se.s4p"), ((0, 2), (1, 3))) - true)

    assert np.median(difference) == pytest.approx(1.6e-4, abs=0.05e-4)
    assert 1.5e-3 < difference.max() < 2.1e-3


def test_conductors_turn_back_into_the_modes_that_they_were_made_of():
    np.testing.assert_allclose(mixed_mode(single_ended(F), PIN_PORTS), mixed_modes(F), atol=1e-14)


def test_the_power_of_all_waves_is_the_same_in_both_forms():
    s = random_matrices(1, 16)

    total = (np.abs(mixed_mode(s, PIN_PORTS)) ** 2).sum()

    assert total == pytest.approx((np.abs(s) ** 2).sum(), rel=1e-12)


def element(i, j):
    return -20 * np.log10(np.abs(mixed_modes(F)[:, i, j]))


# Rows: parameter, end, key, element of the matrix (received at, injected at).
ELEMENTS = [
    (Parameter.INSERTION_LOSS, None, "36", (5, 1)),
    (Parameter.RETURN_LOSS, End.NEAR, "45", (2, 2)),
    (Parameter.RETURN_LOSS, End.FAR, "45", (6, 6)),
    (Parameter.NEXT, End.NEAR, "36-78", (1, 3)),
    (Parameter.NEXT, End.FAR, "36-78", (5, 7)),
    (Parameter.FEXT, End.NEAR, "12>45", (6, 0)),
    (Parameter.FEXT, End.FAR, "12>45", (2, 4)),
    (Parameter.FEXT, End.NEAR, "45>12", (4, 2)),
    (Parameter.TCL, End.NEAR, "78", (11, 3)),
    (Parameter.TCL, End.FAR, "78", (15, 7)),
]


@pytest.mark.parametrize(("parameter", "end", "key", "place"), ELEMENTS)
def test_each_quantity_is_its_element_of_the_matrix(parameter, end, key, place):
    sweep = pair_quantities(F, mixed_modes(F), PAIRS)[parameter, end].sweep(key)

    np.testing.assert_allclose(sweep.value_db, element(*place))
    if parameter is Parameter.TCL:
        assert sweep.value_complex is None
    else:
        np.testing.assert_array_equal(sweep.value_complex, mixed_modes(F)[:, place[0], place[1]])


@pytest.mark.parametrize(
    ("end", "transfer", "through"), [(End.NEAR, (13, 1), (5, 1)), (End.FAR, (9, 5), (1, 5))]
)
def test_eltctl_is_the_transfer_into_the_common_mode_less_the_insertion_loss(end, transfer, through):
    sweep = pair_quantities(F, mixed_modes(F), PAIRS)[Parameter.ELTCTL, end].sweep("36")

    np.testing.assert_allclose(sweep.value_db, element(*transfer) - element(*through))
    assert sweep.value_complex is None


def test_a_delay_turns_the_phase_of_the_insertion_loss_negative():
    f = np.array([0.5])

    value = (
        pair_quantities(f, mixed_modes(f), PAIRS)[Parameter.INSERTION_LOSS, None].sweep("12").value_complex
    )

    assert np.angle(value[0]) == pytest.approx(-2 * np.pi * 0.5 * 0.25)


def test_a_full_link_has_every_combination_and_both_ends():
    quantities = pair_quantities(F, mixed_modes(F), PAIRS)

    assert quantities[Parameter.NEXT, End.FAR].keys == NEXT_COMBINATIONS
    assert quantities[Parameter.FEXT, End.FAR].keys == FEXT_COMBINATIONS
    assert len(quantities) == 11


def test_differential_ports_have_no_conversion():
    quantities = pair_quantities(F, differential_modes(F), PAIRS)

    assert {parameter for parameter, _ in quantities} == {
        Parameter.INSERTION_LOSS,
        Parameter.RETURN_LOSS,
        Parameter.NEXT,
        Parameter.FEXT,
    }


def test_one_pair_has_no_crosstalk():
    quantities = pair_quantities(F, differential_modes(F)[:, [1, 5]][:, :, [1, 5]], ["36"])

    assert {parameter for parameter, _ in quantities} == {Parameter.INSERTION_LOSS, Parameter.RETURN_LOSS}


def test_pairs_in_another_order_keep_the_names_of_their_combinations():
    order = [2, 1, 6, 5]
    s = differential_modes(F)[:, order][:, :, order]

    quantities = pair_quantities(F, s, ["45", "36"])

    assert quantities[Parameter.NEXT, End.NEAR].keys == ("36-45",)
    np.testing.assert_allclose(quantities[Parameter.FEXT, End.NEAR].sweep("45>36").value_db, element(5, 2))


def test_differential_ports_are_taken_in_the_order_asked():
    s = random_matrices(2, 2)

    np.testing.assert_array_equal(differential(s, ((1,), (0,))), s[:, ::-1, ::-1])


def test_crosstalk_power_counts_what_couples_between_pairs():
    # Two pairs: NEXT at both ends and FEXT, each way, one of them 0.1 and the others 0.
    s = np.eye(4, dtype=complex)
    s[0, 1] = 0.1
    s[0, 2] = 1.0  # through

    assert crosstalk_power(s, 2) == pytest.approx(0.01)
