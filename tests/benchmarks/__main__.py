"""Measure everything and print the table; with ``--write`` put it into DEVELOPERS.md too."""

from __future__ import annotations

import argparse
import os
import platform
from pathlib import Path
from typing import Final

import numpy as np

from . import diagnosis, ingest, sdk, serving, sheets, verdicts
from .figures import table

DOCUMENT: Final = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
BEGIN: Final = "<!-- benchmarks: begin -->"
END: Final = "<!-- benchmarks: end -->"
PARTS: Final = {
    "ingest": ingest.figures,
    "verdicts": verdicts.figures,
    "diagnosis": diagnosis.figures,
    "serving": serving.figures,
    "sdk": sdk.figures,
    "sheets": sheets.figures,
}


def processor() -> str:
    """Return what the machine says of its processor."""
    about = Path("/proc/cpuinfo")
    lines = about.read_text(encoding="utf-8").splitlines() if about.exists() else []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or platform.machine()


def load() -> str:
    """Return how busy the machine is."""
    return f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"


def main() -> None:
    """Run the parts that were asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into DEVELOPERS.md")
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"some of {', '.join(PARTS)}; all if none")
    arguments = parser.parse_args()
    before = load()
    figures = [figure for name in arguments.parts or PARTS for figure in PARTS[name]()]
    machine = (
        f"{processor()}, {os.cpu_count()} processors, Python {platform.python_version()}, "
        f"numpy {np.__version__}; {before} before, {load()} after."
    )
    text = f"{machine}\n\n{table(figures)}"
    print(text)
    if arguments.write:
        old = DOCUMENT.read_text(encoding="utf-8")
        head, _, rest = old.partition(BEGIN)
        _, _, tail = rest.partition(END)
        DOCUMENT.write_text(f"{head}{BEGIN}\n{text}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
