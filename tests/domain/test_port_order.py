"""Ports are found wherever they stand, and never guessed."""

from __future__ import annotations

import numpy as np
import pytest

from domain.four_pair_network import NUMBERINGS, differential_modes, mixed_modes, single_ended
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.mixed_mode import differential, mixed_mode
from fourpair_service.domain.port_order import PortKind, PortOrder, logical_ports, recognise

F = np.array([1.0, 2.0, 4.0, 100.0])
SINGLE, DIFFERENTIAL = PortKind.SINGLE_ENDED, PortKind.DIFFERENTIAL


@pytest.mark.parametrize("order", PortOrder)
def test_every_declared_numbering_gives_the_same_modes(order):
    s = single_ended(F, NUMBERINGS[order])

    ours = mixed_mode(s, logical_ports(order, PAIRS, SINGLE))

    np.testing.assert_allclose(ours, mixed_modes(F), atol=1e-14)


def test_port_numbers_may_be_declared_one_by_one():
    shuffled = np.random.default_rng(5).permutation(16)
    s = single_ended(F, [NUMBERINGS["pairs_near_then_far"][i] for i in shuffled])
    order = tuple(int(np.flatnonzero(shuffled == i)[0]) + 1 for i in range(16))

    ours = mixed_mode(s, logical_ports(order, PAIRS, SINGLE))

    np.testing.assert_allclose(ours, mixed_modes(F), atol=1e-14)


@pytest.mark.parametrize("order", [(1, 2, 3), (1, 2, 3, 3), (0, 1, 2, 3), (1, 2, 3, 5)])
def test_port_numbers_that_do_not_name_each_port_once_are_refused(order):
    with pytest.raises(InvalidMeasurementError, match="each of the ports 1 to 4 once"):
        logical_ports(order, ["36"], SINGLE)


@pytest.mark.parametrize("order", ["pins_near_then_far", "pins_alternating", "pairs_interleaved"])
def test_a_numbering_is_recognised_from_the_transmission(order):
    ports = recognise(F, single_ended(F, NUMBERINGS[order]), PAIRS, SINGLE)

    assert ports == logical_ports(PortOrder(order), PAIRS, SINGLE)


def test_a_link_numbered_by_pairs_is_not_told_from_a_split_one_numbered_by_pins():
    # The same matrix is a good link at ports by pairs and one at ports by pins whose
    # twisted pairs are (3, 4) and (5, 6): to choose the first would let the second pass.
    by_pairs = single_ended(F, NUMBERINGS["pairs_near_then_far"])
    split = single_ended(F, pair_pins={"12": (1, 2), "36": (3, 4), "45": (5, 6), "78": (7, 8)})
    np.testing.assert_allclose(by_pairs, split)

    with pytest.raises(InvalidMeasurementError, match="with split pairs, it would look the same"):
        recognise(F, by_pairs, PAIRS, SINGLE)


def test_a_split_link_numbered_by_alternating_pins_stays_split():
    pairs = {"12": (1, 2), "36": (3, 4), "45": (5, 6), "78": (7, 8)}
    s = single_ended(F, NUMBERINGS["pins_alternating"], pairs)

    ours = mixed_mode(s, recognise(F, s, PAIRS, SINGLE))

    next_36_45_db = -20 * np.log10(np.abs(ours[1, 1, 2]))
    assert next_36_45_db < 22


def test_a_link_with_a_reversed_pair_asks_for_its_order_and_then_shows_a_sign_alone():
    s = single_ended(F)
    swapped = [*range(8), 9, 8, *range(10, 16)]
    s = s[:, swapped][:, :, swapped]

    with pytest.raises(InvalidMeasurementError, match="does not lead to its far end"):
        recognise(F, s, PAIRS, SINGLE)
    ours = mixed_mode(s, logical_ports(PortOrder.PINS_NEAR_THEN_FAR, PAIRS, SINGLE))
    np.testing.assert_allclose(ours[:, 4, 0], -mixed_modes(F)[:, 4, 0])


def test_a_link_with_an_open_pair_asks_for_its_order():
    s = single_ended(F)
    s[:, 8, 0] = s[:, 0, 8] = 0

    with pytest.raises(InvalidMeasurementError, match="State it: pins_near_then_far") as caught:
        recognise(F, s, PAIRS, SINGLE)
    assert caught.value.pointer == "/touchstone/order"


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("order", [[0, 1, 2, 3], [0, 2, 1, 3]])
def test_one_pair_is_recognised_either_way(pair, order):
    k = PAIRS.index(pair)
    modes = [k, k + 4, k + 8, k + 12]
    smm = mixed_modes(F)[:, modes][:, :, modes]
    rows = np.array([[1, 0, 1, 0], [-1, 0, 1, 0], [0, 1, 0, 1], [0, -1, 0, 1]]) / np.sqrt(2)
    s = rows[order] @ smm @ rows[order].T

    ours = mixed_mode(s, recognise(F, s, [pair], SINGLE))

    np.testing.assert_allclose(np.abs(ours), np.abs(smm), atol=1e-14)


@pytest.mark.parametrize(
    ("order", "ports"),
    [
        (PortOrder.PINS_NEAR_THEN_FAR, [0, 1, 2, 3, 4, 5, 6, 7]),
        (PortOrder.PAIRS_NEAR_THEN_FAR, [0, 1, 2, 3, 4, 5, 6, 7]),
        (PortOrder.PINS_ALTERNATING, [0, 4, 1, 5, 2, 6, 3, 7]),
        (PortOrder.PAIRS_INTERLEAVED, [0, 4, 1, 5, 2, 6, 3, 7]),
    ],
)
def test_differential_ports_are_read_as_declared_and_recognised(order, ports):
    s = differential_modes(F)[:, ports][:, :, ports]

    declared = logical_ports(order, PAIRS, DIFFERENTIAL)

    np.testing.assert_array_equal(differential(s, declared), differential_modes(F))
    assert recognise(F, s, PAIRS, DIFFERENTIAL) == declared
