"""Ladders: where a cut stops being clean, known between two steps or beyond one; types compared."""

from trials.infer.ladder.comparison import LadderComparison, LadderTypes, TypeLadder, compare_ladders
from trials.infer.ladder.regression import LadderFit, fit_ladder

__all__ = ["LadderComparison", "LadderFit", "LadderTypes", "TypeLadder", "compare_ladders", "fit_ladder"]
