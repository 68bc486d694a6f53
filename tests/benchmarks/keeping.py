"""Measure what keeping records costs, and print the table; with ``--write`` put it into DEVELOPERS.md too.

Run from the top of the repository with ``python -m tests.benchmarks.keeping``.
"""

from __future__ import annotations

import argparse
import os
import platform
from collections.abc import Callable, Iterable
from typing import Final

from . import kept_curves, kept_kills, kept_million, kept_serving
from .__main__ import DOCUMENT, load, processor
from .figures import Figure, table

BEGIN: Final = "<!-- keeping: begin -->"
END: Final = "<!-- keeping: end -->"


def main() -> None:
    """Run the parts that were asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.keeping", description=__doc__)
    parser.add_argument("--write", action="store_true", help="put the table into DEVELOPERS.md")
    parser.add_argument("--records", type=int, default=1_000_000, help="of the large store")
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument(
        "parts", nargs="*", metavar="PART", help="some of curves, million, serving, kills; all if none"
    )
    options = parser.parse_args()
    measured: dict[str, Callable[[], Iterable[Figure]]] = {
        "curves": kept_curves.figures,
        "million": lambda: kept_million.figures(options.records),
        "serving": kept_serving.figures,
    }
    wanted, before = options.parts or [*measured, "kills"], load()
    found = [figure for name in measured if name in wanted for figure in measured[name]()]
    killed = kept_kills.sentence(options.kills) if "kills" in wanted else ""
    machine = f"{processor()}, {os.cpu_count()} processors, Python {platform.python_version()}; {before} before, {load()} after."
    text = "\n\n".join(part for part in (machine, table(found) if found else "", killed) if part)
    print(text)
    if options.write:
        head, _, rest = DOCUMENT.read_text(encoding="utf-8").partition(BEGIN)
        _, _, tail = rest.partition(END)
        DOCUMENT.write_text(f"{head}{BEGIN}\n{text}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
