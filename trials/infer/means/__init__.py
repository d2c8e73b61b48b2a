"""Means of nozzle types at stated settings, and intervals that hold together."""

from trials.infer.means.effect import EffectSize, effect_size
from trials.infer.means.marginal import Interval, differences, mean_row, means, pairwise
from trials.infer.means.simultaneous import Simultaneous, against_reference, all_pairs

__all__ = [
    "EffectSize",
    "Interval",
    "Simultaneous",
    "against_reference",
    "all_pairs",
    "differences",
    "effect_size",
    "mean_row",
    "means",
    "pairwise",
]
