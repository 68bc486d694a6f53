"""The file of facts on powering: what a broken one is told, and that each value has its origin."""

import pytest

from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.facts_table import packaged_text
from fourpair_service.rulesets.powering_reader import POWERING_FILE, powering_facts, read_powering_facts

TEXT = packaged_text(POWERING_FILE)


def test_classes_and_types_are_complete():
    facts = read_powering_facts()

    assert list(facts.classes) == list(range(9))
    assert list(facts.types) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("good", "bad", "key"),
    [
        ("class = 0\n", "class = 'none'\n", "class.class"),
        ("loop_ohm = 20.0", "loop_ohm = 'long'", "class.loop_ohm"),
        ("source_voltage_v = [44.0, 57.0]", "source_voltage_v = 44.0", "type.source_voltage_v"),
        ('positive = "12"', "positive = 12", "pinout.positive"),
        ("percent = 3.0", "", "unbalance.within_pair.percent"),
        ("[heating.largest_rise_c]", "[heating.other]", "heating.largest_rise_c"),
        ("[cords.mptl_m]", "[cords.other]", "cords.mptl_m"),
    ],
)
def test_a_broken_file_names_file_and_entry(good, bad, key):
    with pytest.raises(InvalidRuleSetError) as caught:
        powering_facts("own.toml", TEXT.replace(good, bad, 1))

    assert (caught.value.file, caught.value.key) == ("own.toml", key)
