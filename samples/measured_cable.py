"""The measured cable as a measurement document: two single-ended files to two of four pairs.

Ports: the two wires of a pair are ports 1 and 3 at the near end and 2 and 4 at
the far end (the strong transmissions of the files are 1 to 2 and 3 to 4).
Mixed mode: d = (wire 1 - wire 2) / sqrt(2), so Smm = M S M^T.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np

from line_model.wire_types import ComplexArray, FloatArray
from line_model.writing import real_and_imaginary

# The file calls them TX and RX; in 10BASE-T and 100BASE-TX those are 12 and 36.
FILES: Final = {"12": "CABLE1_TX_pair.s4p", "36": "CABLE1_RX_pair.s4p"}
TOP_MHZ: Final = 500.0
NUMBERS_PER_POINT: Final = 33
DIFFERENTIAL: Final = np.array([[1, 0, -1, 0], [0, 1, 0, -1]]) / np.sqrt(2)


def read_touchstone(path: Path) -> tuple[FloatArray, ComplexArray]:
    """Return frequencies (n,) [MHz] and (n, 4, 4) parameters of a file in hertz, dB and degrees."""
    lines = path.read_text(encoding="ascii").splitlines()
    numbers = " ".join(line for line in lines if not line.startswith(("!", "#")))
    table = np.array(numbers.split(), dtype=np.float64).reshape(-1, NUMBERS_PER_POINT)
    decibel, degree = table[:, 1::2], table[:, 2::2]
    value = 10 ** (decibel / 20) * np.exp(1j * np.radians(degree))
    return np.asarray(table[:, 0] / 1e6), np.asarray(value.reshape(-1, 4, 4), dtype=np.complex128)


def differential(scattering: ComplexArray) -> ComplexArray:
    """Return the (n, 2, 2) differential parameters, near then far, against twice the reference."""
    return np.asarray(DIFFERENTIAL @ scattering @ DIFFERENTIAL.T)


def cable_document(directory: Path) -> dict[str, Any]:
    """Return the document made from the two files in ``directory``, up to 500 MHz."""
    pairs, sweeps, axis = {}, _empty_sweeps(), np.array([])
    for pair, name in FILES.items():
        frequency, scattering = read_touchstone(directory / name)
        kept = frequency <= TOP_MHZ
        axis, pair_s = frequency[kept], differential(scattering[kept])
        sweeps["insertion_loss"][pair] = real_and_imaginary(pair_s[:, 1, 0])
        sweeps["return_loss"]["near"][pair] = real_and_imaginary(pair_s[:, 0, 0])
        sweeps["return_loss"]["far"][pair] = real_and_imaginary(pair_s[:, 1, 1])
        pairs[pair] = _delay(axis, pair_s[:, 1, 0])
    return {
        "label": "CABLE1",
        "requirement": {"rule_set": "tia-568.2-d-2018", "category": "6"},
        "configuration": "channel",
        "instrument": {"kind": "vector network analyser"},
        "pairs": pairs,
        "frequency_mhz": np.round(axis, 7).tolist(),
        "sweeps": sweeps,
        "notes": "A measured cable, see README.md beside it: two of four pairs, nothing below 10 MHz.",
    }


def _empty_sweeps() -> dict[str, Any]:
    return {"insertion_loss": {}, "return_loss": {"near": {}, "far": {}}}


def _delay(frequency_mhz: FloatArray, through: ComplexArray) -> dict[str, float]:
    """Return the phase delay at the first point, 10 MHz, where the cable is far shorter than a wave."""
    delay_ns = -float(np.angle(through[0])) / (2e-3 * np.pi * float(frequency_mhz[0]))
    return {"delay_ns": round(delay_ns, 2), "delay_frequency_mhz": float(frequency_mhz[0])}
