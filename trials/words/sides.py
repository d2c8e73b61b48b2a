"""The edges of a coupon in one set of words: on the run sheet, at the bench and on the verdict."""

from __future__ import annotations

from trials.words.language import text


def edge_head() -> str:
    """Head of the column that says which edge is measured."""
    return text("Edge to measure")


def edge_words() -> str:
    """What the column of sides at the bench is for."""
    return text("The edge to measure, given by the plan. Change it only where another edge was measured.")


def edge_of_mark() -> str:
    """Which edge is which, with nothing but the coupon in hand."""
    return text(
        "With the top face up and the mark upright: near is the edge below the mark, far the one above it, left and "
        "right as you read."
    )
