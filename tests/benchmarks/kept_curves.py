"""Stored sweeps against their JSON: bytes, and the time until they are arrays."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Final

import orjson

from fourpair_service.records.curves import part
from fourpair_service.storage.codec import decode, encode

from .contest import contest
from .figures import Figure
from .record import SAMPLES

# Readings in dB with two decimals, and complex ones with eight.
SAMPLE_OF: Final = {"dB": ("0A-01-clean-pass", 0.20), "complex": ("0A-05-split-pair", 0.45)}
ROUNDS: Final = 30


def figures() -> Iterator[Figure]:
    """Measure stored sweeps."""
    for kind, (name, most) in SAMPLE_OF.items():
        sweeps = json.loads((SAMPLES / f"{name}.json").read_bytes())["sweeps"]
        compact = orjson.dumps(sweeps)
        # Below their name, as in a record: runs are made by parameter.
        stored = encode(part({"sweeps": sweeps}).curves)
        size = len(stored) / len(compact)
        yield Figure(
            f"bytes of stored {kind} sweeps / of their compact JSON",
            f"at most {most}",
            size,
            size,
            size <= most,
        )
        contenders = {
            "decode": lambda stored=stored: decode(stored),
            "json": lambda compact=compact: json.loads(compact),
            "orjson": lambda compact=compact: orjson.loads(compact),
        }
        times = contest(contenders, ROUNDS)
        for parser in ("json", "orjson"):
            what = f"parsing {kind} sweeps by `{parser}.loads` / decoding them"
            yield Figure.at_least(what, 15, times, parser, "decode")
