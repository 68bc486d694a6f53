"""Category 6 permanent link limits, written out by hand, to judge the samples apart from the grader.

ANSI/TIA-568.2-D, clause 6; the cable and connector terms are confirmed in print, the rest is from memory.
"""

from itertools import combinations

import numpy as np

PAIRS = ("12", "36", "45", "78")


def insertion_loss_db(f):
    return 0.9 * (1.808 * np.sqrt(f) + 0.017 * f + 0.2 / np.sqrt(f)) + 0.06 * np.sqrt(f) + 0.00015 * f**1.5


def _near_end(f, cable, connector, most):
    sum_of_voltages = 10 ** (-(cable - 15 * np.log10(f / 100)) / 20)
    sum_of_voltages += 10 ** (-(connector - 20 * np.log10(f / 100)) / 20)
    return np.minimum(most, -20 * np.log10(sum_of_voltages))


def next_db(f):
    return _near_end(f, 44.3, 54.0, 65.0)


def ps_next_db(f):
    return _near_end(f, 42.3, 50.0, 62.0)


def acr_f_db(f):
    return 24.2 - 20 * np.log10(f / 100)


def ps_acr_f_db(f):
    return 21.2 - 20 * np.log10(f / 100)


def return_loss_db(f):
    steps = [f < 3, f < 10, f < 40]
    return np.select(steps, [21 + 4 * np.log10(f / 3), 21, 26 - 5 * np.log10(f)], 34 - 10 * np.log10(f))


def _power_sum(curves):
    return -10 * np.log10(sum(10 ** (-curve / 10) for curve in curves))


def _smallest(margins):
    return min(float(np.min(margin)) for margin in margins)


def worst_margins_db(f, loss, near_next, fext, return_loss):
    """Return the smallest margin of each parameter at one end; curves by pair or combination."""
    kept = {pair: loss[pair] >= 3.0 for pair in PAIRS}
    of_pair = {p: [near_next[f"{a}-{b}"] for a, b in combinations(PAIRS, 2) if p in (a, b)] for p in PAIRS}
    out = {
        "insertion_loss": _smallest(insertion_loss_db(f) - loss[p] for p in PAIRS),
        "next": _smallest(curve - next_db(f) for curve in near_next.values()),
        "ps_next": _smallest(_power_sum(of_pair[p]) - ps_next_db(f) for p in PAIRS),
        "return_loss": _smallest((return_loss[p] - return_loss_db(f))[kept[p]] for p in PAIRS),
    }
    if fext:
        into = {p: [fext[f"{a}>{p}"] for a in PAIRS if a != p] for p in PAIRS}
        # ACR-F is not judged where FEXT is above 70 dB (memory).
        ratios = [
            np.where(curve > 70, np.inf, curve - loss[p] - acr_f_db(f)) for p in PAIRS for curve in into[p]
        ]
        out["acr_f"] = _smallest(ratios)
        out["ps_acr_f"] = _smallest(_power_sum(into[p]) - loss[p] - ps_acr_f_db(f) for p in PAIRS)
    return out
