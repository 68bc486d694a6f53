"""Heating guidance against the one measured point that is published."""

from __future__ import annotations

import pytest

from domain.powering.links import FACTS, ROWS
from fourpair_service.domain.powering.heating import bundle_rise_c, guidance


def test_the_rise_of_a_bundle_passes_through_the_measured_point():
    # PoE in FMC white paper (ciinet.com/white-papers/poe-in-fmc/): 7.2 °C at 0.6 A, 100 category 5e
    # cables. The constant is derived from that point, so this shows consistency and no more.
    row = next(row for row in ROWS if row["id"] == "heat")
    heating = FACTS.heating

    assert bundle_rise_c(0.6, heating) == pytest.approx(float(row["published_value"]))
    assert bundle_rise_c(heating.measured_at_a.value, heating) == pytest.approx(heating.measured_rise_c.value)


def test_much_current_asks_for_small_bundles_and_mentions_the_code():
    texts = " ".join(item.text for item in guidance(0.9, 90.0, None, FACTS.heating))

    assert "smaller bundles" in texts
    assert "at most 24 cables" in texts
    assert "a code may limit" in texts


def test_little_current_asks_for_neither():
    texts = " ".join(item.text for item in guidance(0.35, 15.4, 23, FACTS.heating))

    assert "smaller bundles" not in texts
    assert "at most 24" not in texts
    assert "code" not in texts


def test_thin_wire_asks_for_small_bundles_at_any_current():
    assert any("at most 24" in item.text for item in guidance(0.35, 15.4, 26, FACTS.heating))
