"""What is not clear in an edition file is refused with file, line, key and what to do."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.reader import read_rule_set
from rulesets.edition_text import WHOLE, changed, read


class Refusal(NamedTuple):
    old: str
    new: str
    at: str  # what stands on the line that must be named
    key: str
    advice: str


REFUSALS = {
    # the head
    "no id": Refusal('id = "shop-2026"\n', "", "", "id", "a text is needed here, and nothing stands there"),
    "id with spaces": Refusal('"shop-2026"', '"Shop 2026"', "Shop 2026", "id", "use a-z, 0-9, dot, hyphen"),
    "no standard": Refusal('standard = "SHOP"\n', "", "", "standard", "a text is needed here"),
    "title a number": Refusal('"Shop limits"', "7", "title = 7", "title", "a text is needed here, not 7"),
    "empty title": Refusal('"Shop limits"', '" "', 'title = " "', "title", "a text is needed here"),
    "unknown key": Refusal("notes = [", "note = [", "note = [", "note", "use one of category, confirmed_by"),
    "notes no list": Refusal('[\n  "invented",\n]', "3", "notes = 3", "notes", "a list is needed here, not 3"),
    "note no text": Refusal('  "invented",\n]', "  5,\n]", "notes = [", "notes", "entry 1 must be a text, not 5"),
    "gradable a word": Refusal(
        'title = "Shop limits"', 'title = "x"\ngradable = "no"', "gradable", "gradable", "true or false is needed"
    ),
    "nothing to extend": Refusal(
        'title = "Shop limits"', 'title = "x"\nextends = "tia"', "extends", "extends", "in the order of their names"
    ),
    "no categories": Refusal(
        WHOLE[WHOLE.index("[rules_of") :], "", "", "category", "at least one [[category]]"
    ),
    "a category that is no table": Refusal(
        WHOLE[WHOLE.index("[rules]") :], "category = [1]\n", "category = [1]", "category", "entry 1 must be a table"
    ),
    "confirmed by nobody": Refusal(
        'title = "Shop limits"',
        'title = "x"\nconfirmed_on = "2026-11-20"',
        'confirmed_on = "2',
        "confirmed_on",
        "add confirmed_by",
    ),
    "confirmed on no day": Refusal(
        'title = "Shop limits"',
        'title = "x"\nconfirmed_by = "A"\nconfirmed_on = "last week"',
        "last week",
        "confirmed_on",
        'such as "2026-11-20"',
    ),
    "confirmed on a number": Refusal(
        'title = "Shop limits"', 'confirmed_by = "A"\nconfirmed_on = 3\ntitle = "x"', "confirmed_on = 3", "confirmed_on", "not 3"
    ),
    # the switches
    "no switches": Refusal(
        WHOLE[WHOLE.index("[rules]") : WHOLE.index("[[category]]")], "", "", "rules", "give them in [rules]"
    ),
    "a switch missing": Refusal(
        'delay_at_mhz = { value = 10.0, source = "invented", basis = "memory" }\n',
        "",
        "[rules]",
        "rules",
        "category S1 has no delay_at_mhz; give them in [rules]",
    ),
    "switches no table": Refusal(
        WHOLE[WHOLE.index("[rules]") :], "rules = 3\n", "rules = 3", "rules", "a table is needed here, not 3"
    ),
    "unknown switch": Refusal(
        "coverage_source =", "coverage_sauce =", "coverage_sauce", "rules.coverage_sauce", "use one of"
    ),
    "a switch no table": Refusal(
        '{ value = 70.0, source = "invented", basis = "memory" }',
        "70",
        "acr_f_above_fext_db = 70",
        "rules.acr_f_above_fext_db",
        "a table is needed here",
    ),
    "a threshold in words": Refusal(
        "value = 67.0", 'value = "67"', '"67"', "rules.ps_acr_f_above_ps_fext_db.value", "a finite number"
    ),
    "another key of a switch": Refusal(
        "{ value = 3.0,", "{ valeu = 3.0,", "valeu", "rules.return_loss_below_loss_db.valeu", "use one of basis"
    ),
    "a loss of nobody": Refusal(
        '"disturbed"', '"both"', '"both"', "rules.acr_f_loss_of.pair", "one of disturbed, disturbing is needed"
    ),
    "no coverage": Refusal(
        WHOLE[WHOLE.index("coverage = [") : WHOLE.index("[rules_of")],
        "coverage = []\n\n",
        "coverage = []",
        "rules.coverage",
        "at least one step",
    ),
    "coverage out of order": Refusal(
        "up_to_mhz = 300", "up_to_mhz = 30", "up_to_mhz = 30,", "rules.coverage[2].up_to_mhz", "put them in order"
    ),
    "coverage of no step": Refusal(
        "step_mhz = 0.15", "step_mhz = 0", "step_mhz = 0 ", "rules.coverage[1].step_mhz", "above 0"
    ),
    "coverage with another key": Refusal(
        "step_mhz = 1 }", "steps = 1 }", "steps = 1", "rules.coverage[2].steps", "unknown key"
    ),
    "coverage from nowhere": Refusal(
        'coverage_source = "invented"\n', "", "[rules]", "rules.coverage_source", "a text is needed"
    ),
    "a relief of nothing": Refusal(
        "per_mhz = 50", "per_mhz = 0", "per_mhz = 0", "rules_of.S2.short_link_relief.per_mhz", "above 0"
    ),
    "a relief with another key": Refusal(
        "loss_at_mhz = 151\n",
        "loss_at_mhz = 151\nfactor = 2\n",
        "factor = 2",
        "rules_of.S2.short_link_relief.factor",
        "unknown key",
    ),
    "switches of no category": Refusal(
        '[rules_of."S2"', "[rules_of.S9", "[rules_of.S9", "rules_of.S9", "use one of S1, S2, S3"
    ),
    # the categories
    "category twice": Refusal(
        'name = "S2"', 'name = "S1"', 'name = "S1"\ntitle = "category S2"', "category[2].name", "remove one"
    ),
    "category without a name": Refusal('name = "S2"\n', "", "#2 [[category]]", "category[2].name", "a text is needed"),
    "category upside down": Refusal(
        "from_mhz = 1.5", "from_mhz = 250", 'to_mhz = 200\nrequired = ["next"]', "category[2].to_mhz", "does not increase"
    ),
    "category of unsaid source": Refusal(
        'statuses_source = "none"\n', "", "#3 [[category]]", "category[3].statuses_source", "a text is needed"
    ),
    "category with another key": Refusal("information = [", "shown = [", "shown", "category[1].shown", "use one of"),
    "missing without a reason": Refusal(
        '"No limits for S3 are built in. Load your own edition file."',
        "true",
        "missing = true",
        "category[3].missing",
        "a text is needed here, not True",
    ),
    "a parameter under two": Refusal(
        'information = ["acr_n"]',
        'information = ["length"]',
        'information = ["length"]',
        "category[1].information",
        "length stands under judged_if_present already",
    ),
    "a parameter twice": Refusal(
        '["length"]\ninformation',
        '["length", "length"]\ninformation',
        '"length", "length"',
        "category[1].judged_if_present",
        "stands there twice",
    ),
    "an unknown parameter": Refusal(
        '["acr_n"]', '["elfext_loss"]', "elfext_loss", "category[1].information", "use any of wire_map"
    ),
    "statuses no list": Refusal(
        '["acr_n"]', '"acr_n"', 'information = "acr_n"', "category[1].information", "a list is needed"
    ),
    # the single values
    "a single value for a curve": Refusal(
        'parameter = "length"', 'parameter = "next"', "#1 parameter", "reading_limit[1].parameter", "one of length"
    ),
    "a value of nothing": Refusal("value = 100\n", "value = 0\n", "value = 0\n", "reading_limit[1].value", "above 0"),
    "a value that is infinite": Refusal(
        "value = 0.25", "value = inf", "value = inf", "reading_limit[2].value", "a finite number is needed here"
    ),
    "a value that is no number": Refusal(
        "value = 0.25", "value = nan", "value = nan", "reading_limit[2].value", "a finite number is needed here"
    ),
    "a value that is true": Refusal("value = 100\n", "value = true\n", "value = true", "reading_limit[1].value", "not True"),
    "no value": Refusal("value = 0.25\n", "", "#2 [[reading_limit]]", "reading_limit[2].value", "nothing stands there"),
    "a negative share": Refusal(
        "percent = 3", "percent = -3", "percent = -3", "reading_limit[2].percent", "from 0 up is needed here, not -3"
    ),
    "a value for no category": Refusal(
        '["S1", "S2"]', "[]", "categories = []", "reading_limit[2].categories", "name at least one of S1, S2, S3"
    ),
    "a value for an unknown category": Refusal(
        '["S1", "S2"]', '["S4"]', '["S4"]', "reading_limit[2].categories", "use any of S1, S2, S3"
    ),
    "a value for a missing category": Refusal(
        '["S1", "S2"]', '["S1", "S3"]', "#2 [[reading_limit]]", "reading_limit[2]", "a [[category]] of its own"
    ),
    "a value twice": Refusal(
        'parameter = "resistance_unbalance_within_pair"',
        'parameter = "length"',
        '#2 configurations',
        "reading_limit[2].configurations",
        "S1 channel length has a limit above already",
    ),
    "a value with another key": Refusal(
        'clause = "7.1"', 'paragraph = "7.1"', "paragraph", "reading_limit[2].paragraph", "unknown key"
    ),
    "an unknown basis": Refusal(
        'basis = "published"\n\n[[reading', 'basis = "sure"\n\n[[reading', '"sure"', "reading_limit[1].basis", "memory"
    ),
    "a clause that is a number": Refusal(
        'clause = "7.1"', "clause = 7.1", "clause = 7.1", "reading_limit[2].clause", "a text is needed here, not 7.1"
    ),
    # the curves
    "a curve of a single value": Refusal(
        'parameter = "insertion_loss"', 'parameter = "length"', "#3 parameter", "limit[1].parameter", "insertion_loss"
    ),
    "a limit of FEXT": Refusal(
        'parameter = "acr_n"', 'parameter = "fext"', '"fext"', "limit[3].parameter", "acr_f, ps_acr_f"
    ),
    "a curve of an unknown category": Refusal(
        'category = "S2"', 'category = "S5"', '"S5"', "limit[4].category", "one of S1, S2, S3 is needed here"
    ),
    "a curve of a missing category": Refusal(
        'category = "S2"', 'category = "S3"', "#4 [[limit]]", "limit[4]", "without missing"
    ),
    "a curve for no configuration": Refusal(
        '["permanent_link", "mptl"]', "[]", "configurations = []", "limit[4].configurations", "name at least one of"
    ),
    "a curve for an unknown configuration": Refusal(
        '["permanent_link", "mptl"]',
        '["permanent_link", "backbone"]',
        "backbone",
        "limit[4].configurations",
        "entry 2 is 'backbone'; use any of permanent_link, channel",
    ),
    "a curve twice": Refusal(
        'parameter = "acr_n"', 'parameter = "next"', "#5 configurations", "limit[3].configurations", "remove one"
    ),
    "a curve without segments": Refusal(
        WHOLE[WHOLE.index("  [[limit.segment]]\n  from_mhz = 1\n  to_mhz = 200") : WHOLE.index("[[reference]]")],
        "\n",
        "#4 [[limit]]",
        "limit[4].segment",
        "at least one segment",
    ),
    "a gap": Refusal(
        "to_mhz = 10\n", "to_mhz = 9\n", "from_mhz = 10\n", "limit[2].segment[2].from_mhz", "let them meet"
    ),
    "an overlap": Refusal(
        "to_mhz = 10\n", "to_mhz = 11\n", "from_mhz = 10\n", "limit[2].segment[2].from_mhz", "ends at 11 MHz"
    ),
    "a segment backwards": Refusal(
        "to_mhz = 101", "to_mhz = 0.5", "to_mhz = 0.5", "limit[1].segment[1].to_mhz", "from 1 to 0.5 MHz"
    ),
    "a segment from 0": Refusal(
        "  from_mhz = 10\n", "  from_mhz = 0\n", "from_mhz = 0\n", "limit[2].segment[2].from_mhz", "above 0"
    ),
    "a segment with another key": Refusal(
        "cap = 4.5", "caps = 4.5", "caps", "limit[1].segment[1].caps", "use one of basis, cap"
    ),
    "an unknown form": Refusal(
        '"log_slope"', '"polynomial"', "polynomial", "limit[2].segment[2].form", "one of constant, log_slope"
    ),
    "no coefficients": Refusal(
        "  coefficients = { value = 60 }\n",
        "",
        "#2 [[limit.segment]]",
        "limit[2].segment[1].coefficients",
        "a table is needed here, and nothing stands there",
    ),
    "a coefficient missing": Refusal(
        "{ factor = 3, exponent",
        "{ exponent",
        "{ exponent",
        "reference[1].segment[1].coefficients.factor",
        "the form power needs it; add it",
    ),
    "a coefficient of another form": Refusal(
        "linear = 0.02 ", "lineal = 0.02 ", "lineal", "limit[1].segment[1].coefficients.lineal", "use one of"
    ),
    "a coefficient in words": Refusal(
        "sqrt = 2.0", 'sqrt = "2.0"', '"2.0"', "limit[1].segment[1].coefficients.sqrt", "a finite number"
    ),
    "a reference frequency of 0": Refusal(
        "reference_mhz = 10.5", "reference_mhz = 0", "reference_mhz = 0 ", "limit[2].segment[2].coefficients.reference_mhz", "above 0"
    ),
    "no terms": Refusal(
        WHOLE[WHOLE.index("coefficients.terms = [") : WHOLE.index('  source = "invented"\n  basis = "memory"\n\n[[reference]]')],
        "coefficients.terms = []\n",
        "terms = []",
        "limit[4].segment[1].coefficients.terms",
        "at least one term",
    ),
    "a term with another key": Refusal(
        "count = 2", "times = 2", "times", "limit[4].segment[1].coefficients.terms[2].times", "use one of"
    ),
    "a term at 0 MHz": Refusal(
        "reference_mhz = 16.5", "reference_mhz = -1", "reference_mhz = -1,", "limit[4].segment[1].coefficients.terms[2].reference_mhz", "above 0"
    ),
    "a term without a slope": Refusal(
        "per_decade = -20, ", "", "at_reference = 34", "limit[4].segment[1].coefficients.terms[2].per_decade", "nothing stands"
    ),
    "a curve that is not finite": Refusal(
        "exponent = 0.5", "exponent = 1000", "exponent", "reference[1].segment[1].coefficients", "no finite limit"
    ),
    "a difference from words": Refusal(
        'minuend = "next"', 'minuend = "loss"', '"loss"', "limit[3].segment[1].coefficients.minuend", "one of insertion_loss"
    ),
    "a difference from nothing": Refusal(
        'minuend = "next"', 'minuend = "ps_next"', "#3 [[limit]]", "limit[3]", "ps_next, which has no limit; add one"
    ),
    "a difference from itself": Refusal(
        'minuend = "next"', 'minuend = "acr_n"', "#3 [[limit]]", "limit[3]", "must not be a difference itself"
    ),
    "a difference with a cap": Refusal(
        "to_mhz = 103\n", 'to_mhz = 103\n  cap = 3\n  cap_rule = "floor"\n', "cap = 3\n", "limit[3].segment[1].cap", "no cap"
    ),
    "a cap without its rule": Refusal(
        '  cap_rule = "floor"\n', "", "cap = 4.5", "limit[1].segment[1].cap", "belong together; add cap_rule"
    ),
    "a rule without its cap": Refusal(
        "  cap = 4.5\n", "", "cap_rule", "limit[1].segment[1].cap_rule", "belong together; add cap"
    ),
    "an unknown rule of a cap": Refusal(
        '"floor"', '"at_least"', "at_least", "limit[1].segment[1].cap_rule", "one of ceiling, floor"
    ),
    "a check point with another key": Refusal(
        "value = 8.32", "limit = 8.32", "limit = 8.32", "limit[1].segment[1].check_points[2].limit", "use one of"
    ),
    "a check point without a value": Refusal(
        "value = 17.28, ", "", "frequency_mhz = 64", "limit[1].segment[1].check_points[1].value", "a finite number"
    ),
    "confirmed on no day in a segment": Refusal(
        "confirmed_on = 2026-11-20", "confirmed_on = 2026", "confirmed_on = 2026", "limit[2].segment[2].confirmed_on", "a day"
    ),
    "a component curve twice": Refusal(
        '["component"]', '["component", "component"]', '"component", ', "reference[1].configurations", "remove one"
    ),
    "a component of no name": Refusal(
        'parameter = "next_cable"\n', "", "[[reference]]", "reference[1].parameter", "a text is needed"
    ),
}  # fmt: skip


def line_of(text, marker):
    """Return the line of a marker; ``#2 x``: of its second line that begins with x; empty: the file."""
    if not marker:
        return 0
    if marker.startswith("#"):
        count, start = int(marker[1]), marker[3:]
        begins = [i for i, line in enumerate(text.splitlines(), 1) if line.strip().startswith(start)]
        return begins[count - 1]
    assert text.count(marker) == 1, f"{marker!r} stands {text.count(marker)} times"
    return text[: text.index(marker)].count("\n") + 1


@pytest.mark.parametrize("name", REFUSALS)
def test_what_is_not_clear_is_refused_with_file_line_key_and_advice(name):
    refusal = REFUSALS[name]
    text = changed(refusal.old, refusal.new)

    with pytest.raises(InvalidRuleSetError) as caught:
        read(text)

    error = caught.value
    assert error.file == "shop.toml"
    assert (error.line, error.key) == (line_of(text, refusal.at), refusal.key)
    assert refusal.advice in error.detail
    place = f"shop.toml, line {error.line}, " if error.line else "shop.toml, "
    assert str(error) == f"{place}{error.key}: {error.detail}"


@pytest.mark.parametrize(
    ("content", "line", "detail"),
    [
        (b'id = "a"\n\xff = 3\n', 2, "save the file as UTF-8"),
        (b'id = "a"\ntitle = \n', 2, "not valid TOML"),
        (b'id = "a"\nid = "b"\n', 2, "not valid TOML"),
        (b'id = "a"\ntitle = """b', 2, "mend that line"),
    ],
)
def test_a_file_that_is_not_toml_is_refused_with_its_line(content, line, detail):
    with pytest.raises(InvalidRuleSetError, match=detail) as caught:
        read_rule_set("shop.toml", content)

    assert caught.value.line == line


def test_a_file_with_a_byte_order_mark_is_read():
    assert read_rule_set("shop.toml", b"\xef\xbb\xbf" + WHOLE.encode()).id == "shop-2026"
