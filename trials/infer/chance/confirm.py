"""Limits that the mean of coupons still to be cut must fall in, if the estimates hold."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from trials.errors import WrongShape
from trials.infer.chance.draws import chi_square_draws, even_normals
from trials.infer.chance.next_edge import DRAWS, NextEdge, layer_of, pivot_draws


def mean_of_new(
    edge: NextEdge, counts: Mapping[str, int], moved: float = 0.0, confidence: float = 0.95, seed: int = 0
) -> tuple[float, float]:
    """Two-sided limits on the model scale for the mean of new coupons cut with the same specimens.

    edge: what is known where they will be cut; counts: of new sheets, specimens, mounts, coupons and readings; moved:
    added to the predicted mean. The specimens are the same and drop out, as long as mounts have a spread of their own;
    otherwise a new mount may move as much as another specimen would. Quantiles of the pivotal draws of what the new
    mean and the prediction add (Krishnamoorthy and Mathew 2009, ch. 5).

    Raises
    ------
    WrongShape
        If a count is missing or below one, or confidence is no share.
    """
    layers = [*edge.between, "reading"]
    if any(counts.get(layer, 0) < 1 for layer in layers) or not 0 < confidence < 1:
        raise WrongShape("Each layer of the new coupons needs a count of one or more, and confidence a share.")
    same = "specimen" if "mount" in edge.between else ""
    names = {**edge.between, "reading": edge.reading}
    sizes = {name: size for name, size in edge.mean_sizes.items() if layer_of(name) != same}
    for layer in layers:
        if layer != same:
            sizes[names[layer]] = sizes.get(names[layer], 0.0) + 1.0 / counts[layer]
    columns = len(edge.squares) + 1
    chi = [chi_square_draws(s.df, columns, DRAWS, seed, j + 1) for j, s in enumerate(edge.squares)]
    z = even_normals(columns, DRAWS, seed)[:, 0]
    _, found = pivot_draws(edge, np.vstack(chi), z)
    spread = np.sqrt(sum((size * found[name] for name, size in sizes.items() if name in found), np.zeros(len(z))))
    low, high = np.quantile(edge.mean + moved + z * spread, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)
