"""Laws that hold for every link: laid out as properties, tried on links at random."""

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.grading.flat import (
    ASKED,
    AXIS,
    CURVE_LIMITS,
    LINK,
    READING_LIMITS,
    READINGS,
    SOUND,
    curve,
    edition,
    link,
    rule,
    rules,
    segment,
    verdict_of,
)
from fourpair_service.domain.grading.link import grade_batch
from fourpair_service.domain.limits import Basis, ReadingLimit
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import AccuracyCurve, CurveGroup
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense
from fourpair_service.domain.verdict import FAILED, PRECEDENCE, Outcome
from fourpair_service.domain.verdict_document import canonical_bytes, verdict_document

EXCUSING = rules(
    return_loss_below_loss_db=rule(3.0),
    next_below_loss_db=rule(4.0),
    acr_f_above_fext_db=rule(70.0),
    ps_acr_f_above_ps_fext_db=rule(67.0),
)
RULE_SETS = [edition(), edition(switches=EXCUSING), edition(basis=Basis.MEMORY)]
PLACES = [(p, end) for p in SOUND for end in (End if TRAITS[p].has_ends else (None,))]
JUDGED = [p for p in CURVE_LIMITS if TRAITS[p].unit == "db"]

seeds = st.integers(0, 2**32 - 1)
accuracies = st.dictionaries(st.sampled_from([*JUDGED, *READING_LIMITS]), st.sampled_from([0.0, 0.3, 2.0]))


LEVELS = {Parameter.INSERTION_LOSS: 15, Parameter.NEXT: 50, Parameter.FEXT: 55, Parameter.RETURN_LOSS: 14}
KEYS = [(parameter, end, key) for parameter, end in PLACES for key in TRAITS[parameter].keys]


@dataclass(frozen=True)
class Scattered:
    """A link near its limits: every curve scattered about a level, some of them missing."""

    seed: int
    spread_db: float
    accuracy: dict
    without: list

    def link(self):
        rng = np.random.default_rng(self.seed)
        noise = self.spread_db * (rng.random((len(KEYS), AXIS.size)) - 0.5) * 2
        changes = {key: np.round(LEVELS[key[0]] + noise[row], 2) for row, key in enumerate(KEYS)}
        readings = {pair: replace(READINGS, delay_ns=400.0 + 120 * float(rng.random())) for pair in PAIRS}
        return link(changes, without=self.without, accuracy=self.accuracy, readings=readings)


def links(most_missing=2):
    missing = st.lists(st.sampled_from([*PLACES, *KEYS]), max_size=most_missing)
    return st.builds(Scattered, seeds, st.sampled_from([1.0, 5.0, 12.0]), accuracies, missing)


def bytes_of(verdict):
    return canonical_bytes(verdict_document(verdict))


def results(verdict):
    return {(r.parameter, r.end): r for r in verdict.parameters}


@given(st.lists(links(), max_size=5), st.sampled_from(RULE_SETS))
@settings(max_examples=25)
def test_a_batch_gives_byte_for_byte_what_each_link_gives_alone(scattered, rule_set):
    measured = [each.link() for each in scattered]
    together = grade_batch(measured, rule_set, ASKED)

    assert [bytes_of(v) for v in together] == [bytes_of(verdict_of(m, rule_set)) for m in measured]


@given(links(), st.randoms(use_true_random=False), st.sampled_from(RULE_SETS))
@settings(max_examples=25)
def test_the_order_of_curves_pairs_and_readings_in_the_document_changes_no_byte(scattered, random, rule_set):
    measured = scattered.link()

    def shuffled(items):
        items = list(items)
        random.shuffle(items)
        return items

    def group(of):
        rows = shuffled(range(len(of.keys)))
        return CurveGroup(of.frequency_mhz, tuple(of.keys[row] for row in rows), of.value_db[rows])

    curves = {key: tuple(group(g) for g in groups) for key, groups in shuffled(measured.curves.items())}
    contacts = tuple(shuffled(measured.wire_map.contacts))
    other = replace(
        measured,
        curves=curves,
        readings=dict(shuffled(measured.readings.items())),
        wire_map=replace(measured.wire_map, contacts=contacts),
    )

    assert bytes_of(verdict_of(other, rule_set)) == bytes_of(verdict_of(measured, rule_set))


@given(links(), st.data())
@settings(max_examples=25)
def test_pairs_in_groups_of_their_own_on_one_axis_change_no_outcome_and_no_margin(scattered, data):
    measured = scattered.link()
    place = data.draw(st.sampled_from(sorted(measured.curves, key=str)))
    (whole,) = measured.curves[place]
    apart = tuple(
        CurveGroup(whole.frequency_mhz, (key,), whole.value_db[row : row + 1])
        for row, key in enumerate(whole.keys)
    )

    one, several = (
        verdict_of(replace(measured, curves={**measured.curves, place: groups}))
        for groups in ((whole,), apart)
    )

    assert one.outcome is several.outcome
    first, second = results(one), results(several)
    assert first.keys() == second.keys()
    for key, found in first.items():
        assert second[key].outcome is found.outcome
        assert second[key].worst_margin == found.worst_margin
        assert second[key].judged_points == found.judged_points


@given(links())
@settings(max_examples=25)
def test_the_same_link_gives_the_same_bytes_every_time(scattered):
    measured = scattered.link()
    assert bytes_of(verdict_of(measured)) == bytes_of(verdict_of(measured))


def relaxed(parameter, by):
    """The plain edition with one limit looser."""
    if parameter in READING_LIMITS:
        value = READING_LIMITS[parameter] + by
        return edition(readings=[ReadingLimit(parameter, "X", LINK.value, value, "made up", Basis.PUBLISHED)])
    sign = 1 if TRAITS[parameter].sense is Sense.AT_MOST else -1
    return edition(curves=[curve(parameter, segment(CURVE_LIMITS[parameter] + sign * by))])


def rank(outcome):
    return PRECEDENCE.index(outcome)


@given(links(), st.sampled_from([*CURVE_LIMITS, *READING_LIMITS]), st.floats(0, 40))
@settings(max_examples=25)
def test_a_looser_limit_never_worsens_an_outcome_nor_shrinks_a_margin(scattered, parameter, by):
    measured = scattered.link()
    strict, loose = verdict_of(measured), verdict_of(measured, relaxed(parameter, by))

    assert rank(loose.outcome) >= rank(strict.outcome)
    after = results(loose)
    for key, before in results(strict).items():
        assert rank(after[key].outcome) >= rank(before.outcome)
        if before.worst_margin is not None:
            assert after[key].worst_margin.margin >= before.worst_margin.margin - 1e-9


def worse(measured, place, row, by):
    """The same link with one curve worse: more loss, less of everything else."""
    (group,) = measured.curves[place]
    value = group.value_db.copy()
    value[row] += by if place[0] is Parameter.INSERTION_LOSS else -by
    changed = CurveGroup(group.frequency_mhz, group.keys, value)
    return replace(measured, curves={**measured.curves, place: (changed,)})


@given(links(most_missing=0), st.sampled_from(PLACES), st.integers(0, 3), st.floats(0, 20))
@settings(max_examples=25)
def test_a_worse_curve_never_improves_a_margin(scattered, place, row, by):
    measured = scattered.link()
    # Without excuses: by those a higher loss does take a return loss back into judgement, and
    # ACR-F, which has the loss taken off, never gets better by it.
    before, after = results(verdict_of(measured)), results(verdict_of(worse(measured, place, row, by)))

    for key, found in before.items():
        assert after[key].worst_margin.margin <= found.worst_margin.margin + 1e-9
        assert rank(after[key].outcome) <= rank(found.outcome)


def place(point):
    """A point without its outcome."""
    return None if point is None else point._replace(outcome=None)


TOWARDS = {
    Outcome.PASS: {Outcome.PASS, Outcome.MARGINAL_PASS},
    Outcome.MARGINAL_PASS: {Outcome.MARGINAL_PASS},
    Outcome.MARGINAL_FAIL: {Outcome.MARGINAL_FAIL},
    Outcome.FAIL: {Outcome.FAIL, Outcome.MARGINAL_FAIL},
    Outcome.INCOMPLETE: {Outcome.INCOMPLETE},
}


@given(links(), st.sampled_from(JUDGED), st.floats(0, 10), st.booleans())
@settings(max_examples=25)
def test_a_larger_accuracy_moves_results_towards_marginal_and_never_across_the_limit(
    scattered, parameter, more, over_frequency
):
    measured = scattered.link()
    stated = measured.instrument.accuracy.get(parameter, 0.0)
    larger = stated + more
    if over_frequency:
        larger = AccuracyCurve(AXIS, np.linspace(stated, stated + more, AXIS.size))
    accuracy = {**measured.instrument.accuracy, parameter: larger}
    blunt = replace(measured, instrument=replace(measured.instrument, accuracy=accuracy))

    before, after = verdict_of(measured), verdict_of(blunt)

    moved = results(after)
    for key, found in results(before).items():
        assert moved[key].outcome in TOWARDS[found.outcome]
        assert place(moved[key].worst_margin) == place(found.worst_margin)
    assert (after.outcome in FAILED) == (before.outcome in FAILED)


@given(links(), st.sampled_from(RULE_SETS))
@settings(max_examples=25)
def test_the_outcome_of_the_link_is_the_worst_of_its_parts_and_the_headroom_the_smallest_margin(
    scattered, rule_set
):
    measured = scattered.link()
    verdict = verdict_of(measured, rule_set)

    parts = [r.outcome for r in verdict.parameters if r.outcome] + [verdict.wire_map.outcome]
    assert verdict.outcome is min(parts, key=PRECEDENCE.index)
    margins = [
        r.worst_margin.margin
        for r in verdict.parameters
        if TRAITS[r.parameter].unit == "db" and r.worst_margin is not None
    ]
    if verdict.headroom is not None:
        assert verdict.headroom.margin_db == min(margins)


@given(links(), st.sampled_from(RULE_SETS))
@settings(max_examples=25)
def test_the_category_that_was_asked_for_stands_as_the_verdict_does(scattered, rule_set):
    measured = scattered.link()
    # Without an accuracy there is no marginal band in between.
    sharp = replace(measured, instrument=replace(measured.instrument, accuracy={}))

    verdict = verdict_of(sharp, rule_set)

    expected = {Outcome.PASS: "met", Outcome.FAIL: "not_met", Outcome.INCOMPLETE: "not_evaluated"}
    (found,) = verdict.categories
    assert found.state.value == expected[verdict.outcome]
    if verdict.headroom is not None:
        assert abs(found.headroom_db - verdict.headroom.margin_db) < 1e-9
