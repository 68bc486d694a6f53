"""Every rule of the verdict that DEVELOPERS.md lists has tests that quote its number."""

import re
from pathlib import Path

import pytest

HERE = Path(__file__).resolve()
TEXT = (HERE.parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = TEXT.split("## Rules of the verdict")[1].split("\n## ")[0]
RULES = [int(number) for number in re.findall(r"^(\d+)\. \*\*", SECTION, re.MULTILINE)]
NAMES = [
    name
    for path in HERE.parent.glob("test_*.py")
    for name in re.findall(r"^def (test_rule_\d+_\w+)", path.read_text(encoding="utf-8"), re.MULTILINE)
]


def test_the_list_has_eleven_rules_in_order():
    assert list(range(1, 12)) == RULES


@pytest.mark.parametrize("rule", RULES)
def test_each_rule_has_tests_that_quote_its_number(rule):
    assert len([name for name in NAMES if name.startswith(f"test_rule_{rule}_")]) >= 3


def test_no_test_quotes_a_rule_that_there_is_not():
    assert {int(name.split("_")[2]) for name in NAMES} == set(RULES)
