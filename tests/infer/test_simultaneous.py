"""Simultaneous intervals against published critical values, direct integration and scipy's multivariate t."""

import numpy as np
import pytest
from scipy import integrate, special, stats

from trials.errors import NotFinite, WrongArgument, WrongShape
from trials.infer.means import against_reference, all_pairs, beyond_critical
from trials.infer.means.box import one_factor


def equal(m, rho=0.5):
    return np.full((m, m), rho) + (1.0 - rho) * np.eye(m)


def critical(correlation, df, confidence=0.95):
    m = len(correlation)
    return against_reference(np.zeros(m), correlation, np.full(m, float(df)), confidence).critical


def chance_outside(loadings, c, df):
    """P(some |t_i| > c) by nested adaptive quadrature for correlations l_i l_j; slow and independent of the product."""
    loadings = np.asarray(loadings)
    rest = np.sqrt(1.0 - loadings**2)

    def outside(s):
        def inside(u):
            parts = special.ndtr((c * s - loadings * u) / rest) - special.ndtr((-c * s - loadings * u) / rest)
            return np.prod(parts) * np.exp(-u * u / 2.0) / np.sqrt(2.0 * np.pi)

        return 1.0 - integrate.quad(inside, -9.0, 9.0, epsabs=1e-11)[0]

    scale = np.sqrt(df)
    return integrate.quad(lambda s: outside(s) * scale * stats.chi.pdf(s * scale, df), 0.0, 6.0, epsabs=1e-9)[0]


@pytest.mark.parametrize(
    ("m", "df", "printed"),
    [(1, 10, 2.23), (3, 10, 2.76)],  # Dunnett (1964), two-sided 5 %, equal numbers; two decimals are printed
)
def test_printed_critical_values(m, df, printed):
    assert critical(equal(m), df) == pytest.approx(np.full(m, printed), abs=0.005)


@pytest.mark.parametrize(
    ("loadings", "df", "confidence"),
    [
        ([0.7071067811865476] * 3, 10, 0.95),
        ([0.7071067811865476] * 4, 12, 0.99),
        ([0.3, 0.6, 0.9], 4.7, 0.90),
        ([0.2, 0.97], 2.0, 0.95),
        ([-0.6, 0.5, 0.7], 1.4, 0.975),
    ],
)
def test_one_factor_correlations_against_direct_integration(loadings, df, confidence):
    r = np.outer(loadings, loadings)
    np.fill_diagonal(r, 1.0)
    c = critical(r, df, confidence)[0]
    # the slope of the chance is at least 0.02 here, so 1e-8 in the chance is 1e-6 in the critical value
    assert chance_outside(loadings, c, df) == pytest.approx(1.0 - confidence, abs=1e-8)


GENERAL = {
    "mixed signs": [[1, 0.5, 0.6], [0.5, 1, -0.3], [0.6, -0.3, 1]],
    "far from one factor": [[1, 0.8, 0.1, 0.1], [0.8, 1, 0.1, 0.1], [0.1, 0.1, 1, 0.7], [0.1, 0.1, 0.7, 1]],
    "nearly equal": [[1, 0.51, 0.49, 0.5], [0.51, 1, 0.5, 0.52], [0.49, 0.5, 1, 0.47], [0.5, 0.52, 0.47, 1]],
}


@pytest.mark.parametrize("name", GENERAL)
def test_other_correlations_against_scipy(name):
    r, df = np.array(GENERAL[name]), 9.0
    c = critical(r, df)[0]
    box = stats.multivariate_t(shape=r, df=df)
    inside = box.cdf(np.full(len(r), c), lower_limit=np.full(len(r), -c), random_state=1, maxpts=400_000)
    assert inside == pytest.approx(0.95, abs=1e-5)  # what that many of scipy's points give


def test_five_correlated_contrasts_against_scipy():
    root = np.random.default_rng(6).normal(size=(5, 9))
    cov = root @ root.T / 5 + 1.0
    se = np.sqrt(np.diagonal(cov))
    r = cov / np.outer(se, se)
    c = critical(r, 7.0)[0]
    box = stats.multivariate_t(shape=r, df=7)
    assert box.cdf(np.full(5, c), lower_limit=np.full(5, -c), random_state=2, maxpts=400_000) == pytest.approx(
        0.95, abs=3e-5
    )


def test_seven_general_contrasts_take_the_lattice():
    root = np.random.default_rng(7).normal(size=(7, 9))
    cov = root @ root.T / 7 + 1.0
    se = np.sqrt(np.diagonal(cov))
    r = cov / np.outer(se, se)
    c = critical(r, 12.0)[0]
    box = stats.multivariate_t(shape=r, df=12)
    inside = box.cdf(np.full(7, c), lower_limit=np.full(7, -c), random_state=3, maxpts=200_000)
    assert inside == pytest.approx(0.95, abs=1e-4)  # 5e-4 in the critical value, whose slope is about 0.2


def test_each_contrast_has_its_own_degrees_of_freedom():
    dfs = np.array([4.0, 11.5, 300.0])
    found = against_reference(np.array([1.0, -2.0, 3.0]), 0.25 * equal(3), dfs, 0.95)
    for i, df in enumerate(dfs):
        assert found.critical[i] == pytest.approx(critical(equal(3), df)[0], abs=1e-9)
    assert found.high - found.low == pytest.approx(found.critical, rel=1e-12)  # se is a half


def test_adjusted_p_agrees_with_the_limits():
    # at its own critical value a contrast has p = 1 - confidence exactly
    for df in (3.3, 17.0):
        c = critical(equal(3), df, 0.9)
        found = against_reference(c * np.array([1, -1, 1]) * 2.0, 4.0 * equal(3), np.full(3, df), 0.9)
        assert found.p == pytest.approx(np.full(3, 0.1), abs=1e-8)
        assert np.minimum(np.abs(found.low), np.abs(found.high)) == pytest.approx(np.zeros(3), abs=1e-7)


def test_adjusted_p_lies_between_plain_and_bonferroni():
    t = np.array([0.2, 2.0, 6.0, 900.0])  # the last p is far below what the integral resolves
    found = against_reference(t, equal(4), np.full(4, 8.0), 0.95)
    plain = 2 * stats.t.sf(t, 8)
    assert (found.p >= plain * (1 - 1e-12)).all()
    assert (found.p <= np.minimum(1, 4 * plain) * (1 + 1e-12)).all()


def test_one_contrast_is_a_t_interval():
    found = against_reference(np.array([2.0]), np.array([[4.0]]), np.array([7.5]), 0.9)
    assert found.high[0] == pytest.approx(2.0 + 2.0 * stats.t.ppf(0.95, 7.5), rel=1e-9)
    assert found.p[0] == pytest.approx(2 * stats.t.sf(1.0, 7.5), rel=1e-9)


def test_independent_contrasts_at_many_degrees_of_freedom():
    # P(all |z| < c) = (2 Phi(c) - 1)^m
    expected = stats.norm.ppf(0.5 + 0.5 * 0.95 ** (1 / 3))
    assert critical(np.eye(3), 1e8) == pytest.approx(np.full(3, expected), abs=1e-6)


def test_a_contrast_asked_twice_counts_once():
    r = np.array([[1.0, 0.5, 1.0], [0.5, 1.0, 0.5], [1.0, 0.5, 1.0]])
    assert critical(r, 9.0) == pytest.approx(np.full(3, critical(equal(2), 9.0)[0]), abs=1e-9)
    opposite = np.array([[1.0, -1.0], [-1.0, 1.0]])
    assert critical(opposite, 9.0) == pytest.approx(np.full(2, stats.t.ppf(0.975, 9.0)), abs=1e-9)


def test_order_and_sign_of_contrasts_do_not_matter():
    r = np.array(GENERAL["far from one factor"])
    sign, order = np.array([1.0, -1, 1, -1]), [2, 0, 3, 1]
    plain = critical(r, 6.0)
    assert critical((r * np.outer(sign, sign))[np.ix_(order, order)], 6.0) == pytest.approx(plain, abs=1e-5)


def test_same_input_same_bytes():
    args = np.array([1.0, 2, 3, 4]), np.array(GENERAL["nearly equal"]), np.array([5.0, 6, 7, 8]), 0.95
    one, two = against_reference(*args), against_reference(*args)
    assert one.p.tobytes() == two.p.tobytes()
    assert one.critical.tobytes() == two.critical.tobytes()


@pytest.mark.parametrize(("means", "df", "q"), [(5, 10, 4.65), (4, 16, 4.05)])  # NIST/SEMATECH e-Handbook 7.4.7.1
def test_all_pairs_by_the_studentised_range(means, df, q):
    pairs = means * (means - 1) // 2
    found = all_pairs(np.zeros(pairs), np.full(pairs, 2.0), np.full(pairs, float(df)), means, 0.95)
    assert found.critical * np.sqrt(2.0) == pytest.approx(np.full(pairs, q), abs=0.005)
    assert found.high == pytest.approx(2.0 * found.critical, rel=1e-12)
    assert found.p == pytest.approx(np.ones(pairs), abs=1e-9)


@pytest.mark.parametrize(("means", "df", "confidence"), [(3, 2.5, 0.95), (4, 9.3, 0.9), (8, 31.0, 0.99)])
def test_all_pairs_against_scipy(means, df, confidence):
    pairs = means * (means - 1) // 2
    t = np.linspace(0.5, 4.0, pairs)
    found = all_pairs(t, np.ones(pairs), np.full(pairs, df), means, confidence)
    q = stats.studentized_range.ppf(confidence, means, df)
    assert found.critical == pytest.approx(np.full(pairs, q / np.sqrt(2.0)), abs=1e-6)
    at = [0, pairs - 1]
    assert found.p[at] == pytest.approx(stats.studentized_range.sf(np.sqrt(2.0) * t[at], means, df), abs=1e-7)


def test_tukey_kramer_p_at_its_critical_value_and_for_two_means():
    found = all_pairs(np.array([1.0, 2.0, 3.0]), np.array([1.0, 0.5, 2.0]), np.array([6.0, 8.5, 6.0]), 3, 0.9)
    edge = all_pairs(found.critical * [1.0, 0.5, 2.0], np.array([1.0, 0.5, 2.0]), np.array([6.0, 8.5, 6.0]), 3, 0.9)
    assert edge.p == pytest.approx(np.full(3, 0.1), abs=1e-6)
    two = all_pairs(np.array([1.0]), np.array([0.5]), np.array([6.0]), 2, 0.95)
    assert two.critical[0] == pytest.approx(stats.t.ppf(0.975, 6), rel=1e-9)
    assert two.p[0] == pytest.approx(2 * stats.t.sf(2.0, 6), rel=1e-9)


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        (([1.0, 2.0], np.eye(3), [4.0, 4.0]), WrongShape, "do not fit"),
        (([1.0, np.nan], np.eye(2), [4.0, 4.0]), NotFinite, "not a finite number"),
        (([1.0, 2.0], np.diag([1.0, 0.0]), [4.0, 4.0]), WrongArgument, "above zero"),
        (([1.0, 2.0], np.eye(2), [4.0, 0.0]), WrongArgument, "above zero"),
        (([1.0, 2.0], np.eye(2), [4.0, 4.0], 95), WrongArgument, "confidence is 95"),
    ],
)
def test_bad_input_is_named(arguments, error, message):
    with pytest.raises(error, match=message):
        against_reference(*arguments)


def test_nothing_to_compare_gives_nothing_and_one_mean_has_no_pairs():
    assert against_reference(np.empty(0), np.empty((0, 0)), np.empty(0), 0.95).p.shape == (0,)
    with pytest.raises(WrongArgument, match="pairs of 1 means"):
        all_pairs(np.array([1.0]), np.array([1.0]), np.array([5.0]), 1)


@pytest.mark.parametrize("m", [1, 2, 3])
def test_beyond_the_critical_value_is_what_the_limits_say(m):
    rng = np.random.default_rng(8)
    covariance = np.array([a @ a.T for a in rng.normal(size=(6, m, m + 1))])
    dfs, levels = rng.uniform(3.0, 12.0, size=(6, m)), np.array([0.95, 0.90])
    critical = np.array(
        [
            [against_reference(np.zeros(m), c, df, level).critical for level in levels]
            for c, df in zip(covariance, dfs, strict=True)
        ]
    ).transpose(0, 2, 1)
    for factor in (0.5, 1.0 - 1e-5, 1.0 + 1e-5, 2.0):  # critical values are good to 1e-6
        found = beyond_critical(factor * critical, covariance, dfs, levels)
        assert (found == (factor > 1.0)).all()


def test_contrasts_that_are_one_count_once():
    covariance, dfs = np.ones((1, 2, 2)), np.full((1, 2), 6.0)
    alone = special.stdtrit(6.0, 0.975)
    sizes = np.array([[[alone - 1e-6], [alone + 1e-6]]])
    assert beyond_critical(sizes, covariance, dfs, np.array([0.95])).ravel().tolist() == [False, True]


def test_one_factor_form_near_correlations_none_of_which_is_negative():
    # l_i^2 = sum r_ij r_ik / sum r_jk over pairs of the others: the first contrast meets 0.7, 0.7 and 0 against 0.3,
    # 0.3, 0.3; the last 0, 0.3, 0.3 against 0.7, 0.7, 0.3
    r = np.array([[1, 0.7, 0.7, 0], [0.7, 1, 0.3, 0.3], [0.7, 0.3, 1, 0.3], [0, 0.3, 0.3, 1]])
    loadings, exact = one_factor(r)
    assert not exact
    expected = np.sqrt([0.49 / 0.9, 0.51 / 1.0, 0.51 / 1.0, 0.09 / 1.7])
    assert loadings == pytest.approx(expected, abs=1e-12)
    turn = np.array([1.0, -1.0, 1.0, 1.0])  # a contrast asked the other way round turns its loading
    assert one_factor(r * np.outer(turn, turn))[0] == pytest.approx(expected * turn, abs=1e-12)


@pytest.mark.parametrize("between", [0.6, -0.6])
def test_two_contrasts_are_always_one_factor(between):
    loadings, exact = one_factor(np.array([[1.0, between], [between, 1.0]]))
    assert exact and loadings[0] * loadings[1] == pytest.approx(between, abs=1e-15)
