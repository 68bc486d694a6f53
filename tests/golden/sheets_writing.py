"""Link sheets of all samples as text that a person can read and compare.

Written anew, after a change that is meant, by

    .venv/bin/python tests/golden/sheets_writing.py
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from fourpair_service.reports.language import Tongue  # noqa: E402
from fourpair_service.reports.sheet.plain import sheet_text  # noqa: E402
from golden.writing import SAMPLES  # noqa: E402
from reports.sheets import answer_of, sheet_of  # noqa: E402

GOLDEN = HERE / "sheets"
COMMAND = ".venv/bin/python tests/golden/sheets_writing.py"


def golden_text(sample: Path, tongue: Tongue) -> str:
    """Return the sheet of a sample, without digests: they follow from every comment of an edition file."""
    found = answer_of(json.loads(sample.read_bytes()))
    return sheet_text(sheet_of(found, tongue)).replace(found.answer["verdict_digest"], "sha256:...")


def golden_file(sample: Path, tongue: Tongue) -> Path:
    """Return where the sheet of a sample is kept."""
    return GOLDEN / f"{sample.stem}.{tongue}.txt"


def write() -> None:
    """Write every file anew and remove those that belong to no sample."""
    wanted = {golden_file(sample, tongue): (sample, tongue) for sample in SAMPLES for tongue in Tongue}
    for left in set(GOLDEN.glob("*.txt")) - set(wanted):
        left.unlink()
    for target, (sample, tongue) in wanted.items():
        target.write_text(golden_text(sample, tongue), encoding="utf-8")


if __name__ == "__main__":
    write()
