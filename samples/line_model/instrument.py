"""What an instrument makes of a link: a stepped axis, a noise floor, rounded readings."""

from __future__ import annotations

from itertools import permutations
from typing import Final, TypeAlias

import numpy as np
from numpy.random import RandomState

from line_model.link import DELAY_AT_MHZ, PhysicalLink
from line_model.parts import COMBINATIONS, PAIRS
from line_model.wire_types import ComplexArray, FloatArray

Segment: TypeAlias = dict[str, float]
Curves: TypeAlias = dict[str, ComplexArray]

NOISE_FLOOR_DB: Final = -92.0
SPEED_OF_LIGHT_M_PER_NS: Final = 0.299792458
FEXT_KEYS: Final = tuple(f"{a}>{b}" for a, b in permutations(PAIRS, 2))

# Usual test steps, as (start, step, stop); memory.
STEPS: Final = (
    (1.0, 0.15, 31.15),
    (31.25, 0.25, 100.0),
    (100.5, 0.5, 250.0),
    (251.0, 1.0, 500.0),
)


def axis(top_mhz: float) -> list[Segment]:
    """Return the segments of the frequency axis up to ``top_mhz``. [MHz]."""
    kept = [(start, step, min(stop, top_mhz)) for start, step, stop in STEPS if start < top_mhz]
    return [{"start": start, "step": step, "stop": stop} for start, step, stop in kept]


def points(segments: list[Segment]) -> FloatArray:
    """Return the (n,) frequencies of an axis. [MHz]."""
    parts = []
    for segment in segments:
        count = round((segment["stop"] - segment["start"]) / segment["step"]) + 1
        parts.append(segment["start"] + segment["step"] * np.arange(count))
    return np.asarray(np.round(np.concatenate(parts), 6), dtype=np.float64)


def sweep(link: PhysicalLink, frequency_mhz: FloatArray) -> ComplexArray:
    """Return the (n, 8, 8) scattering parameters as read: with the noise floor of the instrument."""
    true = link.scattering(frequency_mhz)
    random = RandomState(link.seed + 500_000)
    noise = random.standard_normal(true.shape) + 1j * random.standard_normal(true.shape)
    return np.asarray(true + noise * 10 ** (NOISE_FLOOR_DB / 20) / np.sqrt(2))


def insertion_loss(scattering: ComplexArray) -> Curves:
    """Return the transmission of each pair."""
    return {pair: scattering[:, 4 + k, k] for k, pair in enumerate(PAIRS)}


def return_loss(scattering: ComplexArray, offset: int) -> Curves:
    """Return the reflection of each pair at the near (0) or far (4) end."""
    return {pair: scattering[:, offset + k, offset + k] for k, pair in enumerate(PAIRS)}


def near_end_crosstalk(scattering: ComplexArray, offset: int) -> Curves:
    """Return NEXT of each combination at the near (0) or far (4) end."""
    at = {pair: offset + k for k, pair in enumerate(PAIRS)}
    return {name: scattering[:, at[name[3:]], at[name[:2]]] for name in COMBINATIONS}


def far_end_crosstalk(scattering: ComplexArray, offset: int) -> Curves:
    """Return FEXT of each ordered combination, injected at the near (0) or far (4) end."""
    into = {pair: offset + k for k, pair in enumerate(PAIRS)}
    out = {pair: 4 - offset + k for k, pair in enumerate(PAIRS)}
    return {name: scattering[:, out[name[3:]], into[name[:2]]] for name in FEXT_KEYS}


def readings(link: PhysicalLink, nvp: float, temperature_c: float) -> dict[str, dict[str, float]]:
    """Return length, delay and DC resistance of each pair, rounded as a display shows them.

    A cut pair has the length and delay to the cut, and no resistance.
    """
    delay = link.phase_delay_ns()
    if link.broken_pair is not None:
        delay[link.broken_pair] = link.expected_delay_ns(DELAY_AT_MHZ, link.broken_pair)[link.broken_pair]
    loop = link.loop_resistance_ohm(temperature_c)
    own = 0.01 + 0.05 * RandomState(link.seed + 900_000).uniform(size=len(PAIRS))
    unbalance = own + link.contact_excess_ohm()
    out: dict[str, dict[str, float]] = {}
    for k, pair in enumerate(PAIRS):
        out[pair] = {
            "length_m": round(float(delay[k]) * nvp * SPEED_OF_LIGHT_M_PER_NS, 1),
            "delay_ns": round(float(delay[k]), 1),
            "delay_frequency_mhz": DELAY_AT_MHZ,
        }
        if np.isfinite(loop[k]):
            out[pair]["loop_resistance_ohm"] = round(float(loop[k]), 2)
            out[pair]["resistance_unbalance_ohm"] = round(float(unbalance[k]), 3)
    return out
