"""The document of what a link can carry."""

import json
from dataclasses import replace

import pytest

from domain.applications.links import DATA, FACTS, TIA, link_inside, verdict_of
from fourpair_service.domain.applications.document import applications_document
from fourpair_service.domain.cords import StatedCords
from fourpair_service.domain.link import PINS, Configuration
from fourpair_service.domain.measurement import WireMap
from fourpair_service.domain.verdict_document import verdict_document


def document(link, category, **options):
    verdict = verdict_of(link, category)
    before = verdict_document(verdict)
    found = applications_document(link, verdict, TIA, DATA, FACTS, **options)
    assert verdict_document(verdict) == before
    return found


def of(found, name):
    return next(entry for entry in found["applications"] if entry["application"] == name)


def test_a_document_holds_plain_values_in_the_order_of_speed():
    found = document(link_inside("6"), "6")

    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert [entry["application"] for entry in found["applications"]] == [
        "10BASE-T", "100BASE-TX", "1000BASE-T", "2.5GBASE-T", "5GBASE-T", "10GBASE-T", "25GBASE-T", "40GBASE-T",
    ]  # fmt: skip
    assert len({frozenset(entry) for entry in found["applications"]}) == 1
    assert found["fastest_supported"] == "1000BASE-T"
    assert found["categories_met"] == ["3", "5e", "6"]
    assert found["cords"] is None


def test_what_decides_is_given_with_place_limit_and_source():
    limiting = of(document(link_inside("5e"), "5e"), "1000BASE-T")["limiting"]

    assert limiting["margin_db"] == pytest.approx(
        abs(limiting["limit_db"] - limiting["measured_db"]), abs=0.002
    )
    assert {"parameter", "end", "pairs", "frequency_mhz", "basis", "source", "clause"} <= set(limiting)


def test_the_cords_are_told_and_stated_ones_as_such():
    link = link_inside("5e", configuration=Configuration.PERMANENT_LINK)

    usual = document(link, "5e")["cords"]
    stated = document(link, "5e", stated=StatedCords(7.5))["cords"]

    assert (usual["length_m"], usual["stated"], usual["stranded_factor"]) == (10.0, False, 1.2)
    assert usual["text"].startswith("Predicted: 10 m of cords are added")
    assert (stated["length_m"], stated["stated"]) == (7.5, True)
    assert "as the job states" in stated["text"]


def test_a_noise_margin_is_beside_the_applications_that_have_one():
    found = document(link_inside("6"), "6")

    assert of(found, "100BASE-TX")["noise_margin"] is None
    assert of(found, "1000BASE-T")["noise_margin"]["relative_db"] > 0
    assert of(found, "10GBASE-T")["noise_margin"]["missing"].startswith("it needs")
    assert found["noise_method"]["uncertainty_db"] == 2.0


def test_a_broken_pair_has_no_noise_margin():
    broken = WireMap(tuple((pin, pin) for pin in PINS if pin not in "45"))
    found = document(replace(link_inside("5e"), wire_map=broken), "5e")

    assert of(found, "1000BASE-T")["state"] == "not_supported"
    assert of(found, "1000BASE-T")["noise_margin"] is None
    assert of(found, "100BASE-TX")["state"] == "supported"
    assert found["fastest_supported"] == "100BASE-TX"


def test_nothing_supported_is_told_as_nothing():
    found = document(replace(link_inside("5e"), wire_map=WireMap(())), "5e")

    assert found["fastest_supported"] is None


def test_25_gigabit_is_told_by_name_as_not_judged():
    entry = of(document(link_inside("6"), "6"), "25GBASE-T")

    assert entry["state"] == "not_evaluated"
    assert entry["text"][0].startswith("Not judged")
