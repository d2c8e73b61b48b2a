"""What a plan detects, by simulation: strata mean squares where it is balanced, the real analysis otherwise.

Restricted likelihood sees only what the fixed columns leave over, so an effect shifts the coefficients of a simulated
trial and nothing else. One round of null trials therefore answers for every difference and every question.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer.mixed import MixedDesign
from trials.plan.power.balanced import LEAST_FAVOURABLE, Layout, checked_spreads, pattern_means

Array = np.ndarray
TRIALS = 4000


@dataclass(frozen=True)
class Simulated:
    """Null trials of one question, ready for any true effect.

    value (m, q): estimates without an effect; weight (m, q, q): value' weight value is the scaled F; critical (m,): F
    that a test at the level must pass.
    """

    value: Array
    weight: Array
    critical: Array

    @property
    def trials(self) -> int:
        """Number of simulated trials."""
        return len(self.value)

    def chance(self, effect: Array) -> float:
        """Share of the trials whose test comes out when the contrasts are truly `effect` (q,)."""
        shifted = self.value + np.asarray(effect, dtype=float)
        f = np.einsum("mi,mij,mj->m", shifted, self.weight, shifted)
        return float(np.mean(f > self.critical))

    def error(self, effect: Array) -> float:
        """Standard error of that share, from the number of trials."""
        p = self.chance(effect)
        return math.sqrt(max(p * (1.0 - p), 1.0 / self.trials) / self.trials)

    def detectable(self, pattern: Array, chance: float = 0.8) -> float:
        """Size by which to multiply `pattern` (q,) so that the test comes out with this chance.

        Raises `WrongShape` if the pattern is all zero or the chance is not between 0 and 1.
        """
        pattern = np.asarray(pattern, dtype=float)
        if not pattern.any() or not 0.0 < chance < 1.0:
            raise WrongShape("A pattern that is not all zero and a chance between 0 and 1 are needed; give both.")
        spread = float(np.sqrt(np.mean(np.sum((self.value @ _along(pattern)) ** 2, axis=-1)))) or 1.0
        high = spread / float(np.linalg.norm(pattern))
        while self.chance(high * pattern) < chance and high < 1e12:
            high *= 2.0
        return float(optimize.brentq(lambda size: self.chance(size * pattern) - chance, 0.0, high, rtol=1e-6))


def _along(pattern: Array) -> Array:
    unit = pattern / np.linalg.norm(pattern)
    return np.outer(unit, unit)


def simulate_tests(
    fixed: Array,
    groups: Mapping[str, Sequence],
    spreads: Mapping[str, float],
    contrasts: Mapping[str, Array],
    trials: int = TRIALS,
    seed: int = 1,
    alpha: float = 0.05,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Simulated]:
    """Simulate null trials of any plan and analyse each as a real one (restricted likelihood, Kenward-Roger).

    fixed (n, k) model matrix; groups: labels (n,) by name; spreads: standard deviation by group and for "reading";
    contrasts: question -> (q, k). Repeatable for a seed. progress(done, trials) is called now and then.

    Raises
    ------
    NotIdentifiable, WrongShape, NotFinite
        As `trials.infer.mixed.fit.fit_mixed`; and if a spread is missing, negative or not finite.
    """
    design = MixedDesign.build(fixed, groups)
    draw = _drawer(groups, spreads, len(fixed))
    rng = np.random.default_rng(seed)
    found: dict[str, list[tuple[Array, Array, float]]] = {name: [] for name in contrasts}
    for done in range(trials):
        fit = design.fit(draw(rng))
        for name, contrast in contrasts.items():
            found[name].append(_ingredients(fit, contrast, alpha))
        if progress and done % 100 == 99:
            progress(done + 1, trials)
    return {name: Simulated(*map(np.array, zip(*rows, strict=True))) for name, rows in found.items()}


def _ingredients(fit, contrast: Array, alpha: float) -> tuple[Array, Array, float]:
    test = fit.test(contrast)
    value = contrast @ fit.coefficients
    inverse = np.linalg.inv(contrast @ fit.covariance @ contrast.T)
    scale = test.F / float(value @ inverse @ value)
    return value, inverse * scale, float(special.fdtri(test.df, test.den_df, 1.0 - alpha))


def _drawer(
    groups: Mapping[str, Sequence], spreads: Mapping[str, float], n: int
) -> Callable[[np.random.Generator], Array]:
    for name in (*groups, "reading"):
        if name not in spreads:
            raise WrongShape(f"no spread is given for {name!r}; state one in the trial file.")
        if not math.isfinite(spreads[name]):
            raise NotFinite(f"the spread of {name} is {spreads[name]}; give a finite standard deviation.")
        if spreads[name] < 0:
            raise WrongShape(f"the spread of {name} is {spreads[name]:g}; give zero or more.")
    codes = {name: np.unique(np.asarray(labels), return_inverse=True)[1].ravel() for name, labels in groups.items()}

    def draw(rng: np.random.Generator) -> Array:
        response = spreads["reading"] * rng.standard_normal(n)
        for name, code in codes.items():
            response += spreads[name] * rng.standard_normal(code.max() + 1)[code]
        return response

    return draw


def chance_by_strata(
    layout: Layout,
    spreads: Mapping[str, float],
    difference: float,
    pattern: str = LEAST_FAVOURABLE,
    trials: int = TRIALS,
    seed: int = 1,
    alpha: float = 0.05,
) -> tuple[float, float]:
    """Chance of the nozzle test of a balanced plan and its standard error, by strata mean squares of simulated trials.

    Draws every specimen, mount and coupon (its readings as their mean) of all trials at once and forms the mean
    square of types and of the pieces within them; pieces that stay on one sheet are compared within sheets.

    Raises
    ------
    NotIdentifiable
        If nothing is replicated above the coupon, or the pieces of a type do not spread evenly over the sheets.
    """
    if layout.df < 1:
        raise NotIdentifiable("Nothing is replicated above the coupon; add specimens or mounts.")
    means = _type_by_piece(layout, checked_spreads(spreads), np.random.default_rng(seed), trials)
    means += difference * pattern_means(layout.types, pattern)[:, None]
    f = _strata_f(means, layout)
    chance = float(np.mean(f > special.fdtri(layout.types - 1, layout.df, 1.0 - alpha)))
    return chance, math.sqrt(max(chance * (1.0 - chance), 1.0 / trials) / trials)


def _type_by_piece(layout: Layout, sd: Mapping[str, float], rng: np.random.Generator, trials: int) -> Array:
    """Means of the tested pieces, (trials, types, pieces)."""
    shape = (trials, layout.types, layout.specimens, layout.mounts, layout.coupons)
    coupon_sd = math.hypot(sd["coupon"], sd["reading"] / math.sqrt(layout.readings))
    mounts = coupon_sd * rng.standard_normal(shape).mean(axis=-1)
    mounts += sd["mount"] * rng.standard_normal(shape[:4])
    if layout.specimens == 1:
        return mounts[:, :, 0, :]
    return mounts.mean(axis=-1) + sd["specimen"] * rng.standard_normal(shape[:3])


def _strata_f(means: Array, layout: Layout) -> Array:
    """F of types against pieces within types, (trials,)."""
    _, types, pieces = means.shape
    by_type = means.mean(axis=2, keepdims=True)
    rest = means - by_type
    if layout.df < types * (pieces - 1):
        if pieces % layout.sheets:
            raise NotIdentifiable(
                f"{pieces} pieces of a type do not spread evenly over {layout.sheets} sheets; "
                "use a number of sheets that divides them."
            )
        by_sheet = rest.reshape(len(means), types, -1, layout.sheets).mean(axis=(1, 2), keepdims=True)
        rest = (rest.reshape(len(means), types, -1, layout.sheets) - by_sheet).reshape(means.shape)
    between = pieces * np.sum((by_type - by_type.mean(axis=1, keepdims=True)) ** 2, axis=(1, 2)) / (types - 1)
    return between / (np.sum(rest**2, axis=(1, 2)) / layout.df)
