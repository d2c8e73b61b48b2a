"""Lives from elsewhere, as the cost of a metre takes them: stated figures, or what a life trial showed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, ndtri

from trials.infer.life import LifeStudy

Array = NDArray[np.float64]
SURE = 0.975
HOURS, METRES, PIERCES = "hours", "metres", "pierces"
UNITS = {"h": HOURS, "hour": HOURS, "hours": HOURS, "m": METRES, "metres": METRES, "pierces": PIERCES}


@dataclass(frozen=True)
class KnownLife:
    """Mean life of one type.

    log_sd: standard error of its logarithm, 0 for a stated figure; at_least: no piece failed, so that the life is the
    lower limit of it.
    """

    life: float
    log_sd: float = 0.0
    at_least: bool = False

    def draws(self, count: int, rng: np.random.Generator) -> Array:
        """Log-normal draws (count,) around the life."""
        return np.asarray(self.life * np.exp(self.log_sd * rng.standard_normal(count)))


@dataclass(frozen=True)
class KnownLives:
    """Lives of nozzle types: unit (hours, metres or pierces), where they come from, and the mean life of each type."""

    unit: str
    source: str
    types: Mapping[str, KnownLife]


def lives_of_study(study: LifeStudy, unit: str, source: str) -> KnownLives | None:
    """What a study of lives says of the mean life of each type; None where its unit is none that a cost can use.

    The mean of a Weibull life is its characteristic life times gamma(1 + 1 / shape) (Lawless 2003, sec. 1.3); in the
    long run a nozzle is bought once per mean life (renewal reward). The standard error follows from the limits.
    """
    if unit not in UNITS:
        return None
    to_mean = float(gamma(1.0 + 1.0 / study.shape))
    found = {each.nozzle: _known(each.at[0].life, each.at[0].low, each.at[0].high, to_mean) for each in study.types}
    return KnownLives(UNITS[unit], source, {name: life for name, life in found.items() if life is not None})


def _known(life: float, low: float, high: float, to_mean: float) -> KnownLife | None:
    if not (math.isfinite(low) and low > 0):
        return None
    if not math.isfinite(life):
        return KnownLife(low * to_mean, at_least=True)
    width = math.log(high / low) / 2.0 if math.isfinite(high) else math.log(life / low)
    return KnownLife(life * to_mean, width / float(ndtri(SURE)))
