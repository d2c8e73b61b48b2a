"""Chances before cutting: what a plan detects and settles."""

from trials.plan.power.balanced import (
    PATTERNS,
    Balanced,
    Minutes,
    Part,
    Pattern,
    Step,
    chance_f,
    curve,
    detectable_balanced,
    next_steps,
    noncentrality_needed,
    pattern_means,
)
from trials.plan.power.settle import Counts, Needed, chance_right, critical_value, specimens_needed
from trials.plan.power.simulate import Simulated, Simulation, simulate_tests

__all__ = [
    "PATTERNS",
    "Balanced",
    "Counts",
    "Minutes",
    "Needed",
    "Part",
    "Pattern",
    "Simulated",
    "Simulation",
    "Step",
    "chance_f",
    "chance_right",
    "critical_value",
    "curve",
    "detectable_balanced",
    "next_steps",
    "noncentrality_needed",
    "pattern_means",
    "simulate_tests",
    "specimens_needed",
]
