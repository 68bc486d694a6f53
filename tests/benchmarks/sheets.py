"""Link sheets of all samples: what grading a link and drawing its page takes, beside the grade alone.

Seconds are those of the processor in one thread, as in all contests here.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any, Final

from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import GradeRequest, graded
from fourpair_service.http.sheets import source_of
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.form import SheetForm, written
from fourpair_service.rulesets.catalogue import Catalogue

from .contest import Times, contest
from .figures import Figure

LINKS: Final = sorted((Path(__file__).resolve().parents[2] / "samples" / "links").glob("*.json"))
# What a person waits for a page without noticing much.
AIM_S: Final = 0.5
ROUNDS: Final = 5
FAILING: Final = "1A-01-bad-far-connector"
FORMS: Final = {
    "PDF": SheetForm("pdf"),
    "HTML": SheetForm("html"),
    "PNG of 1000 pixels": SheetForm("png", picture="wires"),
}


def _sheet(request: GradeRequest, catalogue: Catalogue, form: SheetForm) -> bytes | str:
    return written(link_sheet(source_of(graded(request, catalogue), None), form.words), form)


def _slowest(times: Times, form: str) -> Figure:
    taken = {name: median(rounds) for name, rounds in times.rounds.items()}
    slowest = max(taken, key=lambda name: taken[name])
    name = f"s for the {form}, grading included, of the slowest of {len(taken)} samples ({slowest})"
    return Figure(name, f"at most {AIM_S}", times.best_s(slowest), taken[slowest], taken[slowest] <= AIM_S)


def figures() -> list[Figure]:
    """Measure link sheets."""
    catalogue = Catalogue.load(None)
    requests = {p.stem: GradeRequest(json.loads(p.read_bytes()), detail=Detail.ALL) for p in LINKS}
    found = []
    for name, form in FORMS.items():
        # A link whose wires were not tested has no picture of them.
        drawn = {n: r for n, r in requests.items() if form.picture is None or "wire_map" in r.document}
        work: dict[str, Callable[[], Any]] = {
            n: partial(_sheet, r, catalogue, form) for n, r in drawn.items()
        }
        found.append(_slowest(contest(work, ROUNDS, repeats=1), name))
    one = requests[FAILING]
    times = contest(
        {
            "grade": partial(graded, one, catalogue),
            "sheet": partial(_sheet, one, catalogue, FORMS["PDF"]),
        },
        ROUNDS,
    )
    name = "the PDF of a failing link, grading included / its grade with everything beside it"
    return [*found, Figure.at_most(name, 20, times, "sheet", "grade")]
