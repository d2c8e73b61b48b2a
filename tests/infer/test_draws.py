"""Responses of simulated trials: each from the seed of its number, groups added level by level."""

import numpy as np
import pytest
from scipy import special, stats
from scipy.stats import qmc

from trials.infer.chance.draws import beta_draws, chi_square_draws, chi_squares, even_normals
from trials.infer.chance.sobol import MOST
from trials.infer.draws import Draws, codes_of, pieces


def test_a_response_is_the_sum_of_its_levels_by_the_seed_of_its_number():
    codes = np.array([0, 0, 1, 1, 2, 2])
    draws = Draws(
        6, {"specimen": codes, "sheet": np.array([0, 1] * 3)}, {"reading": 2.0, "specimen": 3.0, "sheet": 5.0}, 7
    )
    rng = np.random.default_rng(np.random.SeedSequence(7, spawn_key=(4,)))
    by_hand = (
        2.0 * rng.standard_normal(6) + 3.0 * rng.standard_normal(3)[codes] + 5.0 * rng.standard_normal(2)[[0, 1] * 3]
    )
    assert draws.trial(4) == pytest.approx(by_hand)
    assert draws.trials(range(3, 6))[1] == pytest.approx(by_hand) and draws.trials(range(3, 6)).shape == (3, 6)
    assert not np.array_equal(draws.trial(3), draws.trial(4))


def test_a_spread_may_differ_from_reading_to_reading():
    spreads = {"reading": np.array([1.0, 0.0, 1.0])}
    assert Draws(3, {}, spreads, 1).trial(0)[1] == 0.0


def test_numbers_of_labels_and_pieces_of_work():
    assert codes_of(np.array(["b", "a", "b"])).tolist() == [1, 0, 1]
    assert pieces(7, 3) == [range(0, 3), range(3, 6), range(6, 7)] and pieces(6, 3) == [range(0, 3), range(3, 6)]


def test_more_dimensions_than_the_table_holds_are_scipys_points():
    count = MOST + 1
    points = qmc.Sobol(count, scramble=True, seed=3).random_base2(4)
    found = even_normals(count, 16, 3)
    expected = special.ndtri(np.clip(points, 1e-12, 1 - 1e-12))
    assert found[found[:, 0].argsort()] == pytest.approx(expected[expected[:, 0].argsort()])  # in another order
    assert not found.flags.writeable


@pytest.mark.parametrize(("asked", "made"), [(1, 2), (2, 2), (3, 4), (1024, 1024), (1025, 2048)])
def test_points_come_in_powers_of_two(asked, made):
    assert even_normals(2, asked, 0).shape == (made, 2)


def test_quantiles_of_chi_square_and_beta():
    z = np.linspace(-7.0, 7.0, 29)
    for df in (0.7, 3.0, 40.0):
        exact = np.where(z < 0, stats.chi2.ppf(stats.norm.cdf(z), df), stats.chi2.isf(stats.norm.sf(z), df))
        assert chi_squares(df, z) == pytest.approx(exact, rel=2e-7)
        column = even_normals(3, 64, 5)[:, 2]
        assert chi_square_draws(df, 3, 64, 5, 2) == pytest.approx(chi_squares(df, column))
    assert beta_draws(2.5, 4.0, z) == pytest.approx(stats.beta.ppf(stats.norm.cdf(z), 2.5, 4.0), abs=2e-7)
    # beyond the points that are drawn the last value stays
    assert chi_squares(3.0, np.array([9.0])) == pytest.approx(stats.chi2.isf(stats.norm.sf(7.2), 3.0), rel=1e-6)
