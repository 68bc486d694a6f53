"""Rule 6 of the verdict: a split pair is a fault of the wire map, whatever the sweeps excuse.

The thresholds (22 dB, 3 dB, 31.25 MHz, 0.08) are a criterion of our own, no published source.
"""

from dataclasses import replace

import numpy as np
import pytest

from domain.grading.flat import AXIS, at, category, edition, link, rule, rules, verdict_of
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import Cable, CurveGroup, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.domain.wiremap import WireMapFault

PAIR = "36-45"
FINE = np.arange(1.0, 100.5, 0.5)


def split(next_db=20.0, return_loss_db=20.0, ends=tuple(End), **fields):
    changes = {}
    for end in ends:
        changes[(Parameter.NEXT, end, PAIR)] = next_db
        changes |= {(Parameter.RETURN_LOSS, end, pair): return_loss_db for pair in PAIR.split("-")}
    return link(changes, **fields)


def found(measurement, rule_set=None):
    wire_map = verdict_of(measurement, rule_set).wire_map
    return wire_map.split_pairs


@pytest.mark.parametrize("end", End)
def test_rule_6_one_end_that_shows_it_is_enough(end):
    verdict = verdict_of(split(ends=(end,)))

    assert (verdict.wire_map.outcome, verdict.outcome) == (Outcome.FAIL, Outcome.FAIL)
    (finding,) = verdict.wire_map.findings
    assert (finding.kind, finding.pairs) == (WireMapFault.SPLIT_PAIR, ("36", "45"))
    assert verdict.reasons[0].startswith("Pairs 36 and 45 are split")


@pytest.mark.parametrize(
    ("next_db", "return_loss_db", "state"),
    [
        (21.9, 24.9, "found"),
        (22.0, 10.0, "none"),
        (21.9, 25.0, "none"),
    ],
)
def test_rule_6_next_must_be_below_22_db_and_return_loss_within_3_db_of_it(next_db, return_loss_db, state):
    assert found(split(next_db, return_loss_db)) == state


def test_rule_6_the_return_loss_of_both_pairs_must_be_as_bad():
    one = link({(Parameter.NEXT, End.NEAR, PAIR): 20.0, (Parameter.RETURN_LOSS, End.NEAR, "36"): 30.0})

    assert found(one) == "none"


def test_rule_6_levels_are_compared_as_rms_over_the_points_that_are_strong():
    # 10 and 22 dB are 12.75 dB rms, so 15.7 dB of return loss is near enough and 15.8 is not.
    uneven = at(10.0, 20.0, at(21.99, 10.0, 60.0))

    assert found(split(uneven, 15.7)) == "found"
    assert found(split(uneven, 15.8)) == "none"


def test_rule_6_above_31_25_mhz_a_poor_connector_looks_alike_and_is_no_split_pair():
    assert found(split(at(20.0, 40.0, 60.0))) == "none"
    assert found(split(at(20.0, 30.0, 60.0))) == "found"


def test_rule_6_whatever_the_excuses_say():
    excused = edition(
        switches=rules(return_loss_below_loss_db=rule(50.0), next_below_loss_db=rule(50.0)),
        required=(Parameter.WIRE_MAP, Parameter.NEXT, Parameter.RETURN_LOSS),
    )

    verdict = verdict_of(split(), excused)

    assert verdict.outcome is Outcome.FAIL
    assert all(r.outcome is Outcome.PASS for r in verdict.parameters if r.outcome)


@pytest.mark.parametrize("missing", [Parameter.NEXT, Parameter.RETURN_LOSS])
@pytest.mark.parametrize("end", End)
def test_rule_6_from_one_end_alone_a_split_pair_is_not_excluded(missing, end):
    measured = link(without=[(missing, end)])
    if missing is Parameter.RETURN_LOSS:
        measured = link({(Parameter.NEXT, end, PAIR): 20.0}, without=[(missing, end)])

    verdict = verdict_of(measured)

    assert verdict.wire_map.split_pairs == "not_excluded"
    assert verdict.wire_map.note.startswith("split pairs are not excluded")


def test_rule_6_from_both_ends_a_sound_link_has_none():
    wire_map = verdict_of().wire_map

    assert (wire_map.outcome, wire_map.split_pairs, wire_map.note) == (Outcome.PASS, "none", None)


def test_rule_6_a_sweep_that_starts_above_31_25_mhz_excludes_nothing():
    assert found(link(axis=AXIS[AXIS > 35])) == "not_excluded"


def test_rule_6_where_continuity_is_already_wrong_split_pairs_are_not_looked_for():
    broken = replace(split(), wire_map=WireMap((("1", "2"), ("2", "1"), *((p, p) for p in "345678"))))

    wire_map = verdict_of(broken).wire_map

    assert wire_map.split_pairs == "not_excluded"
    assert [f.kind for f in wire_map.findings] == [WireMapFault.REVERSED_PAIR]


SLOW = edition(category(top_mhz=16.0))


def test_rule_6_a_category_that_ends_at_16_mhz_cannot_tell_from_magnitudes():
    assert found(split(), SLOW) == "not_excluded"


def with_complex_next(measurement, value, end=End.NEAR):
    """The link with NEXT of one combination as (n,) complex values on a fine axis."""
    return replace(
        measurement,
        curves={
            **measurement.curves,
            (Parameter.NEXT, end): (CurveGroup.from_complex(FINE, (PAIR,), value[None]),),
        },
    )


def lumped(amplitude, distance_m=5.0, velocity=0.667 * 299.79):
    """NEXT of one place that couples equally at all frequencies."""
    return amplitude * np.exp(-4j * np.pi * FINE * distance_m / velocity)


def test_rule_6_complex_next_tells_by_its_coupling_even_below_16_mhz():
    strong = with_complex_next(split(), lumped(0.1))

    assert found(strong, SLOW) == "found"


def test_rule_6_complex_next_that_is_strong_at_a_frequency_and_nowhere_along_the_link_is_no_split_pair():
    # 0.1 at one narrow resonance, 0.001 elsewhere: no place couples by 0.08.
    narrow = np.where(np.abs(FINE - 20) < 1, lumped(0.1), lumped(0.001))

    assert found(with_complex_next(split(), narrow)) == "found"  # the far end is known by magnitude
    assert found(with_complex_next(split(ends=()), narrow)) == "not_excluded"  # other combinations unknown
    near_only = with_complex_next(split(ends=(End.NEAR,)), narrow)
    assert found(near_only) != "found"


def test_rule_6_the_path_of_complex_transmission_serves_the_search():
    f = FINE
    through = 0.3 * np.exp(-2j * np.pi * f * 0.05)
    measured = with_complex_next(split(cable=Cable()), lumped(0.1))
    loss = CurveGroup.from_complex(f, PAIRS, np.stack([through] * 4))
    measured = replace(measured, curves={**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)})

    assert found(measured, SLOW) == "found"


def test_rule_6_a_transmission_that_is_noise_gives_no_path_and_refuses_no_grading():
    measured = with_complex_next(split(), lumped(0.1))
    noise = np.random.default_rng(7).standard_normal((4, 2, len(FINE))) * 1e-5
    loss = CurveGroup.from_complex(FINE, PAIRS, noise[:, 0] + 1j * noise[:, 1])
    curves = {**measured.curves, (Parameter.INSERTION_LOSS, None): (loss,)}

    assert found(replace(measured, curves=curves), SLOW) == "found"
