"""Verdicts of all samples as files that a person can read and compare.

Written anew, after a change that is meant, by

    .venv/bin/python tests/golden/writing.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.rulesets.catalogue import Catalogue

ROOT = Path(__file__).resolve().parents[2]
GOLDEN = Path(__file__).resolve().parent / "verdicts"
SAMPLES = [
    *sorted((ROOT / "samples" / "links").glob("*.json")),
    ROOT / "samples" / "measured" / "cable1.json",
    ROOT / "samples" / "ports" / "reception-desk.json",
]
COMMAND = ".venv/bin/python tests/golden/writing.py"
LINE = 150


def laid_out(value: Any, depth: int = 0) -> str:
    """Return JSON with whatever fits on a line on one, so that a difference shows as few lines."""
    short = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, dict | list) or len(short) + depth <= LINE:
        return short
    if isinstance(value, dict):
        items = [f"{json.dumps(key)}: {laid_out(item, depth + 1)}" for key, item in value.items()]
    else:
        items = [laid_out(item, depth + 1) for item in value]
    brackets = "{}" if isinstance(value, dict) else "[]"
    inner = ",\n".join(" " * (depth + 1) + item for item in items)
    return f"{brackets[0]}\n{inner}\n{' ' * depth}{brackets[1]}"


def golden_text(sample: Path, catalogue: Catalogue) -> str:
    """Return the verdict of a sample, without the digest of the edition file it was judged by."""
    document = json.loads(sample.read_text(encoding="utf-8"))
    verdict = grade_document(GradeRequest(document), catalogue)["verdict"]
    del verdict["rule_set"]["digest"]
    return laid_out(verdict) + "\n"


def golden_file(sample: Path) -> Path:
    """Return where the verdict of a sample is kept."""
    return GOLDEN / sample.name


def write() -> None:
    """Write every file anew and remove those that belong to no sample."""
    catalogue = Catalogue.load()
    for left in set(GOLDEN.glob("*.json")) - {golden_file(sample) for sample in SAMPLES}:
        left.unlink()
    for sample in SAMPLES:
        golden_file(sample).write_text(golden_text(sample, catalogue), encoding="utf-8")


if __name__ == "__main__":
    write()
