import numpy as np
import pytest
from scipy.interpolate import CubicSpline, RectBivariateSpline
from scipy.stats import kurtosis, qmc, shapiro, skew

from trials.errors import WrongArgument
from trials.infer.chance.sobol import MOST, scrambled
from trials.infer.chance.spline import curve, sheet
from trials.infer.checks.normality import shapiro_wilk
from trials.infer.checks.residuals import residual_shape


@pytest.mark.parametrize("dimensions, power, seed", [(1, 1, 0), (2, 6, 3), (9, 10, 1), (MOST, 7, 20417)])
def test_points_are_those_of_the_library_bit_for_bit(dimensions, power, seed):
    expected = qmc.Sobol(dimensions, scramble=True, seed=seed).random_base2(power)
    assert np.array_equal(scrambled(dimensions, power, seed), expected)


def test_a_curve_is_that_of_the_library():
    grid = np.linspace(-7.2, 7.2, 289)
    values = np.exp(np.sin(grid))
    at = np.concatenate([np.random.default_rng(1).uniform(-7.2, 7.2, 500), grid[[0, 1, -2, -1]]])
    # both solve the same equations: rounding only
    assert np.abs(curve(grid, values)(at) - CubicSpline(grid, values)(at)).max() < 1e-12


def test_a_sheet_is_that_of_the_library():
    x, y = np.linspace(0.0, np.pi / 2, 49), np.linspace(-9.0, 9.0, 89)
    values = np.sin(x)[:, None] * np.cos(y) + np.exp(-(y**2))
    rng = np.random.default_rng(2)
    across, along = (np.append(rng.uniform(z[0], z[-1], 500), [z[0], z[-1]]) for z in (x, y))
    found, expected = sheet(x, y, values)(across, along), RectBivariateSpline(x, y, values).ev(across, along)
    assert np.abs(found - expected).max() < 1e-12  # rounding only


@pytest.mark.parametrize("n", [8, 11, 12, 37, 216, 5000])
@pytest.mark.parametrize("kind", ["normal", "skewed"])
def test_shape_of_residuals_is_that_of_the_library(n, kind):
    rng = np.random.default_rng(n)
    sample = rng.normal(size=n) if kind == "normal" else rng.exponential(size=n)
    found = residual_shape(sample)
    # the library's normal quantiles are good to about 1e-7 (AS R94 in single steps of its own)
    assert found.p == pytest.approx(shapiro(sample).pvalue, rel=2e-4, abs=1e-9)
    assert (found.skewness, found.excess) == pytest.approx((skew(sample), kurtosis(sample)), rel=1e-10)


@pytest.mark.parametrize("sample", [np.arange(5.0), np.ones(9)])
def test_too_few_or_equal_values_are_refused(sample):
    with pytest.raises(WrongArgument, match="not all equal"):
        shapiro_wilk(sample)
