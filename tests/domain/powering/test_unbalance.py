"""Unbalance against worked vectors and the printed definition."""

from __future__ import annotations

import pytest

from domain.powering.links import FACTS, ROWS, link, straight
from fourpair_service.domain.link import PINS, Configuration
from fourpair_service.domain.measurement import LinkMeasurement, PairReadings
from fourpair_service.domain.powering.unbalance import unbalances

WIRES_OHM = dict(zip(PINS, (8.0, 8.3, 8.1, 8.0, 8.0, 8.1, 9.0, 9.4), strict=True))


def by_pairs(measurement, at_a=0.35):
    return {item.pairs: item for item in unbalances(measurement, FACTS, at_a)}


# A worked vector: wires 1 to 8 of 8.0 8.3 8.1 8.0 8.0 8.1 9.0 9.4 ohm, by the definition
# 100 |a - b| / (a + b) (PoE Interoperability Guide 9.7), pairs with their wires in parallel.
@pytest.mark.parametrize(
    ("pairs", "percent"),
    [
        ("12", 1.840),
        ("36", 0.0),
        ("45", 0.0),
        ("78", 2.174),
        ("12-36", 0.291),
        ("12-45", 0.912),
        ("12-78", 6.045),
        ("36-45", 0.621),
        ("36-78", 6.335),
        ("45-78", 6.953),
    ],
)
def test_wires_of_known_resistance_give_the_worked_unbalance(pairs, percent):
    measurement = LinkMeasurement(Configuration.CHANNEL, conductor_resistance_ohm=WIRES_OHM)

    assert by_pairs(measurement)[pairs].percent == pytest.approx(percent, abs=0.0006)


def test_loop_and_unbalance_of_each_pair_give_the_unbalance_between_pairs_too():
    # the wires of the vector above, told as loops and differences
    readings = {
        pair: PairReadings(
            loop_resistance_ohm=sum(WIRES_OHM[pin] for pin in pair),
            resistance_unbalance_ohm=abs(WIRES_OHM[pair[0]] - WIRES_OHM[pair[1]]),
        )
        for pair in ("12", "36", "78")
    }
    found = by_pairs(LinkMeasurement(Configuration.CHANNEL, readings=readings))

    assert found["12-36"].percent == pytest.approx(0.291, abs=0.0006)
    assert found["12-78"].percent == pytest.approx(6.045, abs=0.0006)
    assert found.keys() == {"12", "36", "78", "12-36", "12-78", "36-78"}


def test_loops_alone_leave_the_unbalance_between_pairs_open():
    readings = {pair: PairReadings(loop_resistance_ohm=16.0) for pair in ("12", "36")}

    assert by_pairs(LinkMeasurement(Configuration.CHANNEL, readings=readings)) == {}


def test_6_percent_more_in_one_wire_is_3_percent_of_unbalance():
    # PoE Interoperability Guide 9.7, rounded as it prints it: exactly it is 2.913 %
    row = next(row for row in ROWS if row["id"] == "unb")
    item = by_pairs(LinkMeasurement(Configuration.CHANNEL, conductor_resistance_ohm={"1": 1.0, "2": 1.06}))[
        "12"
    ]

    assert item.percent == pytest.approx(float(row["published_value"]), abs=float(row["tolerance"]))


def test_3_percent_of_350_ma_bias_the_transformer_with_10_ma():
    # 3 % of 350 mA = 10.5 mA (common practice, no published source)
    readings = {"12": PairReadings(loop_resistance_ohm=10.0, resistance_unbalance_ohm=0.3)}
    item = by_pairs(LinkMeasurement(Configuration.CHANNEL, readings=readings))["12"]

    assert "the wires differ by 10.5 mA" in item.effect
    assert item.is_within_limit


def test_a_difference_above_share_and_floor_is_outside():
    readings = {"12": PairReadings(loop_resistance_ohm=10.0, resistance_unbalance_ohm=0.31)}

    assert not by_pairs(LinkMeasurement(Configuration.CHANNEL, readings=readings))["12"].is_within_limit


def test_a_difference_without_the_resistance_is_held_against_the_floor():
    readings = {"12": PairReadings(resistance_unbalance_ohm=0.15)}
    item = by_pairs(LinkMeasurement(Configuration.CHANNEL, readings=readings))["12"]

    assert item.percent is None
    assert item.limit_ohm == 0.2
    assert item.is_within_limit
    assert "not known" in item.effect


def test_a_stated_difference_between_pairs_is_taken():
    item = by_pairs(link(16.0, unbalance_between_pairs_ohm={"12-36": 0.4}))["12-36"]

    # 0.4 of 4 + 4 ohm is 5 %: the better pair carries (1 + 0.05) / 2
    assert item.percent == pytest.approx(5.0)
    assert "carries 52.5 %" in item.effect


def test_broken_pairs_have_no_unbalance():
    measurement = LinkMeasurement(
        Configuration.CHANNEL, conductor_resistance_ohm=WIRES_OHM, wire_map=straight(without="1")
    )

    assert not any("12" in pairs for pairs in by_pairs(measurement))
