"""Ladders: where a cut stops being clean, known between two steps or beyond one; types compared."""

from trials.infer.ladder.regression import LadderFit, fit_ladder

__all__ = ["LadderFit", "fit_ladder"]
