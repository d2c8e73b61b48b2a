"""Strata of a plan by hand: variances, degrees of freedom, sums over specimens, against dense algebra."""

import numpy as np
import pytest

from trials.plan.settling.request import Pattern
from trials.plan.settling.strata import Strata, _full_rank, _log_covariance, build_strata

PATTERN = Pattern(mounts=2, coupons=3, repeats=1, readings=4)
SPREADS = {"specimen": 0.09, "mount": 0.04, "coupon": 0.01, "reading": 0.08}
RNG = np.random.default_rng(9)
ROWS = [RNG.normal(size=(8, 3, 3)) for _ in range(2)]  # two types, four specimens of two mounts, three coupons
CONTRASTS = np.array([[0.0, 1.0, 0.5]])


@pytest.fixture(scope="module")
def strata():
    return build_strata(PATTERN, ROWS, CONTRASTS)


def test_variances_of_the_strata_in_units_of_a_coupon(strata):
    coupon = 0.01 + 0.08 / 4
    assert strata._lambdas(SPREADS) == pytest.approx([coupon + 3 * 0.04 + 6 * 0.09, coupon + 3 * 0.04, coupon])
    assert strata._lambdas({"coupon": 0.01}) == pytest.approx([0.01] * 3)


def test_degrees_of_freedom_before_anything_is_estimated(strata):
    """Nine pieces on two sheets: 9 - 1; 18 mounts of them: 9 more; 54 coupons: 36 inside mounts."""
    assert strata._ranks(np.array([[5, 4], [2, 2]]), np.array([2, 1])).tolist() == [[8, 9, 36], [4, 4, 16]]


def dense(counts):
    """X and V of all coupons of so many specimens of each type."""
    x = np.vstack([rows[: 2 * n].reshape(-1, 3) for rows, n in zip(ROWS, counts, strict=True)])
    mount = np.arange(len(x)) // 3
    same = [(codes[:, None] == codes) for codes in (mount // 2, mount)]
    return x, (0.01 + 0.02) * np.eye(len(x)) + 0.09 * same[0] + 0.04 * same[1]


def test_what_a_plan_knows_is_that_of_the_dense_algebra(strata):
    counts = np.array([[4, 3], [3, 2]])
    found = strata.precision(counts, np.array([1, 1]), SPREADS)
    for i, row in enumerate(counts):
        x, v = dense(row)
        phi = np.linalg.inv(x.T @ np.linalg.solve(v, x))
        assert found.covariance[i] == pytest.approx(CONTRASTS @ phi @ CONTRASTS.T, rel=1e-9)
        # the part that rests on specimens: the weights of their means, at the variance of that stratum
        weights = CONTRASTS @ phi @ np.linalg.solve(v, x).T
        means = weights.reshape(-1, 6).sum(axis=1) / np.sqrt(6)
        assert found.between[i, 0] == pytest.approx((0.03 + 3 * 0.04 + 6 * 0.09) * np.sum(means**2), rel=1e-9)
    assert found.usable.all()


def test_as_many_pieces_as_types_leave_nothing_to_judge_by(strata):
    counts = np.array([[1, 2], [1, 1], [2, 2]])
    assert strata.precision(counts, np.array([1, 1, 3]), SPREADS).usable.tolist() == [True, False, False]


def test_columns_that_depend_on_each_other_cannot_be_turned_around():
    sound = np.array([[2.0, 1.0], [1.0, 2.0]])
    flat = np.array([[1.0, 1e3], [1e3, 1e6]])
    assert _full_rank(np.array([sound, flat, np.zeros((2, 2))])).tolist() == [True, False, False]
    wide = np.random.default_rng(4).normal(size=(2, 2, 3))
    alone = [np.concatenate([rows, rows[..., :1]], axis=2) for rows in (wide, wide)]
    made = build_strata(Pattern(1, 2, 0, 1), alone, np.array([[0.0, 1.0, 0.0, 0.0]]))
    assert not made.precision(np.array([[2, 2]]), np.array([1]), SPREADS).usable[0]


def test_the_log_of_an_estimated_stratum_varies_by_two_over_its_degrees():
    """Nothing of the fixed part in any stratum: variances 2 / 8, 2 / 9 and 2 / 36, apart from each other."""
    share = np.zeros((1, 3, 2, 2))
    found = _log_covariance(share, np.array([[8, 9, 36]]))
    assert found[0] == pytest.approx(np.diag([2 / 8, 2 / 9, 2 / 36]), abs=1e-8)
    # two columns whole in the first stratum cost it two
    share[0, 0] = np.eye(2)
    found = _log_covariance(share, np.array([[8, 9, 36]]))
    assert found[0, 0, 0] == pytest.approx(2 / 6) and found[0, 1, 1] == pytest.approx(2 / 9)
    # a stratum without rows stays apart and known
    empty = _log_covariance(np.zeros((1, 3, 2, 2)), np.array([[8, 0, 36]]))
    assert empty[0, 1, 1] < 1e-8 and empty[0, 0, 0] == pytest.approx(2 / 8)


def test_sums_grow_specimen_by_specimen(strata):
    assert isinstance(strata, Strata) and strata.sums.shape == (2, 5, 3, 3, 3)
    whole = strata.sums.sum(axis=2)
    for n in range(5):
        x = ROWS[0][: 2 * n].reshape(-1, 3)
        assert whole[0, n] == pytest.approx(x.T @ x)
