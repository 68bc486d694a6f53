"""The picture of a limit: what it says, and that its line lies where its values are."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest

from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import Parameter
from fourpair_service.reports.limit_chart import BOTTOM, RIGHT, TOP, limit_chart
from fourpair_service.reports.limit_csv import limit_csv
from fourpair_service.reports.limit_frame import LEFT
from fourpair_service.reports.scales import Logarithmic, nice_axis
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.limit_table import limit_table
from fourpair_service.rulesets.reader import read_rule_set

SVG = "{http://www.w3.org/2000/svg}"
CATALOGUE = Catalogue.load()


def table(parameter, category="6A", configuration="permanent_link", frequencies=(), rule_set="TIA"):
    edition = CATALOGUE.get(rule_set)
    return limit_table(edition, category, Configuration(configuration), Parameter(parameter), frequencies)


def drawn(limit, *, marked=False):
    return ElementTree.fromstring(limit_chart(limit, marked=marked))


def words(picture):
    return [element.text for element in picture.iter(f"{SVG}text")]


def points(element):
    return np.array([[float(n) for n in pair.split(",")] for pair in element.get("points").split()])


def test_the_picture_says_what_it_shows_and_where_it_comes_from():
    said = words(drawn(table("next")))

    assert "NEXT limit, category 6A, permanent link" in said
    assert any(word.startswith("ANSI/TIA-568.2-D") and "required for a pass" in word for word in said)
    assert any(word.startswith("Source: ") for word in said)
    assert any(word.startswith("Provisional: ") for word in said)
    assert "frequency, MHz" in said and "dB" in said


def test_a_limit_that_was_printed_is_not_called_provisional():
    said = words(drawn(table("next", "3", "channel")))

    assert not any("Provisional" in word for word in said)
    assert "published" in said


def test_the_line_lies_where_the_limit_is():
    limit = table("insertion_loss", "EA", "channel", rule_set="ISO")
    places = np.vstack([points(e) for e in drawn(limit).iter(f"{SVG}polyline")])
    x, y = Logarithmic(1, 500, LEFT, RIGHT), nice_axis(0, 53, BOTTOM, TOP)
    curve = limit.limit.at(np.geomspace(1, 500, 50))
    drawn_at = np.interp([x(f) for f in np.geomspace(1, 500, 50)], places[:, 0], places[:, 1])

    assert drawn_at == pytest.approx([y(v) for v in curve], abs=1.0)


@pytest.mark.parametrize(("parameter", "edge"), [("next", BOTTOM), ("insertion_loss", TOP)])
def test_the_side_outside_the_limit_is_the_shaded_one(parameter, edge):
    zone = next(drawn(table(parameter)).iter(f"{SVG}polygon"))

    assert points(zone)[0, 1] == edge


def test_asked_frequencies_are_marked_with_their_values():
    picture = drawn(table("return_loss", frequencies=(1.0, 20.0, 100.0, 500.0)), marked=True)

    assert len(list(picture.iter(f"{SVG}circle"))) == 4
    # 8 dB at 500 MHz: structured cabling guide p. 12, see printed_limits.csv.
    assert {"19.1", "19.5", "14.0", "8.0"} <= set(words(picture))


def test_many_frequencies_are_marked_without_hiding_the_line_under_numbers():
    picture = drawn(table("next", frequencies=tuple(float(f) for f in range(1, 40))), marked=True)

    assert len(list(picture.iter(f"{SVG}circle"))) == 39
    assert "75.0" not in words(picture)


def test_nothing_that_is_drawn_leaves_the_picture():
    for rule_set in CATALOGUE:
        for category, configuration, parameter in rule_set.curve_limits:
            picture = drawn(table(parameter, category, configuration, rule_set=rule_set.id))
            for element in (*picture.iter(f"{SVG}polyline"), *picture.iter(f"{SVG}polygon")):
                x, y = points(element).T
                assert x.min() >= LEFT - 0.1 and x.max() <= RIGHT + 0.1
                assert y.min() >= TOP - 0.1 and y.max() <= BOTTOM + 0.1


def test_a_single_value_is_drawn_on_its_scale():
    said = words(drawn(table("length", "6")))

    assert "99 m" in said
    assert "At most 90 m and 10 % more as allowance: 99 m." in said


def test_a_single_value_with_a_share_says_both():
    said = words(drawn(table("resistance_unbalance_within_pair", "6")))

    assert any("or 3 % of the sum of the two resistances where that is more" in word for word in said)


def test_looks_do_not_need_a_style_that_a_policy_could_forbid():
    text = limit_chart(table("next"), marked=False)

    assert " style=" not in text and "<style" not in text and "<script" not in text


OWN = """
id = "own"
extends = "tia-568.2-d-2018"
title = "<b>Own & odd</b>"
[[limit]]
parameter = "next"
category = "6"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 100
  to_mhz = 100
  form = "constant"
  coefficients = { value = 40 }
  source = "{source}"
  basis = "published"
"""


def own(source):
    edition = read_rule_set(
        "own.toml", OWN.replace("{source}", source).encode(), {r.id: r for r in CATALOGUE}
    )
    return limit_table(edition, "6", Configuration.CHANNEL, Parameter.NEXT)


def test_words_of_an_own_file_stay_words_in_the_picture():
    said = words(drawn(own("<script>alert(1)</script>")))

    assert "Source: <script>alert(1)</script>" in said


def test_a_limit_at_one_frequency_alone_can_be_drawn():
    assert "40.0" in words(drawn(own("a book")))


def test_a_long_list_of_sources_says_where_the_rest_stands():
    said = words(drawn(own("a long title of a book " * 30)))

    assert "… the rest stands beside each value in the JSON and CSV forms" in said


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_words_that_a_spreadsheet_would_run_are_made_harmless(start):
    assert f"'{start}cmd" in limit_csv(own(f"{start}cmd"))
