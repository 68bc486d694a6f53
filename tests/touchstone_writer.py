"""Writes Touchstone text in every form that the specification knows."""

from __future__ import annotations

import numpy as np

HERTZ = {"Hz": 1e0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


def pairs_of_numbers(form, values):
    with np.errstate(divide="ignore"):
        first, second = {
            "RI": lambda: (values.real, values.imag),
            "MA": lambda: (np.abs(values), np.angle(values, deg=True)),
            "DB": lambda: (20 * np.log10(np.abs(values)), np.angle(values, deg=True)),
        }[form.upper()]()
    return np.stack([first, second], axis=-1)


def entries(matrix, shape):
    """The matrix row by row, or what a half of it holds of each row."""
    n = len(matrix)
    columns = {"full": lambda i: range(n), "lower": lambda i: range(i + 1), "upper": lambda i: range(i, n)}
    return [matrix[i, list(columns[shape](i))] for i in range(n)]


def records(frequency_mhz, s, unit="MHz", form="RI", shape="full"):
    """The data lines, at most four pairs of numbers in each as version 1 has it."""
    for f, matrix in zip(frequency_mhz, s, strict=True):
        start = f"{f * 1e6 / HERTZ[unit]!r} "
        for row in entries(matrix, shape):
            numbers = pairs_of_numbers(form, row)
            for at in range(0, len(row), 4):
                yield start + " ".join(f"{x!r} {y!r}" for x, y in numbers[at : at + 4].tolist())
                start = ""


def version_1(frequency_mhz, s, options="# MHz S RI R 50", unit="MHz", form="RI"):
    return "\n".join([options, *records(np.asarray(frequency_mhz).tolist(), s, unit, form)]) + "\n"


def version_2(frequency_mhz, s, shape="Full", unit="MHz", form="RI", reference="50"):
    head = [
        "[Version] 2.0",
        f"# {unit} S {form} R 50",
        f"[Number of Ports] {s.shape[1]}",
        f"[Number of Frequencies] {len(s)}",
        f"[Reference] {' '.join([reference] * s.shape[1])}",
        f"[Matrix Format] {shape}",
        "[Network Data]",
    ]
    data = records(np.asarray(frequency_mhz).tolist(), s, unit, form, shape.lower())
    return "\n".join([*head, *data, "[End]"]) + "\n"
