"""Power sums and ratios of crosstalk obey their definitions."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fourpair_service.domain import crosstalk
from fourpair_service.domain.link import FEXT_COMBINATIONS, NEXT_COMBINATIONS, PAIRS

losses = arrays(np.float64, (6, 5), elements=st.floats(-10, 150))
fexts = arrays(np.float64, (12, 5), elements=st.floats(-10, 150))
pair_losses = arrays(np.float64, (4, 5), elements=st.floats(-1, 60))


def test_the_power_sum_of_40_43_and_50_db_is_37_9556_db():
    # Worked by hand: -10 log10(1e-4 + 5.0119e-5 + 1e-5).
    total = crosstalk.power_sum(np.array([[40.0], [43.0], [50.0]]))

    np.testing.assert_allclose(total, 37.9556, atol=5e-5)


@given(fexts)
def test_a_power_sum_is_never_above_its_smallest_term_nor_more_than_ten_log_k_below(loss_db):
    total = crosstalk.power_sum(loss_db)

    assert (total <= loss_db.min(axis=0) + 1e-9).all()
    assert (total >= loss_db.min(axis=0) - 10 * np.log10(len(loss_db)) - 1e-9).all()


@given(losses)
def test_the_power_sum_next_of_a_pair_takes_its_three_combinations(next_db):
    ours = crosstalk.power_sums(next_db, crosstalk.NEXT_DISTURBERS)

    for row, pair in enumerate(PAIRS):
        mine = [i for i, key in enumerate(NEXT_COMBINATIONS) if pair in key.split("-")]
        np.testing.assert_allclose(ours[row], -10 * np.log10((10 ** (-next_db[mine] / 10)).sum(axis=0)))


@given(fexts)
def test_the_power_sum_fext_of_a_pair_takes_what_disturbs_it(fext_db):
    ours = crosstalk.power_sums(fext_db, crosstalk.FEXT_DISTURBERS)

    for row, pair in enumerate(PAIRS):
        mine = [i for i, key in enumerate(FEXT_COMBINATIONS) if key.endswith(f">{pair}")]
        np.testing.assert_allclose(ours[row], -10 * np.log10((10 ** (-fext_db[mine] / 10)).sum(axis=0)))


@given(losses, pair_losses)
def test_acr_n_takes_off_the_loss_of_the_disturbed_pair(next_db, loss_db):
    ours = crosstalk.acr_n(next_db, loss_db)

    row = FEXT_COMBINATIONS.index("78>36")
    expected = next_db[NEXT_COMBINATIONS.index("36-78")] - loss_db[PAIRS.index("36")]
    np.testing.assert_array_equal(ours[row], expected)


@given(fexts, pair_losses)
def test_acr_f_takes_off_the_loss_of_the_pair_that_the_edition_names(fext_db, loss_db):
    row = FEXT_COMBINATIONS.index("12>45")

    disturbed = crosstalk.acr_f(fext_db, loss_db)
    disturbing = crosstalk.acr_f(fext_db, loss_db, loss_of="disturbing")

    np.testing.assert_array_equal(disturbed[row], fext_db[row] - loss_db[2])
    np.testing.assert_array_equal(disturbing[row], fext_db[row] - loss_db[0])


def test_the_mirror_of_a_combination_exchanges_its_pairs_and_mirrors_back():
    mirrored = [FEXT_COMBINATIONS[row] for row in crosstalk.MIRRORED_ROWS]

    assert mirrored[FEXT_COMBINATIONS.index("12>36")] == "36>12"
    assert crosstalk.MIRRORED_ROWS[crosstalk.MIRRORED_ROWS].tolist() == list(range(12))


@given(
    arrays(np.float64, (3, 4), elements=st.integers(-9000, 90000).map(lambda hundredths: hundredths / 100))
)
def test_powers_are_the_same_to_the_last_bit_by_table_and_by_formula(loss_db):
    # A value with more than two decimals beside them takes the formula.
    by_formula = crosstalk.power(np.concatenate([loss_db.ravel(), [1 / 3]]))[:-1]

    assert crosstalk.power(loss_db).ravel().tolist() == by_formula.tolist()
    np.testing.assert_allclose(by_formula, 10 ** (-loss_db.ravel() / 10), rtol=1e-12)
