"""Best shares of a two-level trial when everything has its price: where a search for a plan starts.

Variance of the difference of two treatments proportional to (t + e / n) / (p (1 - p) J), with t the variance of a
group (specimen), e of a unit (coupon), n units in each of J groups, share p of the groups in the second treatment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class UnitCosts:
    """What a unit and a group cost in the first treatment, and in the second."""

    unit: float
    group: float
    unit_other: float
    group_other: float


@dataclass(frozen=True)
class Allocation:
    """Units in a group, and share of the groups in the second treatment."""

    units: float
    share: float


def best_units(unit: float, group: float, unit_variance: float, group_variance: float) -> float:
    """Best number of units in a group where both treatments cost the same: sqrt((group / unit) (e / t)).

    Raudenbush (1997), Psychological Methods 2, 173-185; Moerbeek, van Breukelen and Berger (2000), Journal of
    Educational and Behavioral Statistics 25, 271-284. Infinite where groups do not differ.
    """
    return math.inf if group_variance == 0 else math.sqrt(group / unit * unit_variance / group_variance)


def groups_of_control(treatments: int) -> float:
    """Groups of a control for each group of one of so many treatments: about sqrt(k) (Dunnett 1955, JASA 50, 1096)."""
    return math.sqrt(treatments)


def best_allocation(costs: UnitCosts, unit_variance: float, group_variance: float) -> Allocation:
    """Units in a group and share of the second treatment that buy the least variance for the money.

    Shen and Kelcey (2020), Journal of Educational and Behavioral Statistics 45(4), 446-474: the minimum of variance
    times budget; here over n with the best share at each n, p / (1 - p) = sqrt(cost of a first / of a second group).
    """

    from scipy import optimize

    def share(n: float) -> float:
        first, second = costs.unit * n + costs.group, costs.unit_other * n + costs.group_other
        return math.sqrt(first) / (math.sqrt(first) + math.sqrt(second))

    def price(log_n: float) -> float:
        n = math.exp(log_n)
        p = share(n)
        money = (1.0 - p) * (costs.unit * n + costs.group) + p * (costs.unit_other * n + costs.group_other)
        return math.log((group_variance + unit_variance / n) * money / (p * (1.0 - p)))

    found = optimize.minimize_scalar(price, bounds=(-7.0, 14.0), method="bounded", options={"xatol": 1e-9})
    units = math.exp(float(found.x))
    return Allocation(units, share(units))
