"""Simulation against the exact chance, and its own invariants."""

import numpy as np
import pytest
from scipy import special

from trials.errors import NotFinite, WrongArgument
from trials.plan.power import Balanced, Pattern, Simulation, chance_f, pattern_means, simulate_tests

UM = {"specimen": 4.0, "coupon": 3.0, "reading": 2.0}
SMALL = Balanced(4, 3, coupons=3, readings=2)


def plan_arrays(layout):
    """Model matrix against the first type, and labels, of a balanced plan."""
    per_specimen = layout.coupons * layout.readings
    kind = np.repeat(np.arange(layout.types), layout.specimens * per_specimen)
    specimen = np.repeat(np.arange(layout.types * layout.specimens), per_specimen)
    coupon = np.repeat(np.arange(layout.n_coupons), layout.readings)
    groups = {"specimen": specimen, "coupon": coupon}
    if layout.sheets > 1:
        groups["sheet"] = specimen % layout.sheets
    return np.column_stack([np.ones(len(kind)), np.eye(layout.types)[kind][:, 1:]]), groups


def exact_chance(layout, spreads, difference, pattern):
    noncentrality = np.sum((difference * pattern_means(layout.types, pattern)) ** 2) / layout.variance_of_mean(spreads)
    return chance_f(noncentrality, layout.types - 1, layout.df)


# ---- an independent simulation: mean squares of types and of the pieces within them ----------------------------------


def chance_by_strata(layout, spreads, difference, pattern, trials, seed=7, alpha=0.05):
    """Chance of the nozzle test and its standard error, from mean squares of trials drawn piece by piece."""
    means = type_by_piece(layout, spreads, np.random.default_rng(seed), trials)
    means += difference * pattern_means(layout.types, pattern)[:, None]
    f = strata_f(means, layout)
    chance = float(np.mean(f > special.fdtri(layout.types - 1, layout.df, 1.0 - alpha)))
    return chance, np.sqrt(max(chance * (1.0 - chance), 1.0 / trials) / trials)


def type_by_piece(layout, sd, rng, trials):
    """Means of the tested pieces, (trials, types, pieces)."""
    shape = (trials, layout.types, layout.specimens, layout.mounts, layout.coupons)
    coupon_sd = np.hypot(sd["coupon"], sd["reading"] / np.sqrt(layout.readings))
    mounts = coupon_sd * rng.standard_normal(shape).mean(axis=-1)
    mounts += sd["mount"] * rng.standard_normal(shape[:4])
    if layout.specimens == 1:
        return mounts[:, :, 0, :]
    return mounts.mean(axis=-1) + sd["specimen"] * rng.standard_normal(shape[:3])


def strata_f(means, layout):
    """F of types against pieces within types, (trials,)."""
    _, types, pieces = means.shape
    by_type = means.mean(axis=2, keepdims=True)
    rest = means - by_type
    if layout.df < types * (pieces - 1):
        by_sheet = rest.reshape(len(means), types, -1, layout.sheets).mean(axis=(1, 2), keepdims=True)
        rest = (rest.reshape(len(means), types, -1, layout.sheets) - by_sheet).reshape(means.shape)
    between = pieces * np.sum((by_type - by_type.mean(axis=1, keepdims=True)) ** 2, axis=(1, 2)) / (types - 1)
    return between / (np.sum(rest**2, axis=(1, 2)) / layout.df)


@pytest.mark.parametrize("pattern", [Pattern.LEAST_FAVOURABLE, Pattern.TYPICAL])
@pytest.mark.parametrize(
    "layout",
    [
        Balanced(4, 3, coupons=6, readings=6),
        Balanced(4, 3, coupons=6, readings=6, sheets=3),
        Balanced(3, 4, mounts=2, coupons=4, readings=2),
        Balanced(4, 1, mounts=4, coupons=6, readings=3),
    ],
)
def test_strata_agree_with_noncentral_f(layout, pattern):
    spreads = {**UM, "mount": 1.5}
    chance, error = chance_by_strata(layout, spreads, 8.0, pattern, trials=20_000)
    # four standard errors of 20,000 trials
    assert chance == pytest.approx(exact_chance(layout, spreads, 8.0, pattern), abs=4.0 * error)


@pytest.mark.parametrize("sheets", [1, 3])
def test_full_analysis_agrees_where_components_are_well_above_zero(sheets):
    layout = Balanced(4, 3, coupons=3, readings=2, sheets=sheets)
    fixed, groups = plan_arrays(layout)
    spreads = {"specimen": 8.0, "coupon": 3.0, "reading": 1.0, "sheet": 8.0}
    found = simulate_tests(fixed, groups, spreads, {"nozzle": np.eye(4)[1:]}, Simulation(250, 5))["nozzle"]
    means = 24.0 * pattern_means(4)
    effect = means[1:] - means[0]
    exact = exact_chance(layout, {k: v for k, v in spreads.items() if k != "sheet"}, 24.0, Pattern.LEAST_FAVOURABLE)
    # four standard errors of 250 trials; specimens differ 8 against 3 and 1, so no estimate is zero but by rare chance
    assert found.chance(effect) == pytest.approx(exact, abs=4.0 * found.error(effect))


def test_one_round_of_null_trials_answers_for_an_effect():
    fixed, groups = plan_arrays(SMALL)
    contrast = np.eye(4)[1:]
    effect = np.array([4.0, 4.0, 8.0])
    found = simulate_tests(fixed, groups, UM, {"nozzle": contrast}, Simulation(25, 3))["nozzle"]
    # the same draws with the effect added to each response, analysed afresh
    from trials.infer.mixed import fit_mixed
    from trials.plan.power.simulate import _draws

    draws, hits = _draws(groups, UM, len(fixed), seed=3), 0
    for number in range(25):
        hits += fit_mixed(draws.trial(number) + fixed[:, 1:] @ effect, fixed, groups).test(contrast).p < 0.05
    assert found.chance(effect) == pytest.approx(hits / 25, abs=1e-12)


def test_detectable_is_where_the_chance_is_reached():
    fixed, groups = plan_arrays(SMALL)
    found = simulate_tests(fixed, groups, UM, {"nozzle": np.eye(4)[1:]}, Simulation(100, 2))["nozzle"]
    pattern = np.array([0.5, 0.5, 1.0])
    size = found.detectable(pattern)
    # one trial in a hundred is the smallest step of the share
    assert found.chance(size * pattern) == pytest.approx(0.8, abs=0.0101)


def test_the_same_seed_gives_the_same_trials():
    fixed, groups = plan_arrays(SMALL)
    once, again = (simulate_tests(fixed, groups, UM, {"a": np.eye(4)[1:]}, Simulation(5, 9))["a"] for _ in range(2))
    assert np.array_equal(once.value, again.value)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: simulate_tests(*plan_arrays(SMALL), {"specimen": 1.0}, {}), WrongArgument, "no spread is given"),
        (lambda: simulate_tests(*plan_arrays(SMALL), {**UM, "coupon": np.nan}, {}), NotFinite, "spread of coupon"),
        (lambda: simulate_tests(*plan_arrays(SMALL), {**UM, "coupon": -1.0}, {}), WrongArgument, "zero or more"),
    ],
)
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
