"""Measurements: made of what people have, and looked at before they are sent."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import numpy as np
import pandas
import pytest

from fourpair import Client, InvalidMeasurementError, Measurement
from fourpair.testing import service

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
SAMPLES = sorted(LINKS.glob("*.json"))
CLEAN = LINKS / "0A-01-clean-pass.json"
AXIS = [1.0, 4.0, 10.0]


def changed(path, value):
    """Return a small document in which something is put in place."""
    document = {
        "configuration": "channel",
        "frequency_mhz": AXIS,
        "sweeps": {
            "insertion_loss": {"12": [0.1, 0.2, 0.3]},
            "next": {"near": {"12-36": [60.0, 50.0, 45.0]}},
        },
    }
    place = document
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = value
    return document


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_is_one(path):
    measurement = Measurement.from_json(path)

    assert measurement.to_dict() == json.loads(path.read_bytes())
    assert measurement.label in repr(measurement)


@pytest.mark.parametrize(
    ("path", "value", "pointer", "words"),
    [
        (("lable",), "A", "/lable", "label"),
        (("pairs",), {"21": {}}, "/pairs/21", "12"),
        (("sweeps", "nxt"), {}, "/sweeps/nxt", "next"),
        (("sweeps", "next", "middle"), {}, "/sweeps/next/middle", "near, far"),
        (("sweeps", "next", "near", "12>36"), [1, 2, 3], "/sweeps/next/near/12>36", "12-36"),
        (("sweeps", "next", "near", "12-36"), [1, 2], "/sweeps/next/near/12-36", "2 values on an axis of 3"),
        (
            ("sweeps", "insertion_loss", "12"),
            [1, None, 2],
            "/sweeps/insertion_loss/12",
            "Entry 1 is no number",
        ),
        (
            ("sweeps", "insertion_loss", "12"),
            [1, 2, float("nan")],
            "/sweeps/insertion_loss/12",
            "Entry 2 is nan",
        ),
        (("sweeps", "insertion_loss", "12"), "abc", "/sweeps/insertion_loss/12", "list of numbers"),
        (("sweeps", "insertion_loss", "12"), {"re": [1, 2, 3]}, "/sweeps/insertion_loss/12", "re and im"),
        (
            ("sweeps", "insertion_loss", "12"),
            {"re": [1, 2, 3], "im": [1, 2]},
            "/sweeps/insertion_loss/12/im",
            "2 values",
        ),
        (("frequency_mhz",), [1, 10, 4], "/frequency_mhz", "increase"),
        (("frequency_mhz",), [{"start": 1, "stop": 2}], "/frequency_mhz", "start, step and stop"),
        (("frequency_mhz",), [{"start": 1, "step": -1, "stop": 2}], "/frequency_mhz", "increase"),
        (("sweeps",), [], "/sweeps", "object"),
        (("cords",), {"conductor": "solid"}, "/cords", "near_m, far_m or both"),
        (("cords",), {"near": 2}, "/cords/near", "near_m"),
        (("cords",), {"near_m": "2"}, "/cords/near_m", "no length"),
        (("cords",), {"near_m": True}, "/cords/near_m", "no length"),
        (("cords",), {"far_m": float("inf")}, "/cords/far_m", "no length"),
        (("cords",), {"far_m": -1}, "/cords/far_m", "no length"),
        (("cords",), {"near_m": 2, "conductor": "braided"}, "/cords/conductor", "solid nor stranded"),
        (("cords",), None, "/cords", "object"),
        (("connectors",), {"kategory": "6A"}, "/connectors/kategory", "category"),
        (("connectors",), {"category": 6}, "/connectors/category", "text"),
        (("connectors",), "6A", "/connectors", "object"),
    ],
)
def test_what_cannot_be_right_is_told_with_its_place_and_never_sent(path, value, pointer, words):
    document = changed(path, value)
    with pytest.raises(InvalidMeasurementError) as caught:
        Measurement.from_dict(document)
    with Client("http://127.0.0.1:9") as client, pytest.raises(InvalidMeasurementError):
        client.grade(document)

    assert pointer in caught.value.pointers
    assert words in str(caught.value)
    assert not caught.value.retryable


@pytest.mark.parametrize(
    "said",
    [
        {"cords": {"near_m": 0}},
        {"cords": {"near_m": 3, "far_m": 1.5, "conductor": "stranded"}},
        {"connectors": {}},
    ],
)
def test_cords_and_connectors_that_the_service_takes_are_sent(said):
    document = {**json.loads(CLEAN.read_bytes()), **said}
    with service() as running, running.client() as client:
        assert client.grade(document).outcome == "pass"


def test_an_axis_that_is_wrong_is_told_once_and_not_for_each_curve_on_it():
    document = json.loads(CLEAN.read_bytes())
    for axis in ([1, float("nan")], [2, 1], []):
        with pytest.raises(InvalidMeasurementError) as caught:
            Measurement.from_dict({**document, "frequency_mhz": axis})
        assert caught.value.pointers == ("/frequency_mhz",)


def test_values_without_an_axis_are_refused():
    with pytest.raises(InvalidMeasurementError, match="no frequency_mhz"):
        Measurement.from_dict({"configuration": "channel", "sweeps": {"insertion_loss": {"12": [1.0]}}})


@pytest.mark.parametrize("document", [None, [], "text", {"label": "A"}])
def test_what_is_no_measurement_is_refused(document):
    with pytest.raises(InvalidMeasurementError):
        Measurement.from_dict(document)


def test_a_file_that_is_no_json_is_named(tmp_path):
    path = tmp_path / "bad.json"
    path.write_text("{")
    with pytest.raises(InvalidMeasurementError, match=r"bad\.json is no JSON"):
        Measurement.from_json(path)


def test_arrays_of_numpy_give_the_verdict_of_the_document_that_they_came_from():
    document = json.loads(CLEAN.read_bytes())
    sample = Measurement.from_dict(document)
    sweeps = {
        parameter: {
            end: {pairs: np.array(curve) for pairs, curve in curves.items()}
            for end, curves in content.items()
        }
        if parameter != "insertion_loss"
        else {pairs: np.array(curve) for pairs, curve in content.items()}
        for parameter, content in document["sweeps"].items()
    }
    rest = {name: value for name, value in document.items() if name not in ("sweeps", "frequency_mhz")}
    built = Measurement.from_arrays(np.array(sample.frequency_mhz), sweeps, **rest)
    with service() as running, running.client() as client:
        verdicts = [client.grade(each).raw for each in (sample, built)]

    assert verdicts[0] == verdicts[1]


def test_complex_arrays_are_sent_with_their_phase():
    through = 0.5 * np.exp(-1j * np.array([0.1, 0.4, 1.0]))
    built = Measurement.from_arrays(AXIS, {"insertion_loss": {"12": through}}, configuration="channel")
    (curve,) = (curve for _, _, _, curve in built.curves("insertion_loss"))

    np.testing.assert_array_equal(np.array(curve["re"]) + 1j * np.array(curve["im"]), through)


@pytest.mark.parametrize("name", ["0A-01-clean-pass", "0A-05-split-pair"])
def test_a_frame_there_and_back_is_the_same_measurement(name):
    sample = Measurement.from_json(LINKS / f"{name}.json")
    frame = sample.to_frame()
    rest = {k: v for k, v in sample.items() if k not in ("sweeps", "frequency_mhz")}
    built = Measurement.from_frame(frame, **rest)

    pandas.testing.assert_frame_equal(built.to_frame(), frame)
    assert {p: list(built.curves(p)) for p in built.sweeps}.keys() == {
        p: list(sample.curves(p)) for p in sample.sweeps
    }.keys()


def test_the_csv_of_the_service_reads_as_a_frame():
    sample = Measurement.from_json(CLEAN)
    with service() as running, running.client() as client:
        client.jobs.create("alder-row-clinic", name="Clinic")
        record = client.records.create(sample).record
        frame = pandas.read_csv(io.StringIO(client.records.measurement_csv(record.id)))
    built = Measurement.from_frame(frame, configuration="permanent_link")

    for parameter in sample.sweeps:
        wanted = {(end, pairs): curve for end, pairs, _, curve in sample.curves(parameter)}
        got = {(end, pairs): curve["db"] for end, pairs, _, curve in built.curves(parameter)}
        assert got == wanted


def test_a_frame_that_lacks_a_column_is_refused_by_name():
    with pytest.raises(InvalidMeasurementError, match="no column pairs"):
        Measurement.from_frame(pandas.DataFrame({"parameter": [], "end": [], "frequency_mhz": []}))


def test_a_measurement_reads_as_a_mapping_and_does_not_change():
    link = Measurement.from_dict({"configuration": "channel", "label": "A"})
    other = link.with_changes(label="B", job="clinic", configuration="channel")

    assert {**link} == {"configuration": "channel", "label": "A"}
    assert (link.label, other.label, other.with_changes(job=None).job) == ("A", "B", None)
    with pytest.raises(AttributeError):
        link.document = {}


def test_without_pandas_a_frame_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ImportError, match="pip install pandas"):
        Measurement.from_json(CLEAN).to_frame()
