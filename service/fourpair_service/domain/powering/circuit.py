r"""A source, a resistance and a device that draws a constant power.

The source holds V, the loop out and back has R, the device draws P. Then
V I - R I^2 = P, of which the smaller root is where the device settles:
I = (V - sqrt(V^2 - 4 R P)) / (2 R).
"""

from __future__ import annotations

from math import sqrt


def current_a(source_v: float, loop_ohm: float, device_w: float) -> float | None:
    """Return the current that a device draws, ``None`` where no current gives it that power. [A].

    60 W of a source at 50 V over 6.25 ohm leave 51 W (IEEE 802.3 class 6):

    >>> round(current_a(50.0, 6.25, 51.0), 9)
    1.2
    >>> current_a(50.0, 20.0, 51.0) is None
    True
    """
    under_root = source_v**2 - 4 * loop_ohm * device_w
    if under_root < 0:
        return None
    # The same root as in the heading, in the form that does not cancel for a small resistance.
    return 2 * device_w / (source_v + sqrt(under_root))


def available_w(
    source_v: float, loop_ohm: float, source_w: float, least_device_v: float
) -> tuple[float, float]:
    """Return the largest power that a device can have, and the current with it. [W, A].

    Args:
        source_v: at the source. [V]
        loop_ohm: out and back, at least 0. [ohm]
        source_w: what the source can give. [W]
        least_device_v: below it the device does not work; more than half of
            ``source_v``, so that a larger current always means more power. [V]

    >>> available_w(50.0, 6.25, 60.0, 39.9)
    (51.0, 1.2)
    """
    current = source_w / source_v
    if current * loop_ohm > source_v - least_device_v:
        current = (source_v - least_device_v) / loop_ohm
    return current * (source_v - current * loop_ohm), current


def parallel_ohm(first_ohm: float, second_ohm: float) -> float:
    """Return two resistances in parallel. [ohm].

    >>> parallel_ohm(9.0, 9.0), parallel_ohm(0.0, 0.0)
    (4.5, 0.0)
    """
    total = first_ohm + second_ohm
    return first_ohm * second_ohm / total if total > 0 else 0.0


def larger_share(first_ohm: float, second_ohm: float) -> float:
    """Return the share of a current that goes through the better of two paths.

    >>> larger_share(9.0, 9.0), round(larger_share(9.0, 11.0), 3)
    (0.5, 0.55)
    """
    total = first_ohm + second_ohm
    return max(first_ohm, second_ohm) / total if total > 0 else 0.5
