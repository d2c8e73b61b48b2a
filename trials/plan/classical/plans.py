"""Classical plans under one roof: pure functions that return frozen results in coded units."""

from trials.plan.classical.factorial import (
    CodedPlan,
    Effect,
    Fraction,
    alias_groups,
    best_generators,
    fraction,
    full_factorial,
)
from trials.plan.classical.screening import conference_matrix, definitive_screening
from trials.plan.classical.surface import Composite, box_behnken, central_composite

__all__ = [
    "CodedPlan",
    "Composite",
    "Effect",
    "Fraction",
    "alias_groups",
    "best_generators",
    "box_behnken",
    "central_composite",
    "conference_matrix",
    "definitive_screening",
    "fraction",
    "full_factorial",
]
