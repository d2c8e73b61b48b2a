"""Competing causes: shares ended by each against R and by hand, lives under one cause alone."""

import numpy as np
import pytest
from statsmodels.duration.survfunc import CumIncidenceRight

from trials.errors import NotFinite, WrongShape
from trials.infer.life import cumulative_incidence, fit_life, study_causes, survival_table

# R: cuminc(ftime, fstat) of the package cmprsk, as printed in the comments of the tests of statsmodels 0.14
# (duration/tests/test_survfunc.py, test_incidence); six digits are given there
TIME = [1, 1, 2, 4, 4, 4, 6, 6, 7, 8, 9, 9, 9, 1, 2, 2, 4, 4]
CAUSE = ["a", "a", "a", "b", "b", "b", "c", "c", "c"] + [""] * 9
R_SHARES = {
    "a": [0.11111111, 0.17037037, 0.17037037, 0.17037037, 0.17037037],
    "b": [0.0, 0.0, 0.20740741, 0.20740741, 0.20740741],
    "c": [0.0, 0.0, 0.0, 0.17777778, 0.26666667],
}


def test_shares_are_those_of_r():
    found = cumulative_incidence(np.array(TIME, float), CAUSE)
    assert [one.cause for one in found] == ["a", "b", "c"]
    for one in found:
        assert one.time.tolist() == [1, 2, 4, 6, 7]
        assert one.share == pytest.approx(R_SHARES[one.cause], abs=5e-9)  # as many digits as are printed


def test_limits_by_hand_at_the_first_time():
    # t = 1: 18 at risk, 2 end by a: share 1/9, variance (1/9)(8/9)/18; log(-log) scale
    (a, *_) = cumulative_incidence(np.array(TIME, float), CAUSE)
    p = 1 / 9
    half = 1.959963985 * np.sqrt(p * (1 - p) / 18) / (p * abs(np.log(p)))
    assert (a.low[0], a.high[0]) == pytest.approx((p ** np.exp(half), p ** np.exp(-half)), rel=1e-8)


def test_spread_is_that_of_a_peer_where_it_has_one():
    peer = CumIncidenceRight(np.array(TIME), np.array([" abc".index(one or " ") for one in CAUSE]))
    (a, b, _) = cumulative_incidence(np.array(TIME, float), CAUSE)
    for k, one in enumerate((a, b)):
        inside = one.share > 0
        spread = np.log(np.log(one.low[inside]) / np.log(one.share[inside])) / 1.959963985
        se = spread * one.share[inside] * np.abs(np.log(one.share[inside]))
        at = np.searchsorted(peer.times, one.time[inside])
        assert se == pytest.approx(peer.cinc_se[k][at], rel=1e-8)


def test_with_the_survivors_all_shares_make_one():
    times, causes = np.array(TIME, float), CAUSE
    good = survival_table(times, np.array([one != "" for one in causes], float))
    total = sum(one.share for one in cumulative_incidence(times, causes))
    assert total + good.share == pytest.approx(np.ones(5), abs=1e-12)


def test_limits_exist_where_nobody_is_left():
    (one,) = cumulative_incidence(np.array([1.0, 2.0, 3.0]), ["a", "a", "a"])
    assert one.share[-1] == 1.0 and (one.low[-1], one.high[-1]) == (0.0, 1.0)
    a, b = cumulative_incidence(np.array([1.0, 2.0, 3.0]), ["a", "b", "a"])
    assert 0 < a.low[-1] < a.share[-1] < a.high[-1] < 1
    assert b.share[0] == 0 and b.high[0] == pytest.approx(1 - 0.025 ** (1 / 3), rel=1e-12)


T = np.array([65.0, 190, 46, 107, 152, 96, 112, 126, 227, 250, 210, 221, 139, 250, 162, 242])
C = ["worn", "worn", "hit", "worn", "plug", "plug", "worn", "", "worn", "", "plug", "worn", "hit", "", "plug", "worn"]
K = ["p"] * 8 + ["d"] * 8


def test_one_cause_alone_takes_the_others_as_censored():
    worn, plug, hit = study_causes(T, C, K, "p", 0.95)
    assert [(c.cause, [row.ends for row in c.types]) for c in (worn, plug, hit)] == [
        ("worn", [4, 3]),
        ("plug", [2, 2]),
        ("hit", [1, 1]),
    ]
    fit = fit_life(
        T, np.array([c == "worn" for c in C], float), np.column_stack([np.array(K) == "p", np.array(K) == "d"])
    )
    assert [row.life for row in worn.types] == pytest.approx(np.exp(fit.coefficients), rel=1e-12)
    (ratio,) = worn.ratios
    assert ratio.ratio == pytest.approx(worn.types[1].life / worn.types[0].life, rel=1e-9)
    # by 190, the longest time at which a piece of the shortest-lived type was watched
    assert worn.by == 190.0 and worn.types[1].ended == 0.0 and worn.types[1].high < 0.6


def test_limits_are_shared_out_over_the_causes():
    from trials.infer.life import life_ratio

    worn = study_causes(T, C, K, "p", 0.95)[0]
    alone = life_ratio(T, np.array([c == "worn" for c in C], float), np.array(K), "d", "p", confidence=1 - 0.05 / 3)
    assert (worn.ratios[0].low, worn.ratios[0].high) == pytest.approx((alone.low, alone.high), rel=1e-9)


def test_too_few_ends_give_no_ratio():
    _, plug, hit = study_causes(T, C, K, "p", 0.95)
    assert plug.ratios == () and plug.not_compared == ("d",) and hit.ratios == ()


def test_one_cause_is_no_competition():
    assert study_causes(T, ["worn" if one else "" for one in C], K, "p", 0.95) == ()
    assert cumulative_incidence(T, [""] * len(T)) == ()


@pytest.mark.parametrize(("time", "error"), [([1.0, np.nan], NotFinite), ([1.0, 0.0], WrongShape), ([1.0], WrongShape)])
def test_lives_that_are_no_numbers_are_refused(time, error):
    with pytest.raises(error):
        cumulative_incidence(np.array(time), ["a", "b"])


def test_a_type_that_a_cause_ended_none_of_has_the_limits_of_none_in_n():
    """Eight pieces, none ended so: up to 1 - 0.025^(1/8) of them."""
    never = ["worn" if c == "hit" and k == "d" else c for c, k in zip(C, K, strict=True)]
    hit = next(one for one in study_causes(T, never, K, "p", 0.95) if one.cause == "hit")
    row = next(row for row in hit.types if row.nozzle == "d")
    assert (row.ends, row.ended, row.low) == (0, 0.0, 0.0)
    assert row.high == pytest.approx(1 - 0.025 ** (1 / 8), rel=1e-12)


def test_a_cause_whose_ends_all_tie_fixes_no_lives():
    """All worn at one time in each type, beside others that were plugged before: no shape, no lives, no ratio."""
    time = np.array([10.0] * 4 + [5.0] + [20.0] * 4 + [8.0])
    cause = ["worn"] * 4 + ["plugged"] + ["worn"] * 4 + ["plugged"]
    worn = study_causes(time, cause, ["p"] * 5 + ["d"] * 5, "p", 0.95)[0]
    assert (worn.cause, worn.shape, worn.ratios, worn.not_compared) == ("worn", None, (), ("d",))
    assert all(np.isnan(row.life) for row in worn.types) and [row.ends for row in worn.types] == [4, 4]
    # to the time to which both were watched, 10: four of five of the first, none of the second
    assert worn.by == 10.0 and [row.ended for row in worn.types] == [pytest.approx(0.8), 0.0]


@pytest.mark.parametrize(("ends", "compared"), [(4, False), (5, True)])
def test_five_ends_of_two_types_are_enough_for_a_ratio(ends, compared):
    rng = np.random.default_rng(3)
    time = rng.weibull(2.0, 12) + 0.1
    cause = ["worn"] * 2 + ["hit"] * 2 + [""] * 2 + ["worn"] * (ends - 2) + ["hit"] * 2 + [""] * (4 - ends + 2)
    worn = next(one for one in study_causes(time, cause, ["p"] * 6 + ["d"] * 6, "p", 0.95) if one.cause == "worn")
    assert bool(worn.ratios) is compared and worn.not_compared == (() if compared else ("d",))


def test_the_share_at_a_time_is_that_of_the_last_step():
    found = cumulative_incidence(np.array([2.0, 4.0, 6.0, 8.0]), ["a", "b", "a", ""])[0]
    assert [found.by(at)[0] for at in (1.0, 2.0, 5.0, 6.0, 9.0)] == pytest.approx([0.0, 0.25, 0.25, 0.5, 0.5])
