"""The verdict of every sample is the one that was looked at and kept."""

import difflib
import json

import pytest

from fourpair_service.rulesets.catalogue import Catalogue
from golden.writing import COMMAND, GOLDEN, ROOT, SAMPLES, golden_file, golden_text

STORIES = {
    ROOT / "samples" / row["file"]: row["outcome"]
    for row in json.loads((ROOT / "samples" / "stories.json").read_text(encoding="utf-8"))["samples"]
} | {ROOT / "samples" / "ports" / "reception-desk.json": "incomplete"}  # a port alone, without a cable test


def differences(kept, found, name, shown=80):
    """The lines that differ, with what to do."""
    lines = list(
        difflib.unified_diff(kept.splitlines(), found.splitlines(), "kept", "found", lineterm="", n=1)
    )
    more = [f"... and {len(lines) - shown} lines more"] if len(lines) > shown else []
    advice = f"The verdict of {name} is not the kept one. If the change is meant: {COMMAND}"
    return "\n".join([advice, *lines[:shown], *more])


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_verdict_of_each_sample_is_the_kept_one(sample):
    kept, found = golden_file(sample).read_text(encoding="utf-8"), golden_text(sample, Catalogue.load())

    if kept != found:
        pytest.fail(differences(kept, found, sample.name), pytrace=False)


def test_every_kept_verdict_belongs_to_a_sample_and_none_is_missing():
    assert {path.name for path in GOLDEN.glob("*.json")} == {sample.name for sample in SAMPLES}


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_kept_outcome_is_that_of_the_story(sample):
    assert json.loads(golden_file(sample).read_text(encoding="utf-8"))["outcome"] == STORIES[sample]


def test_a_difference_shows_the_line_that_changed_and_how_to_keep_it():
    text = differences('{\n "a": 1,\n "b": 2\n}', '{\n "a": 1,\n "b": 3\n}', "one.json")

    assert '- "b": 2' in text
    assert '+ "b": 3' in text
    assert COMMAND in text


def test_a_long_difference_is_cut_short():
    kept, found = ("\n".join(f"{i}{x}" for i in range(100)) for x in ("a", "b"))

    assert "lines more" in differences(kept, found, "one.json")
