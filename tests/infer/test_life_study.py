"""The study of lives by type: each number against the room below or by hand, and what it says it cannot say."""

import numpy as np
import pytest
from scipy.stats import norm, t

from trials.errors import InputError, NotIdentifiable, WrongArgument
from trials.infer.answer import Levels
from trials.infer.life import LifeKind, detectable_ratio, fit_life, life_ratio, study_lives, survival_table
from trials.infer.life.regression import CHARACTERISTIC


def lives(scale, n=12, shape=3.0, end=np.inf, seed=5):
    """Lives of each type by its scale; those that pass `end` were still good."""
    rng = np.random.default_rng(seed)
    names = np.repeat(list(scale), n)
    time = np.concatenate([each * rng.weibull(shape, n) for each in scale.values()])
    return np.minimum(time, end), time < end, names


def kinds(findings):
    return [f.kind for f in findings]


def test_lives_and_limits_are_those_of_the_common_fit():
    time, failed, names = lives({"a": 100.0, "b": 180.0}, end=160.0)
    found = study_lives(time, failed, names, "a", quantiles=(0.1,))
    fit = fit_life(time, failed, (names[:, None] == ["a", "b"]).astype(float))
    assert found.shape == pytest.approx(fit.shape, rel=1e-12) and not found.shape_assumed
    a, b = found.types
    assert (a.nozzle, a.n, a.failures, a.longest) == ("a", 12, int(failed[:12].sum()), time[:12].max())
    assert [at.quantile for at in b.at] == [CHARACTERISTIC, 0.1]
    assert b.at[0].life == pytest.approx(np.exp(fit.coefficients[1]), rel=1e-12)
    assert b.at[1].life == pytest.approx(b.at[0].life * (-np.log(0.9)) ** (1 / fit.shape), rel=1e-10)
    # F-like drop for few failures: n/2 log(1 + t**2 / df), df = failures less the two types
    n = fit.failures
    drop = 0.5 * n * np.log1p(t.ppf(0.975, n - 2) ** 2 / (n - 2))
    low, high = np.exp(fit.limits_at_drop(np.array([0.0, 1.0]), CHARACTERISTIC, drop))
    assert (b.at[0].low, b.at[0].high) == (pytest.approx(low, rel=1e-9), pytest.approx(high, rel=1e-9))


def test_the_curve_is_the_fitted_survival_from_zero_to_the_longest_life():
    time, failed, names = lives({"a": 100.0, "b": 180.0})
    found = study_lives(time, failed, names, "a")
    at, good = (np.array(part) for part in found.types[1].curve)
    assert (at[0], at[-1], good[0]) == (0.0, time.max(), 1.0)
    assert good == pytest.approx(np.exp(-((at / found.types[1].at[0].life) ** found.shape)), rel=1e-12)
    table = survival_table(time[12:], failed[12:].astype(float))
    assert np.array_equal(found.types[1].survival.share, table.share)


def test_the_confidence_is_shared_out_over_the_types_compared():
    time, failed, names = lives({"a": 100.0, "b": 180.0, "c": 120.0})
    found = study_lives(time, failed, names, "a", at=Levels(0.96, 0.92))
    assert (found.confidence, found.sameness) == (pytest.approx(0.98), pytest.approx(0.96))
    for wide, narrow, name in zip(found.ratios, found.narrow, ("b", "c"), strict=True):
        want = life_ratio(time, failed, names, name, "a", confidence=0.98)
        assert (wide.ratio, wide.low, wide.high, wide.p) == (want.ratio, want.low, want.high, want.p)
        want = life_ratio(time, failed, names, name, "a", confidence=0.96)
        assert (narrow.low, narrow.high) == (want.low, want.high)
    assert study_lives(time[:24], failed[:24], names[:24], "a").confidence == pytest.approx(0.95)


def test_own_shapes_stand_at_every_share_asked_and_leave_out_a_type_without_failures():
    time, failed, names = lives({"a": 100.0, "b": 180.0, "c": 120.0})
    failed[names == "c"] = False
    found = study_lives(time, failed, names, "a", quantiles=(0.1,))
    assert [(r.of, r.quantile, r.common_shape) for r in found.own_shapes] == [
        ("b", CHARACTERISTIC, False),
        ("b", 0.1, False),
    ]
    assert [r.of for r in found.ratios] == ["b", "c"] and found.ratios[1].ratio == np.inf


def test_a_pair_without_any_failure_is_not_compared():
    time, failed, names = lives({"a": 100.0, "b": 180.0, "c": 120.0})
    failed[names != "b"] = False
    found = study_lives(time, failed, names, "a")
    assert found.not_compared == ("c",) and [r.of for r in found.ratios] == ["b"]
    (said,) = found.said
    assert (said.kind, said.about.nozzle, said.about.against) == (LifeKind.NEITHER_FAILED, "c", "a")


def test_shapes_that_differ_are_told_from_shapes_that_do_not():
    time, failed, names = lives({"a": 100.0, "b": 180.0})
    alike = study_lives(time, failed, names, "a").cautions[0]
    assert alike.kind == LifeKind.SHAPES_ALIKE and alike.facts["p"] > 0.05
    time[:12] = 100.0 * np.random.default_rng(1).weibull(12.0, 12)
    time[12:] = 180.0 * np.random.default_rng(2).weibull(1.0, 12)
    differ = study_lives(time, failed, names, "a").cautions[0]
    assert differ.kind == LifeKind.SHAPES_DIFFER and differ.facts["p"] < 0.05
    assert [name for name, _ in differ.facts["shapes"]] == ["a", "b"]
    one = study_lives(time[:12], failed[:12], names[:12], "a")
    assert one.cautions[0].kind == LifeKind.SHAPES_NOT_CHECKED and one.shape_check is None


def test_early_failures_few_failures_and_lives_beyond_the_longest_are_said():
    time, failed, names = lives({"a": 100.0, "b": 400.0}, shape=0.6, end=150.0)
    found = study_lives(time, failed, names, "a")
    assert LifeKind.EARLY_FAILURES in kinds(found.cautions) and found.shape < 1
    beyond = next(f for f in found.cautions if f.kind == LifeKind.BEYOND_LONGEST)
    assert "b" in beyond.about.nozzles
    steady = study_lives(*lives({"a": 100.0, "b": 110.0}), "a")
    assert not {LifeKind.EARLY_FAILURES, LifeKind.FEW_FAILURES, LifeKind.BEYOND_LONGEST} & set(kinds(steady.cautions))
    assert kinds(steady.cautions)[-1] == LifeKind.TAKEN_OFF_LIKE_OTHERS


@pytest.mark.parametrize(("failures", "named"), [(4, True), (5, False)])
def test_fewer_than_five_failures_are_few(failures, named):
    time, failed, names = lives({"a": 100.0, "b": 180.0})
    failed[12 + failures :] = False
    few = [f for f in study_lives(time, failed, names, "a").cautions if f.kind == LifeKind.FEW_FAILURES]
    assert [f.about.nozzles for f in few] == ([("b",)] if named else [])


def test_nothing_failed_gets_a_bound_at_every_share():
    found = study_lives([10.0, 10.0, 20.0], [False] * 3, ["a", "a", "b"], "a", quantiles=(0.5,), shape=2.0)
    a, b = found.types
    # shape 2: (sum of squares / -log 0.05) ** (1/2); the 50 % life is log(2) ** (1/2) of it
    want = np.sqrt(200 / -np.log(0.05))
    assert a.at[0].low == pytest.approx(want, rel=1e-12) and a.at[0].life == np.inf == a.at[0].high
    assert a.at[1].low == pytest.approx(want * np.sqrt(np.log(2)), rel=1e-12)
    assert found.shape_assumed and found.not_compared == ("b",) and not found.ratios and b.curve is None
    assert kinds(found.said) == [LifeKind.NOTHING_FAILED] and kinds(found.cautions) == [LifeKind.SHAPE_ASSUMED]
    with pytest.raises(NotIdentifiable, match="Nothing failed"):
        study_lives([10.0], [False], ["a"], "a")


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({"today": "z"}, "today's type is not in the table"),
        ({"quantiles": (1.0,)}, "must lie between 0 and 1"),
        ({"quantiles": (0.0,)}, "must lie between 0 and 1"),
        ({"shape": 0.0}, "must be above zero"),
        ({"shape": float("nan")}, "must be above zero"),
    ],
)
def test_refusals_are_named(change, line):
    time, failed, names = lives({"a": 100.0, "b": 180.0})
    with pytest.raises(InputError, match=line):
        study_lives(time, failed, names, **{"today": "a", **change})


def test_the_detectable_ratio_by_its_formula_and_by_simulation():
    # Weibull shape 2: sd of log life pi / (2 sqrt 6); two groups of 20 failures: variance 2 / (20 * 4) of the log ratio
    sd = np.pi / np.sqrt(6) / 2
    want = np.exp((norm.ppf(0.975) + norm.ppf(0.8)) * np.sqrt(2 / 80))
    assert detectable_ratio(sd, 20) == pytest.approx(want, rel=1e-12)
    assert detectable_ratio(2 * sd, 20) == pytest.approx(want**2, rel=1e-12)
    # shape known: the mean of life**2 is gamma distributed, so the log ratio is half the log of an F ratio
    rng = np.random.default_rng(8)
    log_ratio = 0.5 * np.log(rng.gamma(20, size=(40_000, 2)) / 20) @ [1.0, -1.0] + np.log(want)
    # 40,000 trials: standard error 0.002; the normal approximation at 20 failures is off by about 0.005
    assert np.mean(np.abs(log_ratio) > norm.ppf(0.975) * np.sqrt(2 / 80)) == pytest.approx(0.80, abs=0.015)


@pytest.mark.parametrize(("sd", "failures"), [(0.0, 5), (float("nan"), 5), (0.4, 0)])
def test_a_ratio_that_no_plan_can_detect_is_refused(sd, failures):
    with pytest.raises(WrongArgument, match="spread above zero and a failure"):
        detectable_ratio(sd, failures)
