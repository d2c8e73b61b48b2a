"""Effect sizes that go with an F test."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trials.errors import WrongShape


@dataclass(frozen=True)
class EffectSize:
    """Partial shares of variance behind an F test, and Cohen's f.

    eta2 as observed; epsilon2 and omega2 with chance taken off (Olejnik and Algina 2003, table 2), not below zero.
    """

    eta2: float
    omega2: float
    epsilon2: float
    cohen_f: float


def effect_size(F: float, df: float, den_df: float) -> EffectSize:
    """Effect sizes of an F on df and den_df degrees of freedom.

    Raises
    ------
    WrongShape
        If F is negative or a degree of freedom is not above zero.
    """
    if F < 0 or df <= 0 or den_df <= 0:
        raise WrongShape("An effect size needs F of zero or more and degrees of freedom above zero; check the test.")
    eta2 = F * df / (F * df + den_df)
    omega2 = max(0.0, (F - 1.0) * df / (F * df + den_df + 1.0))
    epsilon2 = max(0.0, (F - 1.0) * df / (F * df + den_df))
    return EffectSize(eta2, omega2, epsilon2, math.sqrt(eta2 / (1.0 - eta2)))
