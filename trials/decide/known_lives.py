"""Lives from elsewhere, as the cost of a metre takes them: mean lives with what is not known of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from trials.endings import Part

if TYPE_CHECKING:
    from trials.decide.typical_life import TypicalLife

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
    """Lives: unit (hours, metres or pierces), where they come from, and the mean life of each nozzle type.

    lens: likewise of the protective window, or of the lens where no window is on record, under each nozzle type.
    """

    unit: str
    source: str
    types: Mapping[str, KnownLife]
    lens: Mapping[str, KnownLife] = field(default_factory=dict)


def known_from(lives: Sequence[TypicalLife]) -> KnownLives | None:
    """Typical lives as a cost takes them; None where there are none, or in a unit that a cost cannot use.

    In the long run a piece is bought once per mean life (renewal reward); the standard error follows from the limits.
    """
    units = {UNITS.get(each.unit) for each in lives}
    unit = units.pop() if len(units) == 1 else None
    if unit is None:
        return None
    parts = {part: {e.nozzle: found for e in lives if e.part == part and (found := _known(e))} for part in Part}
    return KnownLives(unit, lives[0].source, parts[Part.NOZZLE], parts[Part.WINDOW] or parts[Part.LENS])


def _known(each: TypicalLife) -> KnownLife | None:
    if each.failures == 0 and math.isnan(each.mean_low):  # a stated figure
        return KnownLife(each.mean)
    if not (math.isfinite(each.mean_low) and each.mean_low > 0):
        return None
    if not math.isfinite(each.mean):
        return KnownLife(each.mean_low, at_least=True)
    high = each.mean_high
    width = math.log(high / each.mean_low) / 2.0 if math.isfinite(high) else math.log(each.mean / each.mean_low)
    return KnownLife(each.mean, width / float(ndtri(SURE)))
