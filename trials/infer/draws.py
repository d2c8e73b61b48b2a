"""Responses drawn for simulated trials: each by the seed of its own number, so that none hangs on the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Draws:
    """A layout without true differences.

    n: readings; codes: by group the number of each reading's level (n,); spreads: standard deviations, a float or (n,),
    by group and for "reading"; seed: of all trials.
    """

    n: int
    codes: Mapping[str, Array]
    spreads: Mapping[str, Array | float]
    seed: int

    def trial(self, number: int) -> Array:
        """Response (n,) of the trial of this number, counted from 0."""
        rng = np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(number,)))
        response = self.spreads["reading"] * rng.standard_normal(self.n)
        for name, code in self.codes.items():
            response = response + self.spreads[name] * rng.standard_normal(code.max() + 1)[code]
        return np.asarray(response, dtype=float)

    def trials(self, numbers: range) -> Array:
        """Responses (B, n)."""
        return np.array([self.trial(number) for number in numbers])


def codes_of(labels: Array) -> Array:
    """Number of the level of each label."""
    return np.unique(labels, return_inverse=True)[1].ravel()


def pieces(trials: int, size: int) -> list[range]:
    """Numbers of trials in pieces of a fixed size, the last one smaller."""
    return [range(first, min(first + size, trials)) for first in range(0, trials, size)]
