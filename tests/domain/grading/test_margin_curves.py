"""The margins over frequency have their minimum where the verdict has its worst margin."""

import json
from pathlib import Path

import pytest

from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.grading.margin_curves import margin_curves
from fourpair_service.domain.parameters import TRAITS
from fourpair_service.domain.verdict import Requirement
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.rulesets.catalogue import Catalogue

SAMPLES = sorted((Path(__file__).resolve().parents[3] / "samples" / "links").glob("*.json"))
CATALOGUE = Catalogue.load()


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_minimum_of_every_curve_is_the_worst_margin_of_the_verdict(sample):
    read = read_measurement(json.loads(sample.read_bytes()))
    rule_set = CATALOGUE.get(read.requirement.rule_set)
    verdict = grade(read.measurement, rule_set, Requirement(read.requirement.category))
    stated = {
        (r.parameter, r.end): r.worst_margin
        for r in verdict.parameters
        if TRAITS[r.parameter].is_swept and r.worst_margin and not verdict.from_summary
    }

    found = {}
    for curve in margin_curves(read.measurement, rule_set, read.requirement.category):
        at = int(curve.margin_db.argmin())
        found[(curve.parameter, curve.end)] = (curve.margin_db[at], curve.frequency_mhz[at])

    assert set(found) == set(stated)
    for key, (margin_db, frequency_mhz) in found.items():
        assert margin_db == pytest.approx(stated[key].margin, abs=1e-9), key
        assert frequency_mhz == stated[key].frequency_mhz, key


def test_a_link_whose_axis_lies_outside_the_category_has_no_curve():
    read = read_measurement(
        {
            "configuration": "permanent_link",
            "frequency_mhz": [2000.0, 2100.0],
            "sweeps": {"return_loss": {"near": {"12": [10.0, 10.0]}}},
        }
    )

    assert margin_curves(read.measurement, CATALOGUE.get("TIA"), "6") == ()
