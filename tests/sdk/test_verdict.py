"""Verdicts as values: what they print, and what a notebook shows."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from fourpair import CategoryResult, Measurement, Point, Verdict
from fourpair._predictions import prediction
from fourpair._told import told
from fourpair.testing import service

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"


@pytest.fixture(scope="module")
def client():
    with service() as running, running.client() as client:
        yield client


@pytest.fixture(scope="module")
def failing(client):
    return client.grade(Measurement.from_json(LINKS / "0A-02-near-miss.json"), curves=True)


def test_a_verdict_prints_as_one_line_that_tells_what_fails(failing):
    text = repr(failing)

    assert text.startswith("<Verdict 0A-02: fail, headroom -")
    assert "NEXT at the" in text
    assert "\n" not in text
    assert repr(failing.failing()[0]).startswith("<NEXT at the")
    assert "not met" in repr(next(c for c in failing.categories if c.state == "not_met"))
    assert repr(failing.faults[0]).startswith("<")


def test_a_summary_says_first_what_must_be_said_first(failing):
    lines = failing.summary().splitlines()

    assert lines[: len(failing.notices)] == list(failing.notices)
    assert any(line.startswith("0A-02: fail, headroom") for line in lines)
    assert failing.reasons[0] in lines
    assert any(line.startswith("Suspected: ") for line in lines)


def test_a_frame_has_a_row_for_each_result(failing):
    frame = failing.to_frame()
    worst = frame[frame.outcome == "fail"].sort_values("margin").iloc[0]

    assert len(frame) == len(failing.parameters)
    assert (worst.parameter, worst.unit) == ("next", "db")
    assert worst.margin == pytest.approx(failing.headroom_db)


def test_the_smallest_margin_of_a_curve_is_that_of_the_verdict_where_nothing_is_left_out(failing):
    curves = {(curve.parameter, curve.end): curve for curve in failing.curves}
    compared = 0
    for result in failing.parameters:
        curve = curves.get((result.parameter, result.end or ""))
        if curve is None or result.raw.get("excused"):
            continue
        worst = np.min(list(curve.margin_db.values()))
        # The verdict's numbers are rounded to 0.001 dB, and so are the limits that are asked for.
        assert worst == pytest.approx(result.worst_margin.margin, abs=0.0011)
        compared += 1

    assert compared >= 2
    assert curves["next", "near"].to_frame().shape == (len(curves["next", "near"].frequency_mhz), 6)


def test_complex_curves_have_the_margins_of_their_size(client):
    sample = Measurement.from_json(LINKS / "0A-05-split-pair.json")
    verdict = client.grade(sample, curves=True)
    (loss,) = (curve for curve in verdict.curves if curve.parameter == "insertion_loss")
    result = verdict.parameter("insertion_loss")

    assert min(loss.worst()) == pytest.approx(result.worst_margin.margin, abs=0.0011)


def test_no_address_is_longer_than_a_server_reads(client):
    asked = []
    client._transport.session.hooks["response"].append(lambda r, **_: asked.append(len(r.request.path_url)))
    client.grade(Measurement.from_json(LINKS / "0A-02-near-miss.json"), curves=True)

    # gunicorn reads 4094 bytes of a request line unless told otherwise.
    assert max(asked) < 4000


def test_a_notebook_shows_the_verdict_and_its_curves_without_scripts_or_foreign_places(failing):
    html = failing._repr_html_()
    root = ET.fromstring(html)

    assert len(root.findall(".//svg")) == len(failing.curves) == 5
    assert "0A-02: fail" in "".join(root.itertext())
    assert len(root.findall(".//tbody/tr")) == len(failing.parameters)
    assert not root.findall(".//script")
    assert "http" not in html


def test_what_is_hostile_in_a_label_stays_text(client):
    sample = Measurement.from_json(LINKS / "2A-03-summary-only.json")
    html = client.grade(sample.with_changes(label="<img src=x>&"))._repr_html_()

    assert "<img" not in html
    assert "&lt;img src=x&gt;&amp;" in html


def test_what_this_version_does_not_know_is_kept_and_not_refused(failing):
    document = {**failing.raw, "colour_of_the_jacket": "grey"}
    verdict = Verdict.from_document(document)
    category = told(CategoryResult, {**failing.raw["categories"][0], "new": 1})

    assert verdict.raw["colour_of_the_jacket"] == verdict.to_dict()["colour_of_the_jacket"] == "grey"
    assert category.raw["new"] == 1
    with pytest.raises(AttributeError):
        verdict.outcome = "pass"


def test_a_margin_in_a_unit_that_is_not_known_yet_is_told_in_it():
    point = Point.from_document({"margin_percent": 2.5, "measured_percent": 1.5, "limit_percent": 4})
    told_margin = {
        "parameter": "new",
        "title": "New",
        "margin_percent": 2.5,
        "margin_as_measured_percent": 3.0,
    }
    found = prediction(
        {
            "notice": "n",
            "configuration": "channel",
            "margins": [told_margin, {"parameter": "x", "title": "X"}],
        }
    )

    assert (point.unit, point.margin, str(point)) == ("percent", 2.5, "+2.5 percent")
    assert (found.margins[0].unit, found.margins[0].as_measured) == ("percent", 3.0)
    assert "New: +2.5 percent, as measured +3.0" in found.summary()
    assert "X: -" in found.summary()
