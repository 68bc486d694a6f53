"""Each class of power on one link: what arrives, what the cable takes, whether the device works."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fourpair_service.domain.powering.circuit import available_w, current_a, larger_share, parallel_ohm
from fourpair_service.domain.powering.facts import PowerClass
from fourpair_service.domain.powering.resistance import PAIRSETS, LinkResistance
from fourpair_service.domain.support import Support, either_way

TWO_PAIRS: Final = 2
BOTH: Final = "A+B"


@dataclass(frozen=True, slots=True)
class Feed:
    """One class over one way of feeding; values are ``None`` where they cannot be had.

    Attributes:
        name: ``A`` (pairs 12 and 36), ``B`` (45 and 78) or ``A+B``.
        loop_ohm: out and back, with cords. [ohm]
        available_w: the most that a device can have. [W]
        source_w, current_a, cable_loss_w, device_voltage_v: while the device
            draws what its class promises it; ``None`` where that cannot be. [W, A, W, V]
        pair_current_a: through the pair that carries most. [A]
    """

    name: str
    state: Support
    loop_ohm: float | None = None
    estimated: bool = False
    available_w: float | None = None
    source_w: float | None = None
    current_a: float | None = None
    cable_loss_w: float | None = None
    device_voltage_v: float | None = None
    pair_current_a: float | None = None


@dataclass(frozen=True, slots=True)
class ClassResult:
    """One class on this link, over every way that a source may feed it."""

    power_class: PowerClass
    state: Support
    feeds: tuple[Feed, ...]
    reason: str

    @property
    def worst(self) -> Feed | None:
        """The feed with the most resistance, ``None`` where none is known."""
        known = [feed for feed in self.feeds if feed.loop_ohm is not None]
        return max(known, key=lambda feed: feed.loop_ohm or 0.0, default=None)


def feed_names(power_class: PowerClass) -> tuple[str, ...]:
    """Return the ways in which a class may be fed."""
    return tuple(PAIRSETS) if power_class.pairs == TWO_PAIRS else (BOTH,)


def feed_loop_ohm(resistance: LinkResistance, name: str) -> float | None:
    """Return the loop of one way of feeding, ``None`` where a pair of it is not known. [ohm]."""
    parts = [resistance.pairset_ohm(part) for part in name.split("+")]
    known = [part for part in parts if part is not None]
    if len(known) < len(parts):
        return None
    return known[0] if len(known) == 1 else parallel_ohm(*known)


def class_result(power_class: PowerClass, resistance: LinkResistance) -> ClassResult:
    """Return what one class comes to on this link, at the lowest voltage that its source may have."""
    feeds = _feeds(power_class, resistance)
    state = _state(feeds)
    return ClassResult(power_class, state, feeds, _reason(power_class, feeds, state, resistance))


def class_state(power_class: PowerClass, resistance: LinkResistance) -> Support:
    """Return the state that :func:`class_result` tells, alone."""
    return _state(_feeds(power_class, resistance))


def _feeds(power_class: PowerClass, resistance: LinkResistance) -> tuple[Feed, ...]:
    return tuple(_feed(power_class, resistance, name) for name in feed_names(power_class))


def _state(feeds: tuple[Feed, ...]) -> Support:
    return either_way(tuple(feed.state for feed in feeds))


def _feed(power_class: PowerClass, resistance: LinkResistance, name: str) -> Feed:
    parts = tuple(name.split("+"))
    if any(resistance.is_broken(part) for part in parts):
        return Feed(name, Support.NOT_SUPPORTED)
    loop = feed_loop_ohm(resistance, name)
    if loop is None:
        return Feed(name, Support.NOT_EVALUATED)
    most, _ = available_w(
        power_class.source_voltage_v, loop, power_class.source_power_w, power_class.device_voltage_v
    )
    drawn = current_a(power_class.source_voltage_v, loop, power_class.device_power_w)
    pair_current = None if drawn is None else drawn * _largest_pair_share(resistance, name)
    enough = loop <= power_class.loop_ohm
    even = pair_current is not None and pair_current <= power_class.largest_pair_current_a
    return Feed(
        name,
        (Support.SUPPORTED if even else Support.CONDITIONAL) if enough else Support.NOT_SUPPORTED,
        loop,
        resistance.is_estimated(parts),
        most,
        None if drawn is None else drawn * power_class.source_voltage_v,
        drawn,
        None if drawn is None else drawn**2 * loop,
        None if drawn is None else power_class.source_voltage_v - drawn * loop,
        pair_current,
    )


def _largest_pair_share(resistance: LinkResistance, name: str) -> float:
    """Return the share of the current in the pair that carries most.

    Which two pairs have the same polarity depends on the source; the most
    unequal two are taken.
    """
    if name != BOTH:
        return 1.0
    values = resistance.pair_ohm.values()
    return larger_share(min(values), max(values))


def _reason(
    power_class: PowerClass, feeds: tuple[Feed, ...], state: Support, resistance: LinkResistance
) -> str:
    if state is Support.NOT_EVALUATED:
        return "Neither resistance nor length is known for all the pairs that it needs."
    known = tuple(feed for feed in feeds if feed.loop_ohm is not None)
    sentences = []
    if len(known) < len(feeds):
        pairs = resistance.broken
        sentences.append(
            f"Pair {pairs[0]} is open or shorted."
            if len(pairs) == 1
            else f"Pairs {' and '.join(pairs)} are open or shorted."
        )
    if sentences and known:
        sentences.append("Only a source that feeds the other two pairs comes into question.")
    if known:
        rest = either_way(tuple(feed.state for feed in known))
        sentences.append(_reason_of_known(power_class, known, rest))
    return " ".join(sentences)


def _reason_of_known(power_class: PowerClass, feeds: tuple[Feed, ...], state: Support) -> str:
    worst = max(feeds, key=lambda feed: feed.loop_ohm or 0.0)
    loop, most = worst.loop_ohm or 0.0, worst.available_w or 0.0
    ohm = f"{loop:.2f} ohm (estimated)" if worst.estimated else f"{loop:.2f} ohm"
    if loop > power_class.loop_ohm:
        fed = " where the source feeds the worse two pairs" if state is Support.CONDITIONAL else ""
        return (
            f"{ohm} are more than the {power_class.loop_ohm:g} ohm that the class counts with: "
            f"{most:.1f} W of the {power_class.device_power_w:g} W are left for the device{fed}. "
            "A device that draws no more still works."
        )
    if state is Support.CONDITIONAL:
        return (
            f"The resistances are so unequal that one pair carries {worst.pair_current_a:.2f} A, "
            f"more than {power_class.largest_pair_current_a:g} A."
        )
    return f"{ohm} leave the device its {power_class.device_power_w:g} W."
