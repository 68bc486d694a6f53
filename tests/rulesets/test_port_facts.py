"""The file of facts on ports: what a broken one is told."""

import pytest

from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.facts_table import packaged_text
from fourpair_service.rulesets.port_reader import PORT_FILE, port_facts, read_port_facts

TEXT = packaged_text(PORT_FILE)


def test_every_ability_has_a_rate():
    facts = read_port_facts()

    assert {name.partition("/")[0] for name in facts.priority} == set(facts.rate_mbps)


@pytest.mark.parametrize(
    ("good", "bad", "key"),
    [
        ("names = [", "others = [", "priority.names"),
        ('"10BASE-T/half" = 5', '"10BASE-T/half" = "D5"', "base_page.abilities.10BASE-T/half"),
        ('1 = "null message"', '1 = ""', "message_codes.1"),
        ('result = "none"', "result = 0", "pause.rows.result"),
        ("peak_v = [2.2, 2.8]", "peak_v = [2.8, 2.2]", "transmitter.peak_v"),
        ('basis = "published"', 'basis = "hearsay"', "priority.basis"),
        ('tells_of = "own"', 'tells_of = "both"', "register.tells_of"),
        (
            "flags = { fast_retrain_2_5g = 5 }",
            'flags = { fast_retrain_2_5g = "5" }',
            "register.flags.fast_retrain_2_5g",
        ),
        ("span = [3.2, 5.2]", "span = 5.2", "multi_gigabit_power_dbm.span"),
    ],
)
def test_a_broken_file_names_file_and_entry(good, bad, key):
    with pytest.raises(InvalidRuleSetError) as caught:
        port_facts("own.toml", TEXT.replace(good, bad, 1))

    assert (caught.value.file, caught.value.key) == ("own.toml", key)
