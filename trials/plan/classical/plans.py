"""Classical plans under one roof: pure functions that return frozen results in coded units."""

from trials.plan.classical.factorial import (
    Blocks,
    CodedPlan,
    Effect,
    Fraction,
    alias_groups,
    alias_words,
    best_generators,
    blocks,
    fraction,
    full_factorial,
    with_centre,
)
from trials.plan.classical.latin import RunOrders, latin_square, williams
from trials.plan.classical.screening import conference_matrix, definitive_screening
from trials.plan.classical.surface import Composite, box_behnken, central_composite

__all__ = [
    "Blocks",
    "CodedPlan",
    "Composite",
    "Effect",
    "Fraction",
    "RunOrders",
    "alias_groups",
    "alias_words",
    "best_generators",
    "blocks",
    "box_behnken",
    "central_composite",
    "conference_matrix",
    "definitive_screening",
    "fraction",
    "full_factorial",
    "latin_square",
    "williams",
    "with_centre",
]
