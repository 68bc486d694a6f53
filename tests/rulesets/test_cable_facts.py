"""The facts of the cable: their values against printed ones, and what a broken file is told."""

import pytest

from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.facts_reader import cable_facts, read_cable_facts
from fourpair_service.rulesets.facts_table import FactTable

FACTS = read_cable_facts()


@pytest.mark.parametrize(
    ("awg", "ohm_per_1000_ft"),
    [(22, 16.14), (24, 25.67), (26, 40.81), (28, 64.9)],  # what-when-how.com, LAN wiring, table A.1
)
def test_the_loop_resistance_of_a_gauge_is_twice_the_printed_wire_resistance(awg, ohm_per_1000_ft):
    assert FACTS.loop_resistance_ohm_per_m[awg].value == pytest.approx(
        2 * ohm_per_1000_ft / 304.8, abs=0.00006
    )


@pytest.mark.parametrize(
    ("kind", "temperature_c", "factor"),
    # 4PPOE msg00302: unscreened 8 % at 40 and 20 % at 60 degrees, screened 8 % at 60 degrees
    [("unscreened", 40, 1.08), ("unscreened", 60, 1.20), ("screened", 60, 1.08), ("unscreened", 20, 1.0)],
)
def test_loss_grows_with_temperature_as_printed(kind, temperature_c, factor):
    assert FACTS.insertion_loss_temperature[kind].loss_factor(temperature_c) == pytest.approx(factor)


def test_copper_resistance_grows_by_393_millionths_a_degree():
    assert FACTS.copper_resistance_factor(60) == pytest.approx(1.1572)  # 0.393 % a degree, memory


GOOD = """
[loop_resistance_ohm_per_m]
24 = 0.1684
source = "a table"
basis = "published"
"""


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("a = [", "file"),
        ("", "loop_resistance_ohm_per_m"),
        (GOOD.replace("0.1684", "'thick'"), "loop_resistance_ohm_per_m.24"),
        (GOOD.replace('source = "a table"', ""), "loop_resistance_ohm_per_m.source"),
        (GOOD.replace("published", "rumour"), "loop_resistance_ohm_per_m.basis"),
        (GOOD, "insertion_loss_temperature"),
        (GOOD + "[insertion_loss_temperature.unscreened]\n", "insertion_loss_temperature.unscreened.steps"),
    ],
)
def test_a_broken_file_of_facts_names_file_and_entry(text, key):
    with pytest.raises(InvalidRuleSetError) as caught:
        cable_facts("own.toml", text)
    assert caught.value.file == "own.toml"
    assert caught.value.key == key


TABLE = FactTable.parse(
    "own.toml",
    "[a]\nwhole = 1.5\ntext = ''\ntexts = [1]\nshort = [1]\nturned = [2, 1]\nwrong = [1, 'b']\nrows = []\n",
).child("a")


@pytest.mark.parametrize(
    ("read", "key"),
    [
        (TABLE.whole, "whole"),
        (TABLE.text, "text"),
        (TABLE.texts, "texts"),
        (TABLE.texts, "none"),
        (TABLE.span, "short"),
        (TABLE.span, "turned"),
        (TABLE.span, "wrong"),
        (TABLE.children, "rows"),
        (TABLE.child, "rows"),
    ],
)
def test_an_entry_of_the_wrong_kind_is_named_with_its_table(read, key):
    with pytest.raises(InvalidRuleSetError) as caught:
        read(key)
    assert caught.value.key == f"a.{key}"
