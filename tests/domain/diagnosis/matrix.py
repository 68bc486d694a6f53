"""Every modelled link through grading and diagnosis, on all processors; as a program, the table of results.

Run it by ``PYTHONPATH=tests:samples .venv/bin/python -m domain.diagnosis.matrix``.
"""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import NamedTuple

from domain.diagnosis.cases import FAULTY, GOOD, Case
from domain.diagnosis.measured import answer

# Large arrays come and go here: kept memory and one thread a process make it many times faster.
PROCESS_SETTINGS = {
    "MALLOC_MMAP_THRESHOLD_": "1000000000",
    "MALLOC_TRIM_THRESHOLD_": "2000000000",
    "OPENBLAS_NUM_THREADS": "1",
}


class Result(NamedTuple):
    outcome: str
    faults: tuple

    @property
    def codes(self) -> list[str]:
        return [fault.code.value for fault in self.faults]


def result(index: int) -> Result:
    found = answer((*FAULTY, *GOOD)[index])
    return Result(found.verdict.outcome.value, found.diagnosis.faults)


def results() -> dict[str, Result]:
    """Return the result of each case by its name."""
    cases = (*FAULTY, *GOOD)
    os.environ.update(PROCESS_SETTINGS)
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        return dict(zip((case.name for case in cases), pool.map(result, range(len(cases))), strict=True))


def is_first(case: Case, found: Result) -> bool:
    """Whether the intended causes are the first ones named."""
    return sorted(found.codes[: len(case.faults)]) == sorted(case.faults)


def main() -> None:
    """Print how many intended causes come first, and what was called instead."""
    found = results()
    first = [case for case in FAULTY if is_first(case, found[case.name])]
    calm = [case for case in GOOD if not found[case.name].faults]
    print(
        f"intended cause first: {len(first)} of {len(FAULTY)}; good links without a fault: {len(calm)} of {len(GOOD)}"
    )
    print("\n| link | intended | called |\n| --- | --- | --- |")
    for case in (*FAULTY, *GOOD):
        codes = found[case.name].codes
        if list(case.faults) != codes:
            print(
                f"| {case.name} ({found[case.name].outcome}) | {', '.join(case.faults) or 'none'} | {', '.join(codes) or 'none'} |"
            )


if __name__ == "__main__":
    main()
