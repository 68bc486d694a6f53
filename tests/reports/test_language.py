"""The catalogues are complete, and German sheets hold no English sentence."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from fourpair_service.domain import grading
from fourpair_service.domain.diagnosis.faults import FAULT_KINDS
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.reports.language import Tongue, catalogue, language, printable
from fourpair_service.reports.next_step import PARAMETER_STEPS, WIRE_MAP_STEPS
from golden.writing import SAMPLES
from reports.sheets import answer_of

ENGLISH = catalogue("en")
OTHERS = [tongue for tongue in Tongue if tongue is not Tongue.ENGLISH]
CAUTIONS = {
    "length-delay-nvp", "calibration-missing", "calibration-old", "adapter-unfit", "tested-in-future",
    "accuracy-not-stated", "fext-not-reciprocal", "derived-other-loss", "derived-differs", "coverage",
}  # fmt: skip


def gaps(text):
    return sorted(re.findall(r"{(\w+)}", text))


@pytest.mark.parametrize("tongue", OTHERS)
def test_every_english_text_is_there_with_the_same_gaps(tongue):
    other = catalogue(tongue)
    for table, texts in ENGLISH.items():
        if isinstance(texts, dict):
            assert set(texts) <= set(other[table]), table
            for name, text in texts.items():
                assert gaps(text) == gaps(other[table][name]), (table, name)


@pytest.mark.parametrize("tongue", OTHERS)
def test_every_code_of_verdict_and_diagnosis_has_a_text(tongue):
    other = catalogue(tongue)
    assert set(other["fault_title"]) == set(other["fault_first"]) == {code.value for code in FAULT_KINDS}
    assert set(other["finding"]) == {fault.value for fault in WireMapFault}
    assert set(other["wire_step"]) == set(WIRE_MAP_STEPS)
    assert set(other["parameter_step"]) == set(PARAMETER_STEPS)
    assert set(other["caution"]) == CAUTIONS


def test_every_parameter_has_a_name():
    assert set(ENGLISH["parameter"]) == {parameter.value for parameter in Parameter}


@pytest.mark.parametrize("tongue", OTHERS)
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_no_sentence_of_a_sample_stays_english(sample, tongue):
    words = language(tongue)
    answer = answer_of(json.loads(sample.read_bytes())).answer
    applications = answer["assessment"]["applications"]["applications"]
    sentences = {c for a in applications for c in a["conditions"][:1]}
    sentences |= {why for p in answer["verdict"]["parameters"] for why in p["incomplete_because"]}
    power = (answer["assessment"]["port"] or {}).get("poe") or {}
    sentences |= {*power.get("texts", ()), *power.get("cautions", ())}

    assert [s for s in sentences if words.phrase(s) == s] == []


def test_the_codes_of_cautions_that_are_translated_are_all_there_are():
    sources = Path(grading.__file__).parent.glob("*.py")
    text = "\n".join(path.read_text(encoding="utf-8") for path in sources)

    assert set(re.findall(r'Caution\(\s*"([a-z-]+)"', text)) == CAUTIONS


def test_marks_that_turn_text_and_controls_are_shown_as_replaced():
    assert printable("a\u202eb\x00c\u2066d") == "a�b�c�d"
    assert printable("x" * 10_000).endswith("…")
    assert len(printable("x" * 10_000)) == 120
