"""A link of four pairs as scattering parameters, written mode by mode.

It shares nothing with what it tests: modes are turned back into conductors by
explicit sums, and each numbering is a list of what stands at each port.
"""

from __future__ import annotations

import numpy as np

# Near contacts 1 to 8 and far contacts 1 to 8, positive conductors 1, 3, 5, 7.
CONTACTS = [(end, pin) for end in "nf" for pin in range(1, 9)]
PAIR_PINS = {"12": (1, 2), "36": (3, 6), "45": (5, 4), "78": (7, 8)}
PIN_ORDER = [1, 2, 3, 4, 5, 6, 7, 8]
PAIR_ORDER = [1, 2, 3, 6, 5, 4, 7, 8]

NUMBERINGS = {
    "pins_near_then_far": [(end, pin) for end in "nf" for pin in PIN_ORDER],
    "pins_alternating": [(end, pin) for pin in PIN_ORDER for end in "nf"],
    "pairs_near_then_far": [(end, pin) for end in "nf" for pin in PAIR_ORDER],
    "pairs_interleaved": [(end, pin) for i in (0, 2, 4, 6) for end in "nf" for pin in PAIR_ORDER[i : i + 2]],
}


def differential_modes(frequency_mhz):
    """(n, 8, 8) of near pairs 12, 36, 45, 78 and the same far: losses and delays of 50 m, weak crosstalk."""
    f = np.asarray(frequency_mhz, float)
    s = np.zeros((f.size, 8, 8), complex)
    for k, delay_us in enumerate((0.2500, 0.2530, 0.2450, 0.2475)):
        through = 10 ** (-(0.9 * np.sqrt(f) + 0.05 * k) / 20) * np.exp(-2j * np.pi * f * delay_us)
        s[:, k, k + 4] = s[:, k + 4, k] = through
        s[:, k, k], s[:, k + 4, k + 4] = 0.03 + 0.005 * k, 0.04 - 0.004j * k
    for a in range(4):
        for b in range(a):
            coupling = 1e-3 * (f / 10) ** 0.75 * np.exp(1j * (a + 3 * b))
            for i, j, share in ((a, b, 1.0), (a + 4, b + 4, 1.1), (a, b + 4, 0.3), (a + 4, b, 0.35)):
                s[:, i, j] = s[:, j, i] = share * coupling
    return s


def mixed_modes(frequency_mhz):
    """(n, 16, 16): the differential modes, common modes that travel faster, some conversion."""
    f = np.asarray(frequency_mhz, float)
    s = np.zeros((f.size, 16, 16), complex)
    s[:, :8, :8] = differential_modes(f)
    for k in range(8):
        other = (k + 4) % 8
        s[:, 8 + k, 8 + other] = 0.9 * 10 ** (-0.5 * np.sqrt(f) / 20) * np.exp(-2j * np.pi * f * 0.21)
        s[:, 8 + k, 8 + k] = 0.2
        s[:, 8 + k, k] = s[:, k, 8 + k] = (2 + k) * 1e-3
        s[:, 8 + k, other] = s[:, other, 8 + k] = (1 + k) * 1e-3
    return s


def single_ended(frequency_mhz, numbering=None, pair_pins=None):
    """(n, 16, 16) as an analyser measures it with its ports connected as ``numbering`` says."""
    pins = pair_pins or PAIR_PINS
    smm = mixed_modes(frequency_mhz)
    # Each conductor is (common +- differential) / sqrt 2 of its pair.
    conductor = {}
    for e, end in enumerate("nf"):
        for k, (positive, negative) in enumerate(pins.values()):
            for pin, sign in ((positive, 1), (negative, -1)):
                row = np.zeros(16)
                row[4 * e + k], row[8 + 4 * e + k] = sign / np.sqrt(2), 1 / np.sqrt(2)
                conductor[end, pin] = row
    rows = np.array([conductor[contact] for contact in numbering or CONTACTS])
    return rows @ smm @ rows.T
