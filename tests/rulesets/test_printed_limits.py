"""Every limit reproduces what was printed; the source of each value stands in its row."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fourpair_service.rulesets.catalogue import Catalogue

RULE_SETS = {
    "TIA-568.2-D": "tia-568.2-d-2018",
    "ISO/IEC 11801-1": "iso-11801-1-2017",
    "TSB67 (legacy, superseded)": "tsb-67-1995",
}
PRINTED = (Path(__file__).parent / "printed_limits.csv").read_text(encoding="utf-8")
ROWS = list(csv.DictReader(PRINTED.splitlines()))
CATALOGUE = Catalogue.load()


def computed(row):
    rule_set = CATALOGUE.get(RULE_SETS[row["standard"]])
    place = (row["category"], row["configuration"])
    limit = rule_set.curve_limits.get((*place, row["parameter"].removesuffix("_ns")))
    limit = limit or rule_set.references[(*place, row["parameter"])]
    return float(limit.at(np.array([float(row["frequency_MHz"])]))[0])


def name(row):
    return "-".join(row[k] for k in ("standard", "category", "configuration", "parameter", "frequency_MHz"))


@pytest.mark.parametrize("row", [r for r in ROWS if r["formula_value"]], ids=name)
def test_a_limit_gives_the_value_that_its_formula_has(row):
    assert computed(row) == pytest.approx(float(row["formula_value"]), abs=6e-4)


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "ok"], ids=name)
def test_a_limit_meets_what_is_printed_within_half_a_digit(row):
    half = float(row["rounding"]) / 2

    assert computed(row) == pytest.approx(float(row["published_value"]), abs=half + 1e-3)


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "one-digit"], ids=name)
def test_a_print_that_is_one_digit_off_is_off_by_no_more(row):
    assert abs(computed(row) - float(row["published_value"])) <= 1.5 * float(row["rounding"]) + 1e-3


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "mismatch"], ids=name)
def test_a_print_that_disagrees_has_its_explanation(row):
    assert abs(computed(row) - float(row["published_value"])) > float(row["rounding"]) / 2
    assert row["resolution"]


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "no-limit"], ids=name)
def test_a_hole_in_the_limits_stays_a_hole(row):
    assert np.isnan(computed(row))
