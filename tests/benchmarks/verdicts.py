"""Grading: one link in full, and the worst margins of a batch under all categories."""

from __future__ import annotations

from typing import Final

import numpy as np
import orjson

from fourpair_service.domain.grading.categories import CategoryTable
from fourpair_service.domain.grading.link import CHUNK, category_table, grade
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import Requirement
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.rulesets.catalogue import Catalogue

from .contest import contest
from .figures import Figure
from .plain import Worst, by_arrays, by_loops, curves_of, limits_of
from .record import body, document

ROUNDS: Final = 30
RULE_SET: Final = "tia-568.2-d-2018"
CATEGORY: Final = "6"
BATCH: Final = (16, 64)


def links(count: int) -> list[LinkMeasurement]:
    """Return alike links."""
    return [read_measurement(document(number)).measurement for number in range(count)]


def worst_of(found: CategoryTable, link: int, categories: list[str]) -> Worst:
    """Return the worst margins of one link as the plain versions give them."""
    worst: Worst = {}
    for name in categories:
        for table, points in zip(found.margins, found.worst_points(name), strict=True):
            for number, group in enumerate(table.table.groups):
                margin = float(points.margin_db[link, number])
                mhz = float(table.table.frequency_mhz[points.index[link, number]])
                worst[(name, group.parameter, group.end)] = (margin, mhz)
    return worst


def in_chunks(batch: list[LinkMeasurement], rule_set: RuleSet) -> list[CategoryTable]:
    """Return the worst margins of a batch, in tables of the size that grading takes."""
    starts = range(0, len(batch), CHUNK)
    return [category_table(batch[start : start + CHUNK], rule_set) for start in starts]


def as_int16(batch: list[LinkMeasurement]) -> np.ndarray:
    """Return all values of a batch in steps of 0.01 dB."""
    values = [group.value_db for link in batch for groups in link.curves.values() for group in groups]
    return np.concatenate([np.rint(value * 100).astype(np.int16).ravel() for value in values])


def figures() -> list[Figure]:
    """Measure grading."""
    return [*_one_link(), *(figure for count in BATCH for figure in _batch(count))]


def _one_link() -> list[Figure]:
    raw, (link,), rule_set = body(), links(1), Catalogue.load(None).get(RULE_SET)
    requirement = Requirement(category=CATEGORY)
    times = contest(
        {"bare parse": lambda: orjson.loads(raw), "grade": lambda: grade(link, rule_set, requirement)},
        ROUNDS,
    )
    name = "grade of one link, all categories, one in full detail / bare `orjson.loads`"
    return [Figure.at_most(name, 2.0, times, "grade", "bare parse")]


def _batch(count: int) -> list[Figure]:
    batch, rule_set = links(count), Catalogue.load(None).get(RULE_SET)
    limits = limits_of(rule_set, batch[0])
    as_lists = curves_of(batch[0], lambda values: values.tolist())
    as_arrays = [curves_of(link, lambda values: values) for link in batch]
    stored = as_int16(batch)
    contenders = {
        "least": lambda: np.min(stored),
        "batch": lambda: in_chunks(batch, rule_set),
        "plain numpy": lambda: [by_arrays(axis, curves, limits) for axis, curves in as_arrays],
        # One link stands for all: each takes the loop the same time.
        "loop": lambda: by_loops(*as_lists, limits),
    }
    times = contest(contenders, 10)
    best, median = times.ratio("loop", "batch") * count, times.median_ratio("loop", "batch") * count
    name = f"a plain Python loop (one link, times {count}) / {count} links"
    return [
        Figure.at_most(
            f"{count} links / one `np.min` over the values as int16", 260, times, "batch", "least"
        ),
        Figure.at_least(f"plain numpy, link by link / {count} links", 4, times, "plain numpy", "batch"),
        Figure(name, "at least 500", best, median, best >= 500),
    ]
