"""Measurement documents as text: one curve on a line, the same bytes each time."""

from __future__ import annotations

import json
from typing import Any, Final

import numpy as np

from line_model.wire_types import ComplexArray

LONGEST_LINE: Final = 150


def decibels(value: ComplexArray) -> list[float]:
    """Return the loss of (n,) scattering parameters, to 0.01 dB. [dB]."""
    return [round(x, 2) + 0.0 for x in (-20 * np.log10(np.abs(value))).tolist()]


def real_and_imaginary(value: ComplexArray) -> dict[str, list[float]]:
    """Return (n,) scattering parameters as two lists of six significant digits."""
    return {"re": [_six(x) for x in value.real.tolist()], "im": [_six(x) for x in value.imag.tolist()]}


def as_text(document: object, indent: int = 0) -> str:
    """Return JSON in which every mapping that is too long for a line is broken up, and no list of numbers."""
    compact = json.dumps(document, ensure_ascii=False, separators=(", ", ": "))
    if len(compact) <= LONGEST_LINE and indent:
        return compact
    pad = " " * (indent + 1)
    if isinstance(document, dict):
        rows = [f"{pad}{json.dumps(key)}: {as_text(value, indent + 1)}" for key, value in document.items()]
        return "{\n" + ",\n".join(rows) + "\n" + " " * indent + "}"
    if isinstance(document, list) and any(isinstance(item, dict) for item in document):
        rows = [pad + as_text(item, indent + 1) for item in document]
        return "[\n" + ",\n".join(rows) + "\n" + " " * indent + "]"
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


def file_text(document: dict[str, Any]) -> str:
    """Return the text of a whole file."""
    return as_text(document) + "\n"


def _six(value: float) -> float:
    return float(f"{round(value, 8):.6g}")
