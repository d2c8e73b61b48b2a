"""What a plan detects, by simulated trials that are analysed as real ones.

Restricted likelihood sees only what the fixed columns leave over, so an effect shifts the coefficients of a simulated
trial and nothing else. One round of null trials therefore answers for every difference and every question.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from scipy import special

from trials.errors import NotFinite, WrongArgument
from trials.infer.draws import Draws, codes_of, pieces
from trials.infer.mixed import MixedDesign, MixedFit
from trials.sharing import shared

Array = np.ndarray
TRIALS = 4000
AT_ONCE = 25
"""Trials of a piece of work, which one worker does."""
SECONDS_EACH = 0.005
"""About what a trial takes."""
Key = TypeVar("Key")
_Ingredients = tuple[Array, Array, float]


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

        Raises
        ------
        WrongArgument
            If the pattern is all zero or the chance is not between 0 and 1.
        """
        from scipy import optimize

        pattern = np.asarray(pattern, dtype=float)
        if not pattern.any() or not 0.0 < chance < 1.0:
            raise WrongArgument("A pattern that is not all zero and a chance between 0 and 1 are needed; give both.")
        spread = float(np.sqrt(np.mean(np.sum((self.value @ _along(pattern)) ** 2, axis=-1)))) or 1.0
        high = spread / float(np.linalg.norm(pattern))
        while self.chance(high * pattern) < chance and high < 1e12:
            high *= 2.0
        return float(optimize.brentq(lambda size: self.chance(size * pattern) - chance, 0.0, high, rtol=1e-6))


def _along(pattern: Array) -> Array:
    unit = pattern / np.linalg.norm(pattern)
    return np.asarray(np.outer(unit, unit))


@dataclass(frozen=True)
class Simulation:
    """How trials are simulated: how many, from which seed, tests at which level."""

    trials: int = TRIALS
    seed: int = 1
    alpha: float = 0.05


USUAL = Simulation()


def simulate_tests(
    fixed: Array,
    groups: Mapping[str, Array],
    spreads: Mapping[str, float],
    contrasts: Mapping[Key, Array],
    asked: Simulation = USUAL,
    progress: Callable[[int, int], None] | None = None,
) -> dict[Key, Simulated]:
    """Simulate null trials of any plan and analyse each as a real one (restricted likelihood, Kenward-Roger).

    fixed (n, k) model matrix; groups: labels (n,) by name; spreads: standard deviation by group and for "reading";
    contrasts: question -> (q, k). Each trial has a seed of its own, by its number, so that the same
    come out whoever simulates them. progress(done, trials) is called now and then.

    Raises
    ------
    NotIdentifiable, WrongShape, WrongArgument, NotFinite
        As `trials.infer.mixed.fit.fit_mixed`; and if a spread is missing or negative, or not finite.
    """
    design = MixedDesign.build(fixed, {name: labels.tolist() for name, labels in groups.items()})
    task = _Task(design, _draws(groups, spreads, len(fixed), asked.seed), dict(contrasts), asked.alpha)
    found: dict[Key, list[_Ingredients]] = {name: [] for name in contrasts}
    lots = pieces(asked.trials, AT_ONCE)
    for lot, rows in zip(lots, shared(task.analysed, lots, asked.trials * SECONDS_EACH), strict=True):
        for name, own in rows.items():
            found[name] += own
        if progress:
            progress(lot.stop, asked.trials)
    return {name: Simulated(*map(np.array, zip(*rows, strict=True))) for name, rows in found.items()}


@dataclass(frozen=True, eq=False)
class _Task(Generic[Key]):
    """All that a worker needs to know."""

    design: MixedDesign
    draws: Draws
    contrasts: dict[Key, Array]
    alpha: float

    def analysed(self, numbers: range) -> dict[Key, list[_Ingredients]]:
        fits = [self.design.fit(self.draws.trial(number)) for number in numbers]
        return {name: [_ingredients(fit, rows, self.alpha) for fit in fits] for name, rows in self.contrasts.items()}


def _ingredients(fit: MixedFit, contrast: Array, alpha: float) -> _Ingredients:
    test = fit.test(contrast)
    value = contrast @ fit.coefficients
    inverse = np.linalg.inv(contrast @ fit.covariance @ contrast.T)
    scale = test.F / float(value @ inverse @ value)
    return value, inverse * scale, float(special.fdtri(test.df, test.den_df, 1.0 - alpha))


def _draws(groups: Mapping[str, Array], spreads: Mapping[str, float], n: int, seed: int) -> Draws:
    for name in (*groups, "reading"):
        if name not in spreads:
            raise WrongArgument(f"no spread is given for {name!r}; state one in the trial file.")
        if not math.isfinite(spreads[name]):
            raise NotFinite(f"the spread of {name} is {spreads[name]}; give a finite standard deviation.")
        if spreads[name] < 0:
            raise WrongArgument(f"the spread of {name} is {spreads[name]:g}; give zero or more.")
    return Draws(n, {name: codes_of(np.asarray(labels)) for name, labels in groups.items()}, spreads, seed)
