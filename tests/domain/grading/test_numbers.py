"""Rule 10 of the verdict: float64, outcomes before rounding, rounding once, a batch as one by one."""

import json

import numpy as np
import pytest

from domain.grading.flat import ASKED, AXIS, edition, link, result, verdict_of
from fourpair_service.domain.grading.link import CHUNK, grade_batch
from fourpair_service.domain.link import PAIRS, Configuration, End
from fourpair_service.domain.measurement import CurveGroup, LinkMeasurement
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.domain.verdict_document import canonical_bytes, digest, rounded, verdict_document

NEAR = (Parameter.RETURN_LOSS, End.NEAR, "12")


def bytes_of(verdict):
    return canonical_bytes(verdict_document(verdict))


def numbers(document):
    if isinstance(document, dict):
        return [x for value in document.values() for x in numbers(value)]
    if isinstance(document, list):
        return [x for value in document for x in numbers(value)]
    return [document] if isinstance(document, float) else []


@pytest.mark.parametrize(
    ("value", "outcome"), [(9.9999, Outcome.FAIL), (10.0, Outcome.PASS), (10.0001, Outcome.PASS)]
)
def test_rule_10_the_outcome_is_decided_before_rounding(value, outcome):
    verdict = verdict_of(link({NEAR: value}))

    assert verdict.outcome is outcome
    (found,) = [
        p
        for p in verdict_document(verdict)["parameters"]
        if (p["parameter"], p["end"]) == ("return_loss", "near")
    ]
    assert found["worst_margin"]["margin_db"] == 0.0
    assert found["worst_margin"]["measured_db"] == 10.0


def test_rule_10_every_number_of_the_document_is_rounded_to_a_thousandth():
    rng = np.random.default_rng(1)
    changes = {(Parameter.NEXT, end): 50 + rng.random(AXIS.size) for end in End}

    found = numbers(verdict_document(verdict_of(link(changes, accuracy={Parameter.NEXT: 1 / 3}))))

    assert len(found) > 100
    assert all(x == round(x, 3) for x in found)
    assert not any(str(x) == "-0.0" for x in found)


def test_rule_10_a_small_failure_is_not_written_as_nothing():
    (reason,) = verdict_of(link({NEAR: 9.9999})).reasons

    assert reason == "Return loss at the near end fails by less than 0.001 dB on pair 12 at 1 MHz."


def test_rule_10_values_stay_in_double_precision():
    sharp = 10.0 - 1e-12

    assert result(verdict_of(link({NEAR: sharp})), Parameter.RETURN_LOSS, End.NEAR).outcome is Outcome.FAIL
    assert link({NEAR: sharp}).curves[NEAR[:2]][0].value_db.dtype == np.float64


def various(count):
    """Links of several kinds: sound, failing, with gaps, on another axis, without curves."""
    rng = np.random.default_rng(7)
    links = []
    for number in range(count):
        changes = {
            (Parameter.NEXT, End.NEAR): 40 + 20 * rng.random(AXIS.size),
            (Parameter.INSERTION_LOSS, None): 2 + 20 * rng.random(AXIS.size),
        }
        kind = number % 5
        axis = AXIS if kind != 3 else np.arange(1.0, 101.0, 5.0)
        without = [(Parameter.FEXT, End.FAR)] if kind == 1 else []
        fields = {"curves": {}} if kind == 4 else {}
        links.append(
            link(changes if kind != 3 else {}, axis=axis, without=without, label=str(number), **fields)
        )
    return links


@pytest.mark.parametrize("order", ["as they come", "alike together"])
def test_rule_10_a_batch_gives_the_bytes_of_one_at_a_time(order):
    links = various(2 * CHUNK + 13)
    if order == "alike together":
        links.sort(key=lambda m: int(m.label) % 5)
    rule_set = edition()

    together = grade_batch(links, rule_set, ASKED)

    assert [v.label for v in together] == [m.label for m in links]
    assert [bytes_of(v) for v in together] == [bytes_of(verdict_of(m, rule_set)) for m in links]


def test_rule_10_an_empty_batch_has_no_verdicts():
    assert grade_batch([], edition(), ASKED) == []


def test_rule_10_the_same_input_gives_the_same_bytes_and_digest():
    first, second = (verdict_document(verdict_of(link({NEAR: 15.123}))) for _ in range(2))

    assert canonical_bytes(first) == canonical_bytes(second)
    assert digest(first) == digest(second)


def test_rule_10_canonical_bytes_are_sorted_utf_8_without_spaces_and_read_back_the_same():
    document = verdict_document(verdict_of(link(label="Büro 3")))

    raw = canonical_bytes(document)

    assert json.loads(raw) == document
    assert raw == json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


@pytest.mark.parametrize(
    ("value", "written"), [(None, None), (float("nan"), None), (-0.0004, 0.0), (2.0004, 2.0), (2.0016, 2.002)]
)
def test_rule_10_a_number_is_written_to_a_thousandth_and_no_nan_or_negative_zero_is(value, written):
    assert rounded(value) == written
    assert str(rounded(value)) == str(written)


def test_curves_in_any_order_are_kept_in_that_of_the_standards():
    values = np.array([[1.0], [2.0], [3.0], [4.0]])
    key = (Parameter.INSERTION_LOSS, None)
    shuffled = CurveGroup.from_complex(np.array([1.0]), ("78", "12", "45", "36"), 1 / values)

    measured = LinkMeasurement(Configuration.CHANNEL, curves={key: (shuffled,)})

    (group,) = measured.curves[key]
    assert group.keys == PAIRS
    assert (1 / group.value_complex[:, 0]).real.round(6).tolist() == [2.0, 4.0, 3.0, 1.0]
    assert measured.sweep(*key, "78").value_db.tolist() == [0.0]
