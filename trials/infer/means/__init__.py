"""Means of nozzle types at stated settings, and intervals that hold together."""

from trials.infer.means.marginal import Interval, differences, means, pairwise, type_rows
from trials.infer.means.shares import ShareDifferences, share_differences
from trials.infer.means.simultaneous import Simultaneous, against_reference, all_pairs, beyond_critical

__all__ = [
    "Interval",
    "ShareDifferences",
    "Simultaneous",
    "against_reference",
    "all_pairs",
    "beyond_critical",
    "differences",
    "means",
    "pairwise",
    "share_differences",
    "type_rows",
]
