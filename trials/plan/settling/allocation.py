"""Best numbers of units and groups of a two-level trial when both have a price: where a search for a plan starts."""

from __future__ import annotations

import math


def best_units(unit: float, group: float, unit_variance: float, group_variance: float) -> float:
    """Best number of units in a group where both treatments cost the same: sqrt((group / unit) (e / t)).

    Raudenbush (1997), Psychological Methods 2, 173-185; Moerbeek, van Breukelen and Berger (2000), Journal of
    Educational and Behavioral Statistics 25, 271-284. Infinite where groups do not differ.
    """
    return math.inf if group_variance == 0 else math.sqrt(group / unit * unit_variance / group_variance)


def groups_of_control(treatments: int) -> float:
    """Groups of a control for each group of one of so many treatments: about sqrt(k) (Dunnett 1955, JASA 50, 1096)."""
    return math.sqrt(treatments)
