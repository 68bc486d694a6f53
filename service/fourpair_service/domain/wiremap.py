"""Continuity in the words of the trade: which wire goes where, and what that is called.

The rules run from the whole to the part: what is tied together, what goes
nowhere, the well-known maps of all eight pins, then each pair, and what is left
is a miswire. T568A against T568B cannot be told from continuity (both ends alike
are straight-through); only one end of each shows, as a crossover.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Final

from fourpair_service.domain.link import PAIRS, PINS, SHIELD
from fourpair_service.domain.measurement import WireMap


class WireMapFault(StrEnum):
    """What can be wrong with continuity."""

    SHORT = "short"
    OPEN = "open"
    ROLLOVER = "rollover"
    CROSSOVER = "crossover"
    CROSSOVER_ALL_PAIRS = "crossover_all_pairs"
    REVERSED_PAIR = "reversed_pair"
    CROSSED_PAIR = "crossed_pair"
    MISWIRE = "miswire"
    CONDUCTORS_EXCHANGED = "conductors_exchanged"
    OPEN_SHIELD = "open_shield"
    SPLIT_PAIR = "split_pair"


@dataclass(frozen=True, slots=True)
class WireMapFinding:
    """One fault of the wire map.

    Attributes:
        kind: what it is.
        pins: near contacts concerned.
        pairs: pairs concerned.
        text: the fault in a sentence.
    """

    kind: WireMapFault
    pins: tuple[str, ...]
    pairs: tuple[str, ...]
    text: str


def _identity_with(**exchange: str) -> dict[str, str]:
    return {pin: exchange.get(f"p{pin}", pin) for pin in PINS}


ROLLOVER: Final = {pin: str(9 - int(pin)) for pin in PINS}
CROSSOVER: Final = _identity_with(p1="3", p2="6", p3="1", p6="2")
CROSSOVER_ALL: Final = _identity_with(p1="3", p2="6", p3="1", p6="2", p4="7", p5="8", p7="4", p8="5")

WHOLE_MAPS: Final = (
    (
        ROLLOVER,
        WireMapFault.ROLLOVER,
        "The eight wires run in reverse order (1 to 8, 2 to 7 and so on): a rollover. "
        "One connector is wired the wrong way round.",
    ),
    (
        CROSSOVER,
        WireMapFault.CROSSOVER,
        "Pairs 12 and 36 change places: one end is wired T568A, the other T568B (a crossover).",
    ),
    (
        CROSSOVER_ALL,
        WireMapFault.CROSSOVER_ALL_PAIRS,
        "Pairs 12 and 36 change places, and so do 45 and 78 (a crossover of all four pairs).",
    ),
)


def pair_of(pin: str) -> str | None:
    """Return the pair that a pin belongs to, ``None`` for the shield.

    >>> pair_of("6"), pair_of("S")
    ('36', None)
    """
    return next((pair for pair in PAIRS if pin in pair), None)


def _pairs_of(pins: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(pair for pair in PAIRS if any(pin in pair for pin in pins))


def _named(pins: tuple[str, ...]) -> str:
    return ", ".join(pins[:-1]) + f" and {pins[-1]}" if len(pins) > 1 else pins[0]


def shorted_groups(wire_map: WireMap) -> tuple[tuple[str, ...], ...]:
    """Return the sets of near contacts that are tied, merged where they overlap.

    Two contacts are tied when the test says so, when one near pin reaches
    several far pins, or when several near pins reach one far pin.
    """
    groups: list[set[str]] = [set(short) for short in wire_map.shorts if len(set(short)) > 1]
    groups += [tied for tied in _by_far(wire_map).values() if len(tied) > 1]
    groups += [far for far in _by_near(wire_map).values() if len(far) > 1]
    merged: list[set[str]] = []
    for group in groups:
        touching = [other for other in merged if other & group]
        merged = [other for other in merged if other not in touching]
        merged.append(group.union(*touching))
    order = [*PINS, SHIELD]
    return tuple(sorted(tuple(sorted(group, key=order.index)) for group in merged))


def _by_near(wire_map: WireMap) -> dict[str, set[str]]:
    reached: dict[str, set[str]] = {}
    for near, far in wire_map.contacts:
        reached.setdefault(near, set()).add(far)
    return reached


def _by_far(wire_map: WireMap) -> dict[str, set[str]]:
    reaching: dict[str, set[str]] = {}
    for near, far in wire_map.contacts:
        reaching.setdefault(far, set()).add(near)
    return reaching


def _shorts(groups: tuple[tuple[str, ...], ...]) -> Iterator[WireMapFinding]:
    for group in groups:
        names = tuple("the shield" if pin == SHIELD else pin for pin in group)
        yield WireMapFinding(
            WireMapFault.SHORT,
            group,
            _pairs_of(group),
            f"Contacts {_named(names)} are connected together (short).",
        )


def _opens(missing: tuple[str, ...]) -> Iterator[WireMapFinding]:
    for pair in PAIRS:
        pins = tuple(pin for pin in pair if pin in missing)
        if pins:
            wires = f"Wire {pins[0]}" if len(pins) == 1 else f"Wires {_named(pins)}"
            does = "does not reach" if len(pins) == 1 else "do not reach"
            yield WireMapFinding(WireMapFault.OPEN, pins, (pair,), f"{wires} {does} the far end (open).")


def _pair_findings(mapping: Mapping[str, str]) -> tuple[list[WireMapFinding], list[str]]:
    findings: list[WireMapFinding] = []
    left: list[str] = []
    for pair in PAIRS:
        near = tuple(pair)
        far = tuple(mapping[pin] for pin in near if pin in mapping)
        if len(far) < 2 or far == near:
            left += [pin for pin in near if pin in mapping and mapping[pin] != pin]
            continue
        target = next((p for p in PAIRS if set(p) == set(far)), None)
        if target is None:
            left += [pin for pin in near if mapping[pin] != pin]
        elif target == pair:
            findings.append(
                WireMapFinding(
                    WireMapFault.REVERSED_PAIR,
                    near,
                    (pair,),
                    f"The two wires of pair {pair} are exchanged (reversed pair).",
                )
            )
        else:
            turned = "" if far == tuple(target) else ", with its wires exchanged"
            findings.append(
                WireMapFinding(
                    WireMapFault.CROSSED_PAIR,
                    near,
                    (pair, target),
                    f"Pair {pair} arrives on the pins of pair {target}{turned} (crossed pair).",
                )
            )
    return findings, left


def _miswires(mapping: Mapping[str, str], left: list[str]) -> Iterator[WireMapFinding]:
    for pin in left:
        pairs = _pairs_of((pin, mapping[pin]))
        yield WireMapFinding(
            WireMapFault.MISWIRE, (pin,), pairs, f"Wire {pin} arrives on pin {mapping[pin]} (miswire)."
        )
    for first in left:
        second = mapping[first]
        if PINS.index(first) < PINS.index(second) and mapping.get(second) == first and second in left:
            pairs = _pairs_of((first, second))
            yield WireMapFinding(
                WireMapFault.CONDUCTORS_EXCHANGED,
                (first, second),
                pairs,
                f"One wire of pair {pairs[0]} and one of pair {pairs[1]} have changed places.",
            )


@lru_cache(maxsize=1024)
def name_faults(wire_map: WireMap, *, shield_expected: bool) -> tuple[WireMapFinding, ...]:
    """Return every fault of continuity in the words of the trade.

    Args:
        wire_map: which contacts connect.
        shield_expected: whether a missing shield is a fault.

    Returns:
        The faults; empty when the link is straight-through.

    >>> swapped = [("1", "2"), ("2", "1"), *((p, p) for p in "345678")]
    >>> [f.kind.value for f in name_faults(WireMap(tuple(swapped)), shield_expected=False)]
    ['reversed_pair']
    """
    groups = shorted_groups(wire_map)
    tied = {pin for group in groups for pin in group}
    reached = _by_near(wire_map)
    findings = list(_shorts(groups))
    findings += _opens(tuple(pin for pin in PINS if pin not in reached and pin not in tied))
    mapping = {pin: min(far) for pin, far in reached.items() if pin in PINS and pin not in tied}
    mapping = {pin: far for pin, far in mapping.items() if far in PINS}
    whole = next((entry for entry in WHOLE_MAPS if entry[0] == mapping), None)
    if whole is not None:
        findings.append(
            WireMapFinding(
                whole[1], PINS, PAIRS if whole[1] is not WireMapFault.CROSSOVER else ("12", "36"), whole[2]
            )
        )
    else:
        of_pairs, left = _pair_findings(mapping)
        findings += of_pairs
        findings += _miswires(mapping, left)
    if shield_expected and wire_map.shield_tested and SHIELD not in reached:
        findings.append(
            WireMapFinding(
                WireMapFault.OPEN_SHIELD,
                (SHIELD,),
                (),
                "The shield does not reach the far end (open shield).",
            )
        )
    return tuple(findings)


@lru_cache(maxsize=1024)
def broken_pairs(wire_map: WireMap) -> frozenset[str]:
    """Return the pairs that are open or shorted: what is read on them ends at the fault."""
    faults = name_faults(wire_map, shield_expected=False)
    kinds = {WireMapFault.OPEN, WireMapFault.SHORT}
    return frozenset(pair for fault in faults if fault.kind in kinds for pair in fault.pairs)
