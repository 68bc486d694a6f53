"""Rule 5 of the verdict: which points an edition does not judge."""

import numpy as np
import pytest

from domain.grading.flat import AXIS, SOUND, at, edition, link, result, rule, rules, verdict_of
from fourpair_service.domain.limits import Basis, ShortLinkRelief
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.domain.verdict_document import verdict_document
from fourpair_service.rulesets.catalogue import Catalogue


def losses(**of_pairs):
    """Insertion loss of each pair, 10 dB where not given."""
    return {(Parameter.INSERTION_LOSS, None, pair[1:]): value for pair, value in of_pairs.items()}


def judged_keys(parameter, changes, switches, end=End.NEAR):
    """The pairs or combinations of which any point was judged."""
    verdict = verdict_of(link(changes), edition(switches=switches))
    return {point.pairs for point in result(verdict, parameter, end).by_pair}


def test_rule_5_return_loss_is_excused_by_the_loss_of_its_own_pair_below_3_db():
    switches = rules(return_loss_below_loss_db=rule(3.0))

    assert judged_keys(Parameter.RETURN_LOSS, losses(p12=2.99, p36=3.0), switches) == {"36", "45", "78"}


def test_rule_5_next_is_excused_only_where_both_pairs_lose_less_than_4_db():
    switches = rules(next_below_loss_db=rule(4.0))

    kept = judged_keys(Parameter.NEXT, losses(p12=3.9, p36=3.9, p45=4.0), switches)

    assert kept == set(NEXT_COMBINATIONS) - {"12-36"}


@pytest.mark.parametrize("parameter", [Parameter.PS_NEXT, Parameter.PS_ACR_N])
def test_rule_5_a_power_sum_of_next_is_excused_by_the_loss_of_its_pair(parameter):
    switches = rules(next_below_loss_db=rule(4.0))

    assert judged_keys(parameter, losses(p12=3.9), switches) == {"36", "45", "78"}


def test_rule_5_acr_n_has_twelve_values_an_end_and_goes_by_the_disturbed_pair():
    switches = rules(next_below_loss_db=rule(4.0))

    kept = judged_keys(Parameter.ACR_N, losses(p12=3.9), switches)

    assert kept == {key for key in FEXT_COMBINATIONS if not key.endswith(">12")}


@pytest.mark.parametrize("of", ["disturbed", "disturbing"])
def test_rule_5_acr_f_takes_off_the_loss_that_the_edition_names(of):
    changes = losses(p12=6.0)
    rule_set = edition(switches=rules(acr_f_loss_of=of))

    points = result(verdict_of(link(changes), rule_set), Parameter.ACR_F, End.NEAR).by_pair

    value = {point.pairs: point.measured for point in points}
    position = 1 if of == "disturbed" else 0
    assert value == {key: 64.0 if key.split(">")[position] == "12" else 60.0 for key in FEXT_COMBINATIONS}


@pytest.mark.parametrize("of", ["disturbed", "disturbing"])
def test_rule_5_the_power_sum_of_acr_f_sums_the_same_ratios(of):
    rule_set = edition(switches=rules(acr_f_loss_of=of))
    verdict = verdict_of(link(losses(p12=6.0)), rule_set)
    ratio = {p.pairs: p.measured for p in result(verdict, Parameter.ACR_F, End.NEAR).by_pair}

    for point in result(verdict, Parameter.PS_ACR_F, End.NEAR).by_pair:
        disturbers = [ratio[f"{other}>{point.pairs}"] for other in PAIRS if other != point.pairs]
        assert point.measured == pytest.approx(-10 * np.log10(sum(10 ** (-r / 10) for r in disturbers)))


def test_rule_5_every_built_in_edition_takes_off_the_loss_of_the_disturbed_pair():
    categories = [c for r in Catalogue.load() if r.gradable for c in r.categories.values()]
    assert {category.rules.acr_f_loss_of for category in categories} == {"disturbed"}


@pytest.mark.parametrize(("fext", "judged"), [(70.0, True), (70.1, False)])
def test_rule_5_acr_f_is_excused_where_fext_is_above_70_db(fext, judged):
    changes = {(Parameter.FEXT, End.NEAR, "12>36"): fext}

    kept = judged_keys(Parameter.ACR_F, changes, rules(acr_f_above_fext_db=rule(70.0)))

    assert ("12>36" in kept) is judged
    assert len(kept) >= 11


@pytest.mark.parametrize(("above", "judged"), [(0.01, True), (-0.01, False)])
def test_rule_5_the_power_sum_of_acr_f_is_excused_where_the_power_sum_of_fext_is_above_67_db(above, judged):
    together = SOUND[Parameter.FEXT] - 10 * np.log10(3)
    switches = rules(ps_acr_f_above_ps_fext_db=rule(together + above))

    verdict = verdict_of(rule_set=edition(switches=switches))

    assert bool(result(verdict, Parameter.PS_ACR_F, End.NEAR).by_pair) is judged


EXPECTED = {
    # Editions and thresholds: ISO/IEC 11801-1 3 dB and 4 dB rules published (see the data
    # file), the rest memory.
    ("tia-568.2-d-2018", "6A"): (3.0, None, 70.0, 67.0),
    ("tia-568.2-d-2018", "3"): (3.0, None, 70.0, 67.0),
    ("iso-11801-1-2017", "C"): (3.0, None, 70.0, 67.0),
    ("iso-11801-1-2017", "D"): (3.0, 4.0, 70.0, 67.0),
    ("iso-11801-1-2017", "FA"): (3.0, 4.0, 70.0, 67.0),
}


@pytest.mark.parametrize("place", EXPECTED, ids="/".join)
def test_rule_5_the_built_in_thresholds(place):
    switches = Catalogue.load().get(place[0]).category(place[1]).rules

    assert EXPECTED[place] == (
        switches.return_loss_below_loss_db.value,
        switches.next_below_loss_db.value,
        switches.acr_f_above_fext_db.value,
        switches.ps_acr_f_above_ps_fext_db.value,
    )


@pytest.mark.parametrize(
    ("parameter", "switch", "threshold", "word"),
    [
        (Parameter.RETURN_LOSS, "return_loss_below_loss_db", 11.0, "own_insertion_loss"),
        (Parameter.NEXT, "next_below_loss_db", 11.0, "next_insertion_loss"),
        (Parameter.PS_NEXT, "next_below_loss_db", 11.0, "next_insertion_loss"),
        (Parameter.ACR_F, "acr_f_above_fext_db", 69.0, "fext"),
        (Parameter.PS_ACR_F, "ps_acr_f_above_ps_fext_db", 60.0, "ps_fext"),
    ],
)
def test_rule_5_what_is_excused_is_counted_and_the_rule_named_with_its_source(
    parameter, switch, threshold, word
):
    rule_set = edition(switches=rules(**{switch: rule(threshold)}))

    found = result(verdict_of(rule_set=rule_set), parameter, End.FAR)

    assert (found.excuse.rule, found.excuse.source) == (word, "the made-up rule book")
    assert f"{threshold:.1f} dB" in found.excuse.text
    assert found.judged_points == 0


def test_rule_5_only_the_points_that_the_rule_names_are_excused():
    loss = np.where(AXIS < 45, 2.0, 10.0)
    changes = {(Parameter.INSERTION_LOSS, None): loss, (Parameter.RETURN_LOSS, End.NEAR): 5.0}
    rule_set = edition(switches=rules(return_loss_below_loss_db=rule(3.0)))

    found = result(verdict_of(link(changes), rule_set), Parameter.RETURN_LOSS, End.NEAR)

    assert (found.outcome, found.excuse.points, found.judged_points) == (Outcome.FAIL, 4 * 5, 4 * 6)
    assert found.worst_margin.frequency_mhz == 50.0


def test_rule_5_a_point_outside_the_range_of_the_category_is_not_counted_as_excused():
    axis = np.array([0.5, *AXIS])
    loss = {(Parameter.INSERTION_LOSS, None): np.where(axis < 1, 2.0, 10.0)}
    rule_set = edition(switches=rules(return_loss_below_loss_db=rule(3.0)))

    found = result(verdict_of(link(loss, axis=axis), rule_set), Parameter.RETURN_LOSS, End.NEAR)

    assert (found.excuse, found.judged_points) == (None, 4 * AXIS.size)


def test_rule_5_the_document_carries_the_rule_its_words_its_count_and_its_source():
    rule_set = edition(switches=rules(return_loss_below_loss_db=rule(11.0)))

    written = verdict_document(verdict_of(rule_set=rule_set))["parameters"]

    (found,) = [p["excused"] for p in written if (p["parameter"], p["end"]) == ("return_loss", "far")]
    assert found == {
        "rule": "own_insertion_loss",
        "text": "the pair's insertion loss is below 11.0 dB",
        "points": 4 * AXIS.size,
        "source": "the made-up rule book",
    }


def test_rule_5_without_insertion_loss_nothing_is_excused():
    measured = link({(Parameter.RETURN_LOSS, End.NEAR): 5.0}, without=[(Parameter.INSERTION_LOSS, None)])

    verdict = verdict_of(measured, edition(switches=rules(return_loss_below_loss_db=rule(30.0))))

    assert result(verdict, Parameter.RETURN_LOSS, End.NEAR).outcome is Outcome.FAIL


RELIEF = ShortLinkRelief(50.0, 1.4, 50.0, 50.0, 12.0, "made up", Basis.MEMORY)
RELIEVED = rules(short_link_relief=RELIEF)


def _relieved(changes, key="12-36", parameter=Parameter.NEXT):
    verdict = verdict_of(link(changes), edition(switches=RELIEVED))
    (point,) = [p for p in result(verdict, parameter, End.NEAR).by_pair if p.pairs == key]
    return point


def test_rule_5_links_of_little_loss_have_next_relieved_along_a_slope():
    # Half way up the slope: 1.4 (75 - 50) / 50 = 0.7 dB.
    axis = np.array([1.0, *range(5, 101, 5)], float)
    measured = link({(Parameter.NEXT, End.NEAR): at(29.5, 75.0, 60.0, axis)}, axis=axis)

    verdict = verdict_of(measured, edition(switches=RELIEVED, required=(Parameter.WIRE_MAP, Parameter.NEXT)))

    point = result(verdict, Parameter.NEXT, End.NEAR).worst_margin
    assert point.margin == pytest.approx(0.2)
    assert (point.measured, point.limit) == (pytest.approx(29.5), pytest.approx(29.3))
    (stated,) = [c for c in verdict.categories if c.category == "X"]
    assert stated.headroom_db == pytest.approx(0.2)


@pytest.mark.parametrize(("loss", "margin"), [(11.9, 0.9), (12.0, -0.5)])
def test_rule_5_the_relief_asks_for_little_loss_of_both_pairs(loss, margin):
    changes = {**losses(p12=loss, p36=11.0), (Parameter.NEXT, End.NEAR, "12-36"): at(29.5, 100.0, 60.0)}

    assert _relieved(changes).margin == pytest.approx(margin)


def test_rule_5_the_relief_of_a_power_sum_asks_for_little_loss_of_its_pair():
    changes = losses(p12=13.0, p36=11.0)

    relieved, plain = (_relieved(changes, pair, Parameter.PS_NEXT) for pair in ("36", "12"))

    assert plain.limit == 30.0
    assert relieved.limit <= 30.0


def test_rule_5_the_relief_ends_with_the_sweep_below_its_start():
    axis = np.array([1.0, *range(10, 51, 10)], float)
    measured = link({(Parameter.NEXT, End.NEAR): 29.5}, axis=axis)

    point = result(verdict_of(measured, edition(switches=RELIEVED)), Parameter.NEXT, End.NEAR).worst_margin

    assert point.limit == 30.0


def test_rule_5_class_ea_alone_has_a_relief_and_it_is_1_4_db_for_50_mhz_above_450_from_memory():
    with_relief = {
        (rule_set.id, category.name): category.rules.short_link_relief
        for rule_set in Catalogue.load()
        for category in rule_set.categories.values()
        if category.rules.short_link_relief
    }

    ((place, relief),) = with_relief.items()
    assert place == ("iso-11801-1-2017", "EA")
    assert (relief.from_mhz, relief.slope_db, relief.per_mhz) == (450.0, 1.4, 50.0)
    assert (relief.loss_at_mhz, relief.loss_below_db, relief.basis) == (450.0, 12.0, Basis.MEMORY)
