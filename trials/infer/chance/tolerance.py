"""A bound that holds for a stated share of edges with a stated confidence.

With specimens, mounts and coupons the same pivotal draws as for chances give the bound; for one plain normal sample
they reproduce the exact factor by the noncentral t distribution (ISO 16269-6, unknown standard deviation).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from trials.errors import WrongArgument
from trials.infer.chance.next_edge import DRAWS, NextEdge, Rule, check_rule, edge_draws
from trials.infer.chance.worst import room_of_worst


def tolerance_bound(
    edge: NextEdge,
    coverage: float,
    readings: int = 1,
    kind: str = "worst",
    at_most: bool = True,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
) -> float:
    """Limit on the model scale that the share `coverage` of next edges keeps to, with the stated confidence.

    An upper bound with `at_most`, else a lower one. It is the limit at which the lower bound of `chance` is
    `coverage`, from the same draws.

    Raises
    ------
    WrongArgument
        If coverage or confidence is outside (0, 1), or the rule is unknown.
    """
    if not (0 < coverage < 1 and 0 < confidence < 1):
        raise WrongArgument("Coverage and confidence must lie between 0 and 1; 0.95 is usual.")
    check_rule(edge, Rule(0.0, readings, kind, at_most), confidence)
    drawn = edge_draws(edge, draws, seed)
    way = 1.0 if at_most else -1.0
    mean, between, reading = drawn
    if readings == 1 or kind == "mean":
        room = ndtri(coverage) * np.sqrt(between**2 + reading**2 / readings)
    else:
        room = room_of_worst(coverage, between, reading, readings)
    reach = way * (mean - edge.mean) + room  # each draw's own limit
    return edge.mean + way * float(np.quantile(reach, confidence))
