"""Chances before cutting: what a plan detects and settles."""

from trials.plan.power.balanced import (
    Layout,
    Minutes,
    Step,
    chance_balanced,
    chance_f,
    checked_spreads,
    curve,
    detectable_balanced,
    next_hour,
    next_steps,
    noncentrality_needed,
    pattern_means,
    percent,
)
from trials.plan.power.settle import Counts, Needed, chance_settled, critical_value, specimens_needed
from trials.plan.power.simulate import Simulated, chance_by_strata, simulate_tests

__all__ = [
    "Counts",
    "Layout",
    "Minutes",
    "Needed",
    "Simulated",
    "Step",
    "chance_balanced",
    "chance_by_strata",
    "chance_f",
    "chance_settled",
    "checked_spreads",
    "critical_value",
    "curve",
    "detectable_balanced",
    "next_hour",
    "next_steps",
    "noncentrality_needed",
    "pattern_means",
    "percent",
    "simulate_tests",
    "specimens_needed",
]
