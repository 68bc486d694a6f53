"""Digests made again by the SDK alone are those that the service sealed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fourpair._sealing import chain_breaks, content_breaks, measurement_digest
from fourpair.testing import service
from fourpair_service.records.curves import part
from fourpair_service.records.integrity import curves_digest
from fourpair_service.records.integrity import measurement_digest as kept_digest

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
SAMPLES = sorted(LINKS.glob("*.json"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_the_digest_of_every_sample_is_that_of_the_service(path):
    document = json.loads(path.read_bytes())
    parted = part(document)

    assert measurement_digest(document, None) == kept_digest(parted.rest, curves_digest(parted.curves))


def test_whole_numbers_among_others_count_as_such():
    document = {"configuration": "channel", "frequency_mhz": [1, 2.0, 3, 4, 5, 6, 7, 8, 9]}
    parted = part(document)

    assert measurement_digest(document, None) == kept_digest(parted.rest, curves_digest(parted.curves))
    document["frequency_mhz"][0] = 1.0
    assert measurement_digest(document, None) != kept_digest(parted.rest, curves_digest(parted.curves))


@pytest.fixture(scope="module")
def kept():
    with service() as running, running.client() as client:
        client.jobs.create("alder-row-clinic", name="Clinic")
        first = json.loads((LINKS / "0A-02-near-miss.json").read_bytes())
        second = json.loads((LINKS / "0A-01-clean-pass.json").read_bytes()) | {"label": first["label"]}
        record = client.records.create(first).record
        client.records.retest(record, second)
        client.records.correct(record.id, {"notes": "jack replaced"}, reason="note")
        yield client, client.records.get(record.id)


def test_a_sound_chain_has_no_breaks(kept):
    client, record = kept

    assert record.revision == 3
    assert client.records.verify(record.id) == ()


def test_what_was_altered_is_named(kept):
    client, record = kept
    revisions = client.records.revisions(record.id)
    measurement = json.loads(json.dumps(client.records.measurement(record.id).to_dict()))
    verdict = client.records.verdict(record.id).to_dict()
    measurement["sweeps"]["insertion_loss"]["12"][7] += 0.01
    altered = {**verdict, "headroom_db": 9.9}

    (told,) = content_breaks(revisions[2], measurement, verdict)
    assert "revision 3: its measurement" in told
    (told,) = content_breaks(revisions[2], client.records.measurement(record.id).document, altered)
    assert "its verdict" in told
    assert any("numbered [1, 3]" in told for told in chain_breaks(record, (revisions[0], revisions[2])))
    assert any("the record shows" in told for told in chain_breaks(record, revisions[:2]))
