"""What the benchmarks compare does the same work: the same margins at the same frequencies."""

import pytest

from benchmarks.plain import by_arrays, by_loops, curves_of, limits_of
from benchmarks.record import body, curves, document
from benchmarks.verdicts import RULE_SET, links, worst_of
from fourpair_service.domain.grading.link import category_table
from fourpair_service.rulesets.catalogue import Catalogue


def test_the_record_is_48_curves_of_778_points() -> None:
    found = curves(document())
    assert len(found) == 48
    assert {len(curve) for curve in found} == {778}


def test_the_record_is_the_same_every_time_and_links_of_a_batch_differ() -> None:
    assert body(3) == body(3)
    assert body(3) != body(4)


@pytest.mark.parametrize("plain", ["loops", "arrays"])
def test_plain_versions_find_the_margins_and_frequencies_of_the_kernel(plain: str) -> None:
    batch, rule_set = links(3), Catalogue.load(None).get(RULE_SET)
    found, limits = category_table(batch, rule_set), limits_of(rule_set, batch[0])
    for number, link in enumerate(batch):
        if plain == "loops":
            worst = by_loops(*curves_of(link, lambda values: values.tolist()), limits)
        else:
            worst = by_arrays(*curves_of(link, lambda values: values), limits)
        ours = worst_of(found, number, [limit.category.name for limit in limits])
        assert len(worst) > 30
        for key, (margin_db, frequency_mhz) in worst.items():
            assert ours[key][0] == pytest.approx(margin_db, abs=1e-9)
            assert ours[key][1] == frequency_mhz
