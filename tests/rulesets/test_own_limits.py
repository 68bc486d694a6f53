"""A shop's own editions beside the built-in ones."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.domain.limits import BASIS_ORDER, Basis, weakest
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import Parameter
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.errors import InvalidRuleSetError, UnknownRuleSetError
from fourpair_service.rulesets.limit_table import limit_table
from rulesets.edition_text import WHOLE, changed, read

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "samples" / "limits-example"
CLEAN_PASS = json.loads((ROOT / "samples" / "links" / "0A-01-clean-pass.json").read_bytes())
CHANNEL, LINK = Configuration.CHANNEL, Configuration.PERMANENT_LINK
BUILT_IN = Catalogue.load()
TIA = BUILT_IN.get("TIA")

CONFIRMED = """
id = "tia-checked"
extends = "tia-568.2-d-2018"
confirmed_by = "J. Example (invented)"
confirmed_on = "2026-11-20"
"""

# Category 8 limits are INVENTED here, far from any standard, to show that a file can add them.
CATEGORY_8 = """
id = "tia-with-invented-category-8"
extends = "tia-568.2-d-2018"
[[category]]
name = "8"
title = "category 8"
from_mhz = 1
to_mhz = 2000
required = ["insertion_loss"]
statuses_source = "invented for a test"
[[limit]]
parameter = "insertion_loss"
category = "8"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 2000
  form = "constant"
  coefficients = { value = 77.7 }
  source = "invented for a test"
  basis = "memory"
"""


def catalogue(folder, **files):
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text)
    return Catalogue.load(folder)


def graded(folder, document):
    app = create_app(Settings(limits_directory=folder), clock=lambda: datetime(2026, 12, 1, tzinfo=UTC))
    answer = app.test_client().post("/v1/grade", json=document)
    assert answer.status_code == 200, answer.text
    return answer.get_json()["verdict"]


def segments(rule_set):
    return [s for curve in rule_set.curve_limits.values() for s in curve.segments]


def test_a_whole_edition_is_read_as_it_is_written():
    edition = read()
    loss = edition.curve("S1", CHANNEL, Parameter.INSERTION_LOSS)
    acr_n = edition.curve("S1", CHANNEL, Parameter.ACR_N)

    # Worked by hand from the file: 2 sqrt(64) + 0.02 x 64, and the floor of 4.5 at 1 MHz.
    assert loss.at(np.array([64.0, 1.0])) == pytest.approx([17.28, 4.5])
    assert acr_n.at(np.array([1.0])) == pytest.approx([60 - 4.5])
    assert edition.category("s2").rules.short_link_relief.loss_at_mhz == 151
    assert edition.category("S1").rules.short_link_relief is None
    assert edition.reading("S1", CHANNEL, Parameter.LENGTH).judged_value == pytest.approx(110)
    assert edition.references["any", "component", "next_cable"].parameter is Parameter.NEXT
    assert edition.notes == ("invented",)


def test_check_points_of_a_file_are_kept_beside_its_curve():
    loss = read().curve("S1", CHANNEL, Parameter.INSERTION_LOSS)

    for point in loss.segments[0].check_points:
        assert loss.at(np.array([point.frequency_mhz])) == pytest.approx([point.value])


def test_a_component_curve_of_another_name_belongs_to_insertion_loss():
    edition = read(changed('"next_cable"', '"cord_derating"'))

    assert edition.references["any", "component", "cord_derating"].parameter is Parameter.INSERTION_LOSS


def test_a_confirmed_segment_is_published_and_says_who_and_when():
    first, second = read().curve("S1", CHANNEL, Parameter.NEXT).segments

    assert (first.basis, first.confirmed_by) == (Basis.MEMORY, None)
    assert (second.basis, second.confirmed_by) == (Basis.PUBLISHED, "J. Example (invented)")
    assert second.confirmed_on == "2026-11-20"


def test_a_file_that_confirms_an_edition_makes_all_of_it_published(tmp_path):
    checked = catalogue(tmp_path, checked=CONFIRMED).get("tia-checked")
    switches = checked.category("6").rules

    assert {s.basis for s in segments(checked)} == {Basis.PUBLISHED}
    assert {r.basis for r in checked.reading_limits.values()} == {Basis.PUBLISHED}
    assert switches.acr_f_above_fext_db.basis is Basis.PUBLISHED
    assert {s.confirmed_on for s in segments(checked)} == {"2026-11-20"}
    assert {s.basis for s in segments(TIA)} == set(BASIS_ORDER)  # the extended edition stays as it is


def test_a_confirmed_edition_confirms_the_relief_of_short_links(tmp_path):
    text = CONFIRMED.replace("tia-568.2-d-2018", "iso-11801-1-2017")
    checked = catalogue(tmp_path, checked=text).get("tia-checked")

    assert checked.category("EA").rules.short_link_relief.basis is Basis.PUBLISHED
    assert BUILT_IN.get("ISO").category("EA").rules.short_link_relief.basis is Basis.MEMORY


def test_a_confirmation_changes_no_limit(tmp_path):
    checked = catalogue(tmp_path, checked=CONFIRMED).get("TIA")
    for key, curve in checked.curve_limits.items():
        grid = np.geomspace(curve.from_mhz, curve.to_mhz, 20)
        np.testing.assert_array_equal(curve.at(grid), TIA.curve_limits[key].at(grid))


def test_a_confirmation_takes_the_provisional_mark_off_a_verdict(tmp_path):
    (tmp_path / "checked.toml").write_text(CONFIRMED)
    document = {**CLEAN_PASS, "requirement": {**CLEAN_PASS["requirement"], "rule_set": "TIA"}}
    before, after = graded(None, document), graded(tmp_path, document)

    assert (before["provisional"], before["basis"]) == (True, "memory")
    assert (after["provisional"], after["basis"]) == (False, "published")
    assert after["rule_set"]["id"] == "tia-checked"
    assert after["outcome"] == before["outcome"]
    assert after["headroom_db"] == before["headroom_db"]


def test_an_extension_supersedes_what_it_extends_and_both_stay_at_hand(tmp_path):
    both = catalogue(tmp_path, checked=CONFIRMED)

    assert both.get("TIA").id == "tia-checked"
    assert both.get("tia-568.2-d-2018").digest == TIA.digest
    assert both.superseded_by(TIA) == "tia-checked"
    assert not both.is_built_in(both.get("TIA"))
    assert both.is_built_in(TIA)


def test_an_extension_of_an_extension_is_the_newest(tmp_path):
    second = CONFIRMED.replace("tia-568.2-d-2018", "tia-checked").replace(
        '"tia-checked"', '"tia-checked-2"', 1
    )

    assert catalogue(tmp_path, a=CONFIRMED, b=second).get("TIA").id == "tia-checked-2"


def test_only_the_last_of_a_chain_is_what_records_are_graded_again_by(tmp_path):
    second = CONFIRMED.replace("tia-568.2-d-2018", "tia-checked").replace(
        '"tia-checked"', '"tia-checked-2"', 1
    )

    found = catalogue(tmp_path, first=CONFIRMED, second=second).superseding()

    assert "tia-checked-2" in [rule_set.id for rule_set in found]
    assert "tia-checked" not in [rule_set.id for rule_set in found]


def test_a_whole_edition_may_supersede_without_extending(tmp_path):
    text = changed('standard = "SHOP"', 'standard = "TIA"\nsupersedes = "tia-568.2-d-2018"')

    assert catalogue(tmp_path, shop=text).get("TIA").id == "shop-2026"


def test_an_edition_kept_for_reference_is_never_the_newest(tmp_path):
    text = changed('title = "Shop limits"', 'title = "Shop limits"\ngradable = false')
    both = catalogue(tmp_path, shop=text)

    assert both.get("shop-2026").gradable is False
    with pytest.raises(UnknownRuleSetError, match="no rule set 'SHOP'"):
        both.newest("SHOP")


def test_each_file_has_its_own_digest(tmp_path):
    one, other = read(), read(WHOLE + "# a word more\n")

    assert len({one.digest, other.digest, TIA.digest}) == 3
    assert one.digest == read().digest


def test_the_digest_of_an_extension_changes_with_what_it_extends():
    bases = [read(), read(changed("value = 100\n", "value = 90\n"))]
    extension = 'id = "own"\nextends = "shop-2026"\n'

    assert len({read(extension, [base]).digest for base in bases}) == 2


def test_what_a_file_gives_replaces_the_same_place_and_leaves_the_others():
    own = """
id = "own"
extends = "shop-2026"
[[reading_limit]]
parameter = "length"
categories = ["S1"]
configurations = ["channel"]
value = 80
source = "invented"
basis = "memory"
[[limit]]
parameter = "next"
category = "S1"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 100
  form = "constant"
  coefficients = { value = 50 }
  source = "invented"
  basis = "memory"
"""
    edition = read(own, [read()])

    assert edition.reading("S1", CHANNEL, Parameter.LENGTH).judged_value == 80
    assert edition.reading("S1", CHANNEL, Parameter.RESISTANCE_UNBALANCE_WITHIN_PAIR).value == 0.25
    # A difference follows the limits that it is made of.
    assert edition.curve("S1", CHANNEL, Parameter.ACR_N).at(np.array([1.0])) == pytest.approx([50 - 4.5])
    assert (edition.standard, edition.title) == ("SHOP", "Shop limits")


def test_a_switch_of_an_extension_replaces_that_of_every_category():
    own = """
id = "own"
extends = "shop-2026"
[rules]
next_below_loss_db = { value = 4.0, source = "invented", basis = "memory" }
[rules_of.S2]
return_loss_below_loss_db = { value = 2.5, source = "invented", basis = "memory" }
"""
    edition = read(own, [read()])
    rules = {name: category.rules for name, category in edition.categories.items()}

    assert {r.next_below_loss_db.value for r in rules.values()} == {4.0}
    assert {n: r.return_loss_below_loss_db.value for n, r in rules.items()} == {
        "S1": 3.0,
        "S2": 2.5,
        "S3": 3.0,
    }
    assert rules["S2"].short_link_relief is not None


def test_a_new_category_of_an_extension_needs_its_switches():
    own = 'id = "own"\nextends = "shop-2026"\n[[category]]\nname = "S4"\ntitle = "S4"\nfrom_mhz = 1\nto_mhz = 9\n'

    with pytest.raises(InvalidRuleSetError, match=r"in \[rules_of\.S4\]"):
        read(f'{own}statuses_source = "invented"\n', [read()])


def test_a_limit_that_breaks_a_difference_of_the_extended_edition_names_the_own_entry():
    own = """
id = "own"
extends = "shop-2026"
[[limit]]
parameter = "next"
category = "S1"
configurations = ["channel"]
  [[limit.segment]]
  from_mhz = 1
  to_mhz = 100
  form = "difference"
  coefficients = { minuend = "insertion_loss", subtrahend = "insertion_loss" }
  source = "invented"
  basis = "memory"
"""
    with pytest.raises(InvalidRuleSetError, match=r"shop.toml, line 4, limit\[1\]: S1 channel acr_n"):
        read(own, [read()])


def test_a_file_can_add_the_limits_of_a_category_that_is_known_by_name(tmp_path):
    own = catalogue(tmp_path, eight=CATEGORY_8)
    table = limit_table(own.get("TIA"), "8", CHANNEL, Parameter.INSERTION_LOSS, (2000.0,))

    assert table.rows[0].value == 77.7
    assert "category 8" not in {known.name for known in own.known_by_name()}
    assert "category 8" in {known.name for known in BUILT_IN.known_by_name()}


def test_a_link_is_graded_by_the_limits_of_an_added_category(tmp_path):
    (tmp_path / "eight.toml").write_text(CATEGORY_8)
    short = {
        "configuration": "channel",
        "requirement": {"rule_set": "TIA", "category": "8"},
        "wire_map": CLEAN_PASS["wire_map"],
        "frequency_mhz": [{"start": 1, "step": 0.125, "stop": 2000}],
        "sweeps": {"insertion_loss": {pair: [10.0] * 15993 for pair in ("12", "36", "45", "78")}},
    }

    verdict = graded(tmp_path, short)

    # 77.7 dB, the invented limit, less the 10 dB that were measured.
    assert (verdict["outcome"], verdict["headroom_db"]) == ("pass", 67.7)
    assert verdict["provisional"] is True


def test_a_standard_known_by_name_becomes_an_edition_when_a_file_brings_it(tmp_path):
    own = catalogue(tmp_path, en=changed('standard = "SHOP"', 'standard = "EN 50173-1"'))

    assert own.get("EN 50173-1").id == "shop-2026"
    assert "EN 50173-1" not in {known.name for known in own.known_by_name()}


@pytest.mark.parametrize("name", ["EN 50173-1", "en 50173-1", "EN_50173-1", "EN50173", "EN 50173"])
def test_a_standard_known_by_name_says_so_however_it_is_written(name):
    with pytest.raises(UnknownRuleSetError, match="known by name only"):
        BUILT_IN.get(name)


def test_an_unknown_standard_says_what_there_is():
    with pytest.raises(UnknownRuleSetError, match=r"^There is no rule set 'AS/NZS'\. Known: iso-"):
        BUILT_IN.get("AS/NZS")


def refused(folder, line, key, detail):
    with pytest.raises(InvalidRuleSetError) as caught:
        Catalogue.load(folder)
    error = caught.value
    assert (error.line, error.key) == (line, key)
    assert detail in error.detail


def test_a_directory_that_is_not_there_is_refused(tmp_path):
    refused(tmp_path / "none", 0, "directory", "change FOURPAIR_LIMITS_DIRECTORY")


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    (tmp_path / "folder.toml").mkdir()

    refused(tmp_path, 0, "file", "mend its permissions or move it away")


def test_an_id_that_is_taken_is_refused(tmp_path):
    (tmp_path / "a.toml").write_text(changed('"shop-2026"', '"iso-11801-1-2017"'))

    refused(tmp_path, 2, "id", "a correction needs an id of its own")


def test_a_successor_of_nothing_is_refused(tmp_path):
    (tmp_path / "a.toml").write_text(changed('standard = "SHOP"', 'standard = "X"\nsupersedes = "shop-2025"'))

    refused(tmp_path, 4, "supersedes", "there is no rule set 'shop-2025'; use one of iso-11801-1-2017")


def test_two_successors_of_one_edition_are_refused(tmp_path):
    (tmp_path / "a.toml").write_text(CONFIRMED)
    (tmp_path / "b.toml").write_text(CONFIRMED.replace('"tia-checked"', '"tia-other"'))

    refused(tmp_path, 0, "supersedes", "let this one extend or supersede 'tia-checked'")


def test_files_of_other_kinds_are_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("not an edition")

    assert [r.id for r in Catalogue.load(tmp_path)] == [r.id for r in BUILT_IN]


def test_the_example_loads_supersedes_and_confirms_only_what_it_says():
    example = Catalogue.load(EXAMPLE).get("TIA")
    resistance = example.reading("6", LINK, Parameter.DC_LOOP_RESISTANCE)

    assert example.id == "tia-568.2-d-2018-example"
    assert (resistance.basis, resistance.confirmed_on) == (Basis.PUBLISHED, "2026-11-20")
    assert example.reading("3", LINK, Parameter.DC_LOOP_RESISTANCE).basis is Basis.MEMORY
    assert example.curve("6", LINK, Parameter.NEXT).basis is Basis.MEMORY
    assert "example" in example.title and "invented" in example.title


def test_the_example_replaces_one_curve_and_what_differs_from_it_follows():
    example = Catalogue.load(EXAMPLE).get("TIA")
    at = np.array([250.0])
    loss, acr_n, near_end = (
        example.curve("6", LINK, p).at(at)
        for p in (Parameter.INSERTION_LOSS, Parameter.ACR_N, Parameter.NEXT)
    )

    assert loss < TIA.curve("6", LINK, Parameter.INSERTION_LOSS).at(at)
    assert acr_n == pytest.approx(near_end - loss)


def test_the_readme_shows_a_file_that_loads(tmp_path):
    readme = (ROOT / "README.md").read_text()
    text = readme.split("## Own limits")[1].split("```toml\n")[1].split("```")[0]
    own = catalogue(tmp_path, readme=text)

    assert own.get("TIA").id == "tia-568.2-d-2018-checked"
    assert weakest([s.basis for s in segments(own.get("TIA"))]) is Basis.PUBLISHED
    assert "samples/limits-example" in readme
