"""Which port of a network stands at which pin of a link: declared, or recognised."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from itertools import product
from typing import Final, TypeAlias

import numpy as np

from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import ComplexArray, FloatArray
from fourpair_service.domain.mixed_mode import LogicalPorts, crosstalk_power, mixed_mode


class PortKind(StrEnum):
    """What a port of a network is connected to."""

    SINGLE_ENDED = "single_ended"
    DIFFERENTIAL = "differential"


class PortOrder(StrEnum):
    """A numbering of the ports of a link.

    For the four pairs and ports of one conductor each:

    - ``pins_near_then_far``: near pins 1 to 8, then far pins 1 to 8;
    - ``pins_alternating``: odd ports at near pins 1 to 8, even ports at far pins 1 to 8;
    - ``pairs_near_then_far``: the near pairs at ports 1-2, 3-4, 5-6, 7-8, then the far pairs;
    - ``pairs_interleaved``: near pair at ports 1-2, the same pair far at 3-4, and so on.

    Fewer pairs use the pins that they have, in the same manner. Pairs are in the
    order in which they are declared, the positive conductor first (pins 1, 3, 5
    and 7). Where each port is a whole pair, the orders by pins take the pairs as
    the orders by pairs do.
    """

    PINS_NEAR_THEN_FAR = "pins_near_then_far"
    PINS_ALTERNATING = "pins_alternating"
    PAIRS_NEAR_THEN_FAR = "pairs_near_then_far"
    PAIRS_INTERLEAVED = "pairs_interleaved"


# Positive conductor first (pins 1, 3, 5, 7; common practice, no published source).
CONDUCTORS: Final = {"12": ("1", "2"), "36": ("3", "6"), "45": ("5", "4"), "78": ("7", "8")}
# Low enough for crosstalk to be weak, high enough for the modes to be guided.
RECOGNISED_AT_MHZ: Final = 2.0
# How much less crosstalk one reading of the ports must show than another one.
CLEARLY_LESS: Final = 4.0

# An end, the place of a pair among the declared ones, a conductor of that pair.
_Contact: TypeAlias = tuple[End, int, int]


def logical_ports(order: PortOrder | tuple[int, ...], pairs: Sequence[str], kind: PortKind) -> LogicalPorts:
    """Return the ports of each pair at the near end, then at the far end.

    Args:
        order: a numbering by name, or the port numbers (from 1) of what
            ``pairs_near_then_far`` has at its ports 1, 2, 3 and so on.
        pairs: the pairs of the network, in its order.
        kind: what one port is.

    Raises:
        InvalidMeasurementError: numbers that do not name each port once.
    """
    named = order if isinstance(order, PortOrder) else PortOrder.PAIRS_NEAR_THEN_FAR
    contacts = _contacts(named, pairs, kind)
    numbers = range(1, len(contacts) + 1) if isinstance(order, PortOrder) else order
    if sorted(numbers) != list(range(1, len(contacts) + 1)):
        raise InvalidMeasurementError(
            "/touchstone/order", f"expected each of the ports 1 to {len(contacts)} once", list(numbers)
        )
    port_of = {contact: number - 1 for contact, number in zip(contacts, numbers, strict=True)}
    return tuple(
        tuple(port_of[end, k, i] for i in range(_conductors(kind))) for end in End for k in range(len(pairs))
    )


def _conductors(kind: PortKind) -> int:
    return 2 if kind is PortKind.SINGLE_ENDED else 1


def _contacts(order: PortOrder, pairs: Sequence[str], kind: PortKind) -> list[_Contact]:
    """Return what stands at each port, in the order of the ports."""
    by_pair = list(product(range(len(pairs)), range(_conductors(kind))))
    if kind is PortKind.SINGLE_ENDED and order in (PortOrder.PINS_NEAR_THEN_FAR, PortOrder.PINS_ALTERNATING):
        by_pair.sort(key=lambda place: CONDUCTORS[pairs[place[0]]][place[1]])
    if order in (PortOrder.PINS_NEAR_THEN_FAR, PortOrder.PAIRS_NEAR_THEN_FAR):
        return [(end, *place) for end in End for place in by_pair]
    if order is PortOrder.PINS_ALTERNATING:
        return [(end, *place) for place in by_pair for end in End]
    return [(end, k, i) for k in range(len(pairs)) for end in End for i in range(_conductors(kind))]


def recognise(
    frequency_mhz: FloatArray, s: ComplexArray, pairs: Sequence[str], kind: PortKind
) -> LogicalPorts:
    """Return the ports of each pair, by the strongest transmission near 2 MHz.

    From every port of an intact link the strongest transmission goes to the
    other end of the same conductor. The two numberings that have the near end
    first agree in that; they are told apart by the crosstalk that each would
    mean. Only the numbering by pins is ever chosen so: what looks like a clean
    link numbered by pairs may as well be a link numbered by pins whose pairs
    36 and 45 are split, and such a link must not pass.

    Args:
        frequency_mhz: (n,). [MHz]
        s: (n, ports, ports).
        pairs: the pairs of the network, in its order.
        kind: what one port is.

    Raises:
        InvalidMeasurementError: no numbering fits, or more than one.
    """
    matrix = s[int(np.argmin(np.abs(frequency_mhz - RECOGNISED_AT_MHZ)))]
    numberings = [logical_ports(order, pairs, kind) for order in PortOrder]
    # Numberings that differ in polarity alone are one.
    found = {tuple(map(frozenset, ports)): ports for ports in reversed(numberings) if _fits(matrix, ports)}
    if not found:
        raise _refusal("the strongest transmission from each port does not lead to its far end")
    *by_pairs, by_pins = found.values()
    if any(not _is_clearly_cleaner(matrix, by_pins, other) for other in by_pairs):
        raise _refusal("numbered by pairs, or by pins with split pairs, it would look the same")
    return by_pins


def _fits(matrix: ComplexArray, ports: LogicalPorts) -> bool:
    off_diagonal = np.abs(matrix) * (1 - np.eye(len(matrix)))
    strongest = off_diagonal.argmax(axis=0)
    near, far = (np.array(half).ravel() for half in (ports[: len(ports) // 2], ports[len(ports) // 2 :]))
    return bool((strongest[near] == far).all() and (strongest[far] == near).all())


def _is_clearly_cleaner(matrix: ComplexArray, ports: LogicalPorts, other: LogicalPorts) -> bool:
    ours, theirs = (crosstalk_power(mixed_mode(matrix, each), len(each) // 2) for each in (ports, other))
    return ours * CLEARLY_LESS < theirs


def _refusal(reason: str) -> InvalidMeasurementError:
    return InvalidMeasurementError(
        "/touchstone/order",
        f"the order of the ports cannot be recognised: {reason}. "
        f"State it: {', '.join(PortOrder)}, or the port numbers themselves.",
    )
