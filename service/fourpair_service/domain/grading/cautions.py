"""What the reader of a verdict should know and that decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.grading.single_values import intact_pairs
from fourpair_service.domain.grading.table import IndexArray, RowTable
from fourpair_service.domain.grading.timing import LENGTH_AT_MHZ, delay_near
from fourpair_service.domain.link import SPEED_OF_LIGHT_M_PER_NS, Configuration, End
from fourpair_service.domain.measurement import CurveGroup, FloatArray, LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import DERIVED, TRAITS, Parameter
from fourpair_service.domain.verdict import Caution

CALIBRATION_MONTHS: Final = 12
LENGTH_TOLERANCE: Final = 0.01
DERIVED_IGNORED_DB: Final = 0.2
DERIVED_REFUSED_DB: Final = 1.0
RECIPROCITY_DB: Final = 1.0
RECIPROCITY_FROM_MHZ: Final = 5.0
# Own criterion: with a noise floor of 90 dB two readings of 60 dB scatter by
# 20 log10(e) 10**(-30/20) = 0.27 dB rms about each other, so 1 dB is about four times
# that, which of several thousand sound points none should reach. Weaker FEXT is left out.
RECIPROCITY_BELOW_DB: Final = 60.0


def length_cautions(measurement: LinkMeasurement) -> Iterator[Caution]:
    """Yield where length, delay at 10 MHz and NVP disagree by more than 1 %."""
    nvp = measurement.cable.nvp
    if nvp is None:
        return
    for pair in intact_pairs(measurement):
        stated_m = measurement.readings.get(pair, PairReadings()).length_m
        delay = delay_near(measurement, pair, LENGTH_AT_MHZ) if stated_m is not None else None
        if stated_m is None or delay is None:
            continue
        expected_m = delay.delay_ns * nvp * SPEED_OF_LIGHT_M_PER_NS
        if abs(expected_m - stated_m) > LENGTH_TOLERANCE * max(expected_m, stated_m):
            yield Caution(
                "length-delay-nvp",
                f"Pair {pair}: a delay of {delay.delay_ns:.4g} ns at an NVP of {nvp:g} is "
                f"{expected_m:.1f} m, but {stated_m:g} m was stated. Check the NVP of the test.",
            )


def calibration_cautions(measurement: LinkMeasurement) -> Iterator[Caution]:
    """Yield units whose calibration is missing or older than twelve months at the test."""
    for unit in measurement.instrument.units:
        name = f"The instrument at the {unit.end} end" if unit.end else "An instrument"
        name += f" ({unit.serial})" if unit.serial else ""
        if unit.calibrated_on is None:
            yield Caution("calibration-missing", f"{name} states no calibration date.")
        elif measurement.tested_at is not None:
            tested = measurement.tested_at.date()
            months = (tested.year - unit.calibrated_on.year) * 12 + tested.month - unit.calibrated_on.month
            if months > CALIBRATION_MONTHS or (
                months == CALIBRATION_MONTHS and tested.day > unit.calibrated_on.day
            ):
                yield Caution(
                    "calibration-old",
                    f"{name} was calibrated on {unit.calibrated_on.isoformat()}, more than "
                    f"{CALIBRATION_MONTHS} months before the test.",
                )


# What an adapter's name must not contain for each configuration: the adapter
# decides where the measured link begins and ends.
UNFIT_ADAPTERS: Final = {
    Configuration.PERMANENT_LINK: ("channel", "patch cord"),
    Configuration.CHANNEL: ("permanent link", "patch cord"),
    Configuration.MPTL: (),
    Configuration.PATCH_CORD: ("channel", "permanent link"),
}


def adapter_cautions(measurement: LinkMeasurement) -> Iterator[Caution]:
    """Yield adapters whose own name says that they are for another configuration."""
    for unit in measurement.instrument.units:
        adapter = (unit.adapter or "").casefold().replace("_", " ").replace("-", " ")
        for word in UNFIT_ADAPTERS[measurement.configuration]:
            if word in adapter:
                yield Caution(
                    "adapter-unfit",
                    f"The adapter {unit.adapter!r} is made for a {word}, but a "
                    f"{measurement.configuration.value.replace('_', ' ')} was to be measured.",
                )


def future_cautions(measurement: LinkMeasurement, now: datetime | None) -> Iterator[Caution]:
    """Yield a test that lies in the future, with a day of grace for clocks and time zones."""
    tested = measurement.tested_at
    if now is not None and tested is not None and tested > now + timedelta(days=1):
        yield Caution(
            "tested-in-future",
            f"The test is dated {tested.isoformat()}, which is in the future. Check the clock.",
        )


def accuracy_cautions(measurement: LinkMeasurement, judged: Iterable[Parameter]) -> Iterator[Caution]:
    """Yield the judged parameters for which no measurement accuracy is stated."""
    silent = [TRAITS[p].title for p in dict.fromkeys(judged) if p not in measurement.instrument.accuracy]
    if silent:
        yield Caution(
            "accuracy-not-stated",
            f"No measurement accuracy is stated for {', '.join(silent)}; "
            f"results near the limit are not marked as marginal there.",
        )


def reciprocity_cautions(measurement: LinkMeasurement) -> Iterator[Caution]:
    """Yield where FEXT of both ends was given and does not agree as it must."""
    if not all(measurement.curves.get((Parameter.FEXT, end)) for end in End):
        return
    worst = max(_differences(measurement), default=(0.0, ""))
    if worst[0] > RECIPROCITY_DB:
        yield Caution(
            "fext-not-reciprocal",
            f"FEXT {worst[1]} from the near end and its mirror from the far end differ by {worst[0]:.1f} dB "
            f"above {RECIPROCITY_FROM_MHZ:g} MHz, well above the noise; by reciprocity they are the same "
            f"quantity.",
        )


def _differences(measurement: LinkMeasurement) -> Iterator[tuple[float, str]]:
    far = measurement.curves[(Parameter.FEXT, End.FAR)]
    for near in measurement.curves[(Parameter.FEXT, End.NEAR)]:
        for group in far:
            mirrored = ["{1}>{0}".format(*key.split(">")) for key in group.keys]
            both = [(near.keys.index(key), row) for row, key in enumerate(mirrored) if key in near.keys]
            if both:
                yield _largest(near, group, np.array(both))


def _largest(near: CurveGroup, far: CurveGroup, both: IndexArray) -> tuple[float, str]:
    """Return the largest difference where both are clear of the noise, and where it is."""
    axis, own = near.frequency_mhz, near.value_db[both[:, 0]]
    other = _on(axis, far, both[:, 1])
    clear = (np.maximum(own, other) < RECIPROCITY_BELOW_DB) & (axis > RECIPROCITY_FROM_MHZ)
    apart = np.abs(np.where(clear, own - other, 0.0)).max(axis=1)
    return float(apart.max()), near.keys[int(both[int(apart.argmax()), 0])]


def _on(axis: FloatArray, group: CurveGroup, rows: IndexArray) -> FloatArray:
    """Return some curves of a group on another axis, infinite outside their own."""
    known = group.frequency_mhz
    if known is axis or np.array_equal(known, axis):
        return group.value_db[rows]
    return np.stack([np.interp(axis, known, group.value_db[row], np.inf, np.inf) for row in rows])


def derived_cautions(
    measurement: LinkMeasurement,
    tables: Iterable[RowTable],
    other: Iterable[RowTable],
    link: int,
    loss_of: str,
) -> Iterator[Caution]:
    """Yield supplied derived values that differ from ours by 0.2 to 1 dB.

    ACR-F is also compared with the loss of the other pair taken off, since
    standards and tools have differed in which loss that is; ``other`` holds the
    tables computed so, ``loss_of`` says whose loss it is there.

    Raises:
        InvalidMeasurementError: one differs by more than 1 dB both ways.
    """
    tables, other = list(tables), list(other)
    for (parameter, end), groups in measurement.curves.items():
        if parameter not in DERIVED:
            continue
        for group in groups:
            for row, key in enumerate(group.keys):
                place = (parameter, end, key)
                ours = _difference_db(group.value_db[row], group.frequency_mhz, place, tables, link)
                if ours is None or ours <= DERIVED_IGNORED_DB:
                    continue
                theirs = _difference_db(group.value_db[row], group.frequency_mhz, place, other, link)
                name = f"{TRAITS[parameter].title} {key} at the {end} end"
                if theirs is not None and theirs <= DERIVED_IGNORED_DB:
                    yield Caution(
                        "derived-other-loss",
                        f"The supplied {name} refers to the insertion loss of the {loss_of} pair; "
                        f"it was computed anew with that of the other pair, as the edition asks.",
                    )
                elif ours > DERIVED_REFUSED_DB:
                    raise InvalidMeasurementError(
                        f"/sweeps/{parameter}/{end}/{key}",
                        f"The supplied {name} differs by up to {ours:.1f} dB from what the measured curves "
                        f"give, and by no more than {DERIVED_REFUSED_DB:g} dB it may; leave it out, or correct the curve "
                        f"that is wrong.",
                        round(ours, 3),
                    )
                else:
                    yield Caution(
                        "derived-differs",
                        f"The supplied {name} differs by up to {ours:.2f} dB from what the measured curves "
                        f"give; the computed value was judged.",
                    )


def _difference_db(
    value_db: FloatArray,
    axis: FloatArray,
    place: tuple[Parameter, End | None, str],
    tables: list[RowTable],
    link: int,
) -> float | None:
    for table in tables:
        for group in table.groups:
            if (group.parameter, group.end) == place[:2] and place[2] in group.keys:
                row = group.keys.index(place[2])
                ours = np.interp(axis, table.frequency_mhz, group.signed_db[link, row] * group.sign)
                return float(np.nanmax(np.abs(ours - value_db)))
    return None
