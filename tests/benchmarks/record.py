"""The full record that is measured on: 48 curves of 778 points, and batches of such links."""

from __future__ import annotations

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np

SAMPLES: Final = Path(__file__).resolve().parents[2] / "samples" / "links"
# A clean category 6 link of the line model: insertion loss, NEXT and return loss
# at both ends, FEXT injected at the near end, on the axis that category 6 asks for.
LINK: Final = SAMPLES / "0A-01-clean-pass.json"

# How far two measurements of one link lie apart, about what a field tester repeats to.
REPEAT_DB: Final = 0.2


def _varied(curves: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    return {key: _varied(c, rng) if isinstance(c, dict) else _again(c, rng) for key, c in curves.items()}


def _again(curve: list[float], rng: np.random.Generator) -> list[float]:
    noise = rng.normal(0.0, REPEAT_DB, len(curve))
    return [float(value) for value in np.round(np.maximum(np.array(curve) + noise, 0.0), 2)]


@cache
def _base() -> dict[str, Any]:
    document: dict[str, Any] = json.loads(LINK.read_text(encoding="utf-8"))
    fext = document["sweeps"]["fext"]
    # By reciprocity the far a>b is the near b>a; measured a second time.
    mirrored = {"{1}>{0}".format(*key.split(">")): curve for key, curve in fext["near"].items()}
    fext["far"] = _varied(mirrored, np.random.default_rng(0))
    return document


def document(number: int = 0) -> dict[str, Any]:
    """Return one of any number of alike links; the same number gives the same document."""
    made = copy.deepcopy(_base())
    if number:
        made["sweeps"] = _varied(made["sweeps"], np.random.default_rng(number))
    return made


def body(number: int = 0) -> bytes:
    """Return a document as the SDK sends it."""
    return json.dumps(document(number), separators=(",", ":")).encode()


def curves(made: dict[str, Any]) -> list[list[float]]:
    """Return all curves of a document."""
    found: list[list[float]] = []

    def collect(node: Any) -> None:
        if isinstance(node, dict):
            for inner in node.values():
                collect(inner)
        else:
            found.append(node)

    collect(made["sweeps"])
    return found
