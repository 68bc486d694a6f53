"""Sweeps as CSV: both forms give the verdict that JSON gives, and every mistake its line and column."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.json_body import UnreadableBodyError
from fourpair_service.http.measurement_csv import measurement_csv
from fourpair_service.http.schemas.axis import read_axis
from fourpair_service.http.sweeps_csv import read_sweeps_csv
from fourpair_service.storage.memory import MemoryStore

ROOT = Path(__file__).resolve().parents[2]
LINKS = ROOT / "samples" / "links"
IN_DB, WITH_PHASE = "0A-01-clean-pass", "0A-05-split-pair"


@pytest.fixture(scope="module")
def client():
    return create_app(store=MemoryStore()).test_client()


def sample(name):
    return json.loads((LINKS / f"{name}.json").read_bytes())


def without_sweeps(document):
    return {name: value for name, value in document.items() if name not in ("sweeps", "frequency_mhz")}


def grade(client, document, text, name="sweeps.csv"):
    # Written out here: the test client's own writer leaves the file of a large form open.
    content = text if isinstance(text, bytes) else text.encode()
    parts = (("measurement", "m.json", json.dumps(document).encode()), ("sweep", name, content))
    body = b"".join(
        f'--cut\r\nContent-Disposition: form-data; name="{part}"; filename="{file}"\r\n\r\n'.encode()
        + own
        + b"\r\n"
        for part, file, own in parts
    )
    return client.post(
        "/v1/grade", data=body + b"--cut--\r\n", content_type="multipart/form-data; boundary=cut"
    )


def wide(document, *, scale=1.0, unit="mhz", delimiter=","):
    """Return the sweeps of a document as a column each."""
    axis = read_axis(document["frequency_mhz"]).frequency_mhz.tolist()
    columns = {f"frequency_{unit}": [frequency * scale for frequency in axis]}
    for parameter, own in document["sweeps"].items():
        for end, curves in own.items() if set(own) <= {"near", "far"} else [("", own)]:
            for pairs, curve in curves.items():
                values = curve if isinstance(curve, dict) else {"db": curve}
                for kind, numbers in values.items():
                    columns[" ".join(filter(None, (parameter, end, pairs, kind)))] = numbers
    target = io.StringIO()
    writer = csv.writer(target, delimiter=delimiter)
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return target.getvalue()


@pytest.mark.parametrize("name", [IN_DB, WITH_PHASE])
@pytest.mark.parametrize("form", [measurement_csv, wide])
def test_a_table_has_the_verdict_of_the_document_that_it_was_made_of(client, name, form):
    document = sample(name)
    as_json = client.post("/v1/grade", json=document).get_json()

    answer = grade(client, without_sweeps(document), form(document))

    assert answer.status_code == 200, answer.text
    assert answer.get_json()["verdict_digest"] == as_json["verdict_digest"]


def test_other_units_of_frequency_and_decimal_commas_are_read(client):
    document = sample(IN_DB)
    expected = client.post("/v1/grade", json=document).get_json()["verdict"]["outcome"]
    in_khz = wide(document, scale=1e3, unit="khz")
    in_commas = "\ufeff" + wide(document, delimiter=";").replace(".", ",")

    for text in (in_khz, in_commas):
        answer = grade(client, without_sweeps(document), text)
        assert answer.get_json()["verdict"]["outcome"] == expected, answer.text


def test_a_cell_that_is_empty_is_a_point_that_was_not_measured():
    text = "Frequency_MHz,insertion_loss 12 dB,insertion_loss 36 dB\n1,2.0,\n\n4,4.1,3.9\n"
    assert read_sweeps_csv("a.csv", text.encode(), points=9) == {
        "insertion_loss": {
            "12": {"frequency_mhz": [1.0, 4.0], "db": [2.0, 4.1]},
            "36": {"frequency_mhz": [4.0], "db": [3.9]},
        }
    }


LONG = "parameter,end,pairs,frequency_mhz,value_db,re,im\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "is empty"),
        (b"\xff\xfe\x00", "is no UTF-8 text"),
        ("a,b\n1,2\n", "no column is frequency_mhz"),
        ("frequency_mhz,frequency_mhz\n1,2\n", "stands there twice"),
        ("frequency_mhz,next 12 db\n1,2\n", "column 'next 12 db': next has near or far"),
        ("frequency_mhz,insertion_loss near 12 db\n1,2\n", "insertion_loss has no end"),
        ("frequency_mhz,insertion_loss 13 db\n1,2\n", "'13' is none of 12"),
        ("frequency_mhz,loss 12 db\n1,2\n", "'loss' is none of"),
        ("frequency_mhz,insertion_loss 12\n1,2\n", "a column is named as"),
        ("frequency_mhz,insertion_loss 12 re\n1,2\n", "re and im together"),
        ("frequency_mhz,insertion_loss 12 db\n1,2,3\n", "line 2: it has 3 columns and the header 2"),
        (
            "frequency_mhz,insertion_loss 12 db\n1,nan\n",
            "line 2, column 'insertion_loss 12 db': 'nan' is no number",
        ),
        ("frequency_mhz,insertion_loss 12 db\n1_0,2\n", "'1_0' is no number"),
        ("frequency_mhz,insertion_loss 12 db\n=1+1,2\n", "'=1+1' is no number"),
        ("frequency_mhz,insertion_loss 12 db\n1,\n", "no sweep has a point"),
        (
            LONG + "next,near,12-36,1,40,,\nnext,near,12-36,2,,0.1,0\n",
            "line 3: next near 12-36 is in dB in one row",
        ),
        (LONG + "next,near,12-36,1,40,0.1,\n", "re and im together"),
        (LONG + "next,near,12-36,1,,,\n", "re and im together"),
        ("parameter,end,frequency_mhz,value_db\nnext,near,1,40\n", "the columns are parameter"),
        (LONG + '"next,near', "line 2"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_column(client, text, words):
    answer = grade(client, without_sweeps(sample(IN_DB)), text)

    assert answer.status_code == 400, answer.text
    assert words in answer.get_json()["detail"]


def test_what_the_values_have_wrong_is_told_by_its_place_in_the_document(client):
    text = "frequency_mhz,insertion_loss 12 db\n2,2\n1,3\n"
    answer = grade(client, without_sweeps(sample(IN_DB)), text)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"].startswith("/sweeps/insertion_loss/12/frequency_mhz")


def test_sweeps_come_in_one_place(client):
    document = sample(IN_DB)
    answer = grade(client, document, wide(document))
    assert (answer.status_code, answer.get_json()["errors"][0]["pointer"]) == (400, "/sweeps")


def test_more_points_than_are_read_are_refused():
    text = "frequency_mhz,insertion_loss 12 db\n1,2\n2,3\n3,4\n"
    with pytest.raises(UnreadableBodyError, match="line 4: there are over 2 points"):
        read_sweeps_csv("a.csv", text.encode(), points=2)
