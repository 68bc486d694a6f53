"""The margins over frequency have their minimum where the verdict has its worst margin."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.grading.margin_curves import margin_curves
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import TRAITS, Parameter
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


def test_a_limit_that_is_relieved_on_a_link_of_little_loss_is_relieved_along_the_whole_curve():
    (sample,) = (path for path in SAMPLES if path.stem.startswith("1A-08"))
    read = read_measurement(json.loads(sample.read_bytes()))
    key = (Parameter.INSERTION_LOSS, None)
    (loss,) = read.measurement.curves[key]
    little = CurveGroup(loss.frequency_mhz, loss.keys, loss.value_db * 0.3)
    link = replace(read.measurement, curves={**read.measurement.curves, key: (little,)})
    rule_set = CATALOGUE.get("ISO")
    verdict = grade(link, rule_set, Requirement("EA"))

    found = {(c.parameter, c.end): c.margin_db.min() for c in margin_curves(link, rule_set, "EA")}

    plain = {(c.parameter, c.end): c for c in margin_curves(read.measurement, rule_set, "EA")}
    relieved = {(c.parameter, c.end): c for c in margin_curves(link, rule_set, "EA")}
    place = (Parameter.NEXT, End.NEAR)
    assert relieved[place].frequency_mhz[-1] == plain[place].frequency_mhz[-1] == 500.0
    # 1.4 dB for 50 MHz above 450 MHz, memory (ISO/IEC 11801-1 class EA).
    assert relieved[place].margin_db[-1] - plain[place].margin_db[-1] == pytest.approx(1.4)
    for result in verdict.parameters:
        if result.parameter in {Parameter.NEXT, Parameter.PS_NEXT}:
            assert found[(result.parameter, result.end)] == pytest.approx(result.worst_margin.margin)


def test_a_link_whose_axis_lies_outside_the_category_has_no_curve():
    read = read_measurement(
        {
            "configuration": "permanent_link",
            "frequency_mhz": [2000.0, 2100.0],
            "sweeps": {"return_loss": {"near": {"12": [10.0, 10.0]}}},
        }
    )

    assert margin_curves(read.measurement, CATALOGUE.get("TIA"), "6") == ()
