"""The file of applications: what it holds, and how it refuses what is not clear."""

from importlib.resources import files

import numpy as np
import pytest

from fourpair_service.domain.curves import evaluate
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.parameters import Parameter
from fourpair_service.rulesets.application_reader import application_data, read_applications
from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.powering_reader import read_powering_facts

TEXT = files("fourpair_service.rulesets").joinpath("facts", "applications.toml").read_text(encoding="utf-8")


def refused(old, new, *, times=1):
    assert old in TEXT, old
    with pytest.raises(InvalidRuleSetError) as caught:
        application_data("own.toml", TEXT.replace(old, new, times))
    return caught.value


def test_every_value_has_its_source_and_basis():
    data = read_applications()

    for application in data.applications.values():
        for limit in application.limits.values():
            for segment in limit.segments:
                assert segment.source
                assert isinstance(segment.basis, Basis)
                assert segment.basis is not Basis.PUBLISHED or "http" in segment.source


def test_every_application_names_its_clause_and_pairs():
    data = read_applications()

    assert {a.name: len(a.pairs) for a in data.applications.values()} == {
        "10BASE-T": 2, "100BASE-TX": 2, "1000BASE-T": 4, "2.5GBASE-T": 4, "5GBASE-T": 4, "10GBASE-T": 4,
    }  # fmt: skip
    assert all(a.clause for a in data.applications.values())


def test_the_usual_cords_are_those_that_powering_adds():
    cords = read_applications().cord_length

    assert {c: fact.value for c, fact in cords.items()} == {
        c: fact.value for c, fact in read_powering_facts().cords_m.items()
    }


def test_segments_of_a_limit_meet_within_a_tenth_of_a_decibel():
    for application in read_applications().applications.values():
        for limit in application.limits.values():
            if limit.parameter in (Parameter.PS_ANEXT,):
                continue
            for below, above in zip(limit.segments, limit.segments[1:], strict=False):
                at = np.array([below.to_mhz])
                assert evaluate(below, at, {}) == pytest.approx(evaluate(above, at, {}), abs=0.1)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('version = "1"', "version = 1", "version", "a text is needed"),
        ('version = "1"', 'version = "1"\nspeed = 3', "speed", "unknown key"),
        ('version = "1"', "version = ", "file", "not valid TOML"),
        ("rate_mbps = 10\n", "rate_mbps = 0\n", "application[1].rate_mbps", "above 0"),
        ('pairs = ["12", "36"]', 'pairs = ["13"]', "application[1].pairs", "use any of 12"),
        ('pairs = ["12", "36"]', "pairs = []", "application[1].pairs", "name at least one"),
        ("from_mhz = 5\nto_mhz = 10\n", "from_mhz = 10\nto_mhz = 10\n", "application[1].to_mhz", "does not increase"),
        ("from_mhz = 5\nto_mhz = 10\n", "from_mhz = 4\nto_mhz = 10\n", "application[1].to_mhz", "does not span"),
        ('name = "100BASE-TX"', 'name = "10BASE-T"', "limit[4].category", "one of"),
        ('reversed_pair = "optional"', 'reversed_pair = "maybe"', "application[1].reversed_pair", "corrected"),
        ('alien = "none"', 'alien = "some"', "application[1].alien", "sufficient"),
        ('length_basis = "memory"', 'length_basis = "sure"', "application[1].length_basis", "published"),
        ('form = "constant", coefficients = { value = 11.5 }', 'form = "wave", coefficients = { value = 1 }',
         "limit[1].segment[1].form", "one of"),
        ("[cords.mptl]", "[cords.channel]\nlength_m = 1\n[cords.mptl]", "cords.channel", "unknown"),
        ("[cords.mptl]\nlength_m = 5", "[cords.mptl]\nlength_m = -5", "cords.mptl.length_m", "above 0"),
        ("near_end_below_loss_db = 4.0", "", "excuses.near_end_below_loss_db", "finite number"),
        ('categories = ["C", "3"]', "categories = []", "support[1].categories", "at least one"),
        ('supported = ["10BASE-T"]', 'supported = ["FDDI"]', "support[1].supported", "use any of"),
        ("least_loss_db = 19.8", "least_loss_db = 39.8", "alien.relief.least_loss_db", "not below"),
        ("up_to_m = 37", 'up_to_m = "37"', "alien.length[1].up_to_m", "finite number"),
        ("thermal_dbm_per_hz = -150", "thermal_dbm_per_hz = true", "noise.thermal_dbm_per_hz", "finite number"),
        ("top_mhz = 62.5", "top_mhz = 0", "noise.receiver[1].top_mhz", "above 0"),
        ('[[unjudged]]\nname = "25GBASE-T"', '[[unjudged]]\nname = ""', "unjudged[1].name", "a text is needed"),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_refused_with_file_line_and_key(old, new, key, words):
    error = refused(old, new)

    assert error.file == "own.toml"
    assert error.key == key
    assert words in error.detail
    assert error.line > 0


def test_a_file_without_applications_is_refused():
    with pytest.raises(InvalidRuleSetError, match="at least one"):
        application_data("own.toml", 'version = "1"\n')


def test_an_application_twice_is_refused():
    start = TEXT.index('[[application]]\nname = "10BASE-T"')
    again = TEXT[start : TEXT.index("[[application]]", start + 5)]

    error = refused("[[unjudged]]", f"{again}[[unjudged]]")

    assert error.key == "application[7].name"
    assert "stands above already" in error.detail


def test_an_application_without_insertion_loss_is_refused():
    start = TEXT.index('[[limit]]\nparameter = "insertion_loss"\ncategory = "10BASE-T"')
    entry = TEXT[start : TEXT.index("[[limit]]", start + 5)]

    error = refused(entry, "")

    assert error.key == "application[1]"
    assert "no limit of insertion loss" in error.detail


def test_toml_that_ends_too_early_names_the_last_line():
    with pytest.raises(InvalidRuleSetError) as caught:
        application_data("own.toml", 'version = "1\n')

    assert caught.value.line >= 1
