"""Levels: what must be sent, less the loss, against what a receiver needs."""

from __future__ import annotations

from math import log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.port.ports import FACTS, ROWS, cable
from fourpair_service.domain.cords import Cords
from fourpair_service.domain.port.levels import LevelFinding, after_loss_v, judge_levels
from fourpair_service.domain.port.observation import Level


def judged(peak_v, *, at, loss_db=None, signal="link_pulse", ohm=100.0, cords=None, **link):
    measurement = cable(loss_db, **link)
    return judge_levels([Level("12", signal, peak_v, ohm, at)], measurement, FACTS, cords)[0]


def test_2_2_v_less_the_loss_of_10base_t_are_585_mv():
    # remembered row: recall against recall
    row = ROWS["v585"]

    assert after_loss_v(2.2, 11.5) == pytest.approx(
        float(row["published_value"]), abs=float(row["tolerance"])
    )


def test_minus_81_dbm_per_hz_over_400_mhz_lie_in_the_remembered_range_of_10gbase_t():
    low, high = map(float, ROWS["psd81"]["published_value"].split(".."))
    span = FACTS.multi_gigabit_power_dbm

    assert (span.low, span.high) == (low, high)
    assert low <= -81 + 10 * log10(400e6) <= high


def test_the_weaker_10base_te_leaves_8_41_db():
    # 20 log10(1.54 / 0.585) (memory)
    weak = next(t for t in FACTS.transmitters if t.name == "10BASE-Te")

    assert 20 * log10(weak.peak_v[0] / weak.enough_v) == pytest.approx(8.41, abs=0.005)


def test_2_5_v_after_7_2_db_are_1_09_v_and_fine():
    # worked example, common practice, no published source
    result = judged(2.5, at="port", loss_db=7.2)

    assert result.arrives_v == pytest.approx(1.09, abs=0.005)
    assert result.finding is LevelFinding.BOTH_FINE


F = LevelFinding


@pytest.mark.parametrize(
    ("peak_v", "at", "loss_db", "signal", "finding"),
    [
        (2.5, "port", None, "link_pulse", F.DEVICE_FINE),
        (1.2, "port", 7.2, "link_pulse", F.DEVICE_SENDS_TOO_LITTLE),
        (3.0, "port", 7.2, "link_pulse", F.DEVICE_SENDS_TOO_MUCH),
        (2.3, "port", 13.0, "link_pulse", F.CABLE_EATS_TOO_MUCH),
        (1.7, "port", 7.0, "link_pulse", F.BOTH_FINE),
        (1.0, "port", 4.0, "100base_tx", F.BOTH_FINE),
        (0.9, "port", 4.0, "100base_tx", F.DEVICE_SENDS_TOO_LITTLE),
        (1.0, "port", 7.0, "100base_tx", F.CABLE_EATS_TOO_MUCH),
        (1.09, "far_end", 7.2, "link_pulse", F.BOTH_FINE),
        (0.4, "far_end", 7.2, "link_pulse", F.DEVICE_SENDS_TOO_LITTLE),
        (0.5, "far_end", 13.0, "link_pulse", F.CABLE_EATS_TOO_MUCH),
        (0.2, "far_end", 13.0, "link_pulse", F.BOTH_TOO_WEAK),
        (0.6, "far_end", None, "link_pulse", F.ENOUGH_ARRIVES),
        (0.5, "far_end", None, "link_pulse", F.CANNOT_TELL),
        (0.1, "far_end", None, "link_pulse", F.CANNOT_TELL),
        (1.0, "port", 4.0, "multi_level", F.NOT_JUDGED),
    ],
)
def test_who_is_to_blame(peak_v, at, loss_db, signal, finding):
    assert judged(peak_v, at=at, loss_db=loss_db, signal=signal).finding is finding


def test_a_weak_device_on_a_short_cable_is_named_though_enough_arrives():
    result = judged(1.0, at="far_end", loss_db=1.0)

    assert result.finding is F.DEVICE_SENDS_TOO_LITTLE
    assert result.text.endswith("The device sends too little. What arrives is still enough here.")
    assert not result.is_too_weak


def test_far_too_little_may_not_be_seen_at_all():
    assert "may see nothing" in judged(0.1, at="far_end").text
    assert "may see nothing" not in judged(0.5, at="far_end").text


@pytest.mark.parametrize(
    ("ohm", "at", "words"),
    [(None, "port", "state the termination"), (120.0, "port", "at 120 ohm"), (100.0, None, "state whether")],
)
def test_a_level_without_its_circumstances_is_shown_and_not_judged(ohm, at, words):
    result = judged(2.5, at=at, ohm=ohm)

    assert result.finding is F.NOT_JUDGED
    assert words in result.text
    assert not result.is_too_weak


def test_a_broken_pair_and_a_sweep_that_starts_above_give_no_loss():
    assert judged(2.5, at="port", loss_db=7.0, without="1").loss_db is None
    assert judged(2.5, at="port", loss_db=7.0, from_mhz=20.0).loss_db is None
    assert judge_levels([Level("12", "link_pulse", 2.5, 100.0, "port")], None, FACTS)[0].loss_db is None


def test_cords_add_their_share_of_the_length_to_what_follows_from_the_port():
    # 7 dB over 90 m, and 10 m of cord that counts 1.2 times: 7 (1 + 12/90)
    cords = Cords(10.0, 1.2)

    assert judged(2.5, at="port", loss_db=7.0, cords=cords, length_m=90.0).loss_db == pytest.approx(
        7 * (1 + 12 / 90)
    )
    assert judged(2.5, at="port", loss_db=7.0, cords=cords).loss_db == pytest.approx(7.0)
    assert judged(0.9, at="far_end", loss_db=7.0, cords=cords, length_m=90.0).loss_db == pytest.approx(7.0)


volts = st.floats(0.01, 5)
losses = st.floats(0, 40)


@given(volts, losses, losses)
def test_more_loss_never_makes_a_level_at_the_port_better(peak_v, first, second):
    low, high = (judged(peak_v, at="port", loss_db=loss) for loss in sorted((first, second)))

    assert not (high.finding is F.BOTH_FINE and low.finding is F.CABLE_EATS_TOO_MUCH)
    assert high.arrives_v <= low.arrives_v


@given(volts, losses)
def test_what_was_worked_back_from_the_far_end_arrives_there_again(peak_v, loss_db):
    result = judged(peak_v, at="far_end", loss_db=loss_db)

    assert after_loss_v(result.sent_v, loss_db) == pytest.approx(peak_v)


@given(volts, losses)
def test_a_level_that_is_enough_at_the_far_end_never_blames_the_cable(peak_v, loss_db):
    result = judged(peak_v, at="far_end", loss_db=loss_db)

    if peak_v >= 0.585:
        assert result.finding in (F.BOTH_FINE, F.DEVICE_SENDS_TOO_LITTLE, F.BOTH_TOO_WEAK)
