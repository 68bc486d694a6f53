"""Writes a measurement document with its sweeps as numbers: ``binary_sweeps.py link.json link.fps``.

The README names the content type to send it with. Needs the standard library alone.
"""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path
from typing import Any

MOST_DECIMALS = 9
TYPES = (("int16", "h", 2**15), ("int32", "i", 2**31))


def lists_of(sweeps: dict[str, Any], path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], list[float]]]:
    """Take the lists of numbers out of sweeps; axes stay where they are."""
    found: list[tuple[tuple[str, ...], list[float]]] = []
    for name in list(sweeps):
        value = sweeps[name]
        if isinstance(value, dict):
            found += lists_of(value, (*path, name))
        elif name != "frequency_mhz":
            found.append(((*path, name), sweeps.pop(name)))
    return found


def packed(values: list[float]) -> tuple[dict[str, Any], bytes]:
    """Return the smallest form that gives every value back exactly, and its bytes."""
    for decimals in range(MOST_DECIMALS + 1):
        whole = [round(value * 10**decimals) for value in values]
        if [number / 10**decimals for number in whole] != values:
            continue
        for name, code, most in TYPES:
            if all(-most <= number < most for number in whole):
                return {"type": name, "decimals": decimals}, struct.pack(f"<{len(whole)}{code}", *whole)
    return {"type": "float64"}, struct.pack(f"<{len(values)}d", *values)


def binary(document: dict[str, Any]) -> bytes:
    """Return a measurement document as a body: lists of one form behind each other are told together."""
    document = json.loads(json.dumps(document))
    lists: list[dict[str, Any]] = []
    numbers = []
    for path, values in lists_of(document.get("sweeps", {})):
        told, content = packed([float(value) for value in values])
        form = {"count": len(values), **told}
        if not lists or any(lists[-1].get(name) != value for name, value in form.items()):
            lists.append({"paths": [], **form})
        lists[-1]["paths"].append("/".join(path))
        numbers.append(content)
    head = json.dumps({"document": document, "lists": lists}, separators=(",", ":")).encode()
    return b"".join((b"FPS1", struct.pack("<I", len(head)), head, *numbers))


if __name__ == "__main__":
    source, target = map(Path, sys.argv[1:3])
    target.write_bytes(binary(json.loads(source.read_text())))
