"""Cautions about the test itself: calibration, adapters, dates. None of them decides."""

from datetime import UTC, date, datetime, timedelta

import pytest

from domain.grading.flat import codes, link, verdict_of
from fourpair_service.domain.grading.cautions import adapter_cautions
from fourpair_service.domain.link import Configuration, End
from fourpair_service.domain.measurement import Instrument, InstrumentUnit, LinkMeasurement
from fourpair_service.domain.verdict import Outcome

TESTED = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)


def measured_with(*units, **fields):
    return link(instrument=Instrument(units=units), tested_at=TESTED, **fields)


@pytest.mark.parametrize(
    ("calibrated_on", "old"),
    [
        (date(2026, 1, 1), False),
        (date(2025, 6, 15), False),
        (date(2025, 6, 14), True),
        (date(2025, 5, 31), True),
        (date(2024, 7, 1), True),
    ],
)
def test_a_calibration_of_more_than_twelve_months_before_the_test_is_a_caution(calibrated_on, old):
    verdict = verdict_of(measured_with(InstrumentUnit(End.NEAR, "A-1", calibrated_on=calibrated_on)))

    assert ("calibration-old" in codes(verdict)) is old
    assert verdict.outcome is Outcome.PASS


def test_a_missing_calibration_date_names_the_unit():
    units = (InstrumentUnit(End.FAR, "B-2"), InstrumentUnit())

    texts = [c.text for c in verdict_of(measured_with(*units)).cautions if c.code == "calibration-missing"]

    assert texts == [
        "The instrument at the far end (B-2) states no calibration date.",
        "An instrument states no calibration date.",
    ]


def test_an_age_of_calibration_needs_the_date_of_the_test():
    unit = InstrumentUnit(End.NEAR, calibrated_on=date(2001, 1, 1))

    assert "calibration-old" not in codes(verdict_of(link(instrument=Instrument(units=(unit,)))))


@pytest.mark.parametrize(
    ("configuration", "adapter", "fits"),
    [
        (Configuration.PERMANENT_LINK, "Permanent-Link, category 6A", True),
        (Configuration.PERMANENT_LINK, "channel 6A", False),
        (Configuration.CHANNEL, "permanent_link", False),
        (Configuration.CHANNEL, "channel", True),
        (Configuration.PATCH_CORD, "CHANNEL", False),
        (Configuration.MPTL, "patch cord", True),
        (Configuration.CHANNEL, None, True),
    ],
)
def test_an_adapter_made_for_another_configuration_is_a_caution(configuration, adapter, fits):
    unit = InstrumentUnit(adapter=adapter, calibrated_on=date(2026, 1, 1))
    measured = LinkMeasurement(configuration, instrument=Instrument(units=(unit,)))

    assert (not list(adapter_cautions(measured))) is fits


@pytest.mark.parametrize(
    ("ahead", "cautioned"),
    [(timedelta(hours=23), False), (timedelta(hours=25), True), (-timedelta(days=9), False)],
)
def test_a_test_more_than_a_day_in_the_future_is_a_caution(ahead, cautioned):
    verdict = verdict_of(link(tested_at=TESTED + ahead), now=TESTED)

    assert ("tested-in-future" in codes(verdict)) is cautioned


def test_without_a_clock_or_a_date_nothing_is_in_the_future():
    assert "tested-in-future" not in codes(verdict_of(link(tested_at=TESTED)))
    assert "tested-in-future" not in codes(verdict_of(link(), now=TESTED))
