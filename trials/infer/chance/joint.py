"""The chance that the next edge meets several requirements together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from trials.errors import WrongArgument, WrongShape
from trials.findings import Finding
from trials.infer.chance.draws import chi_squares, even_normals
from trials.infer.chance.kinds import ChanceKind
from trials.infer.chance.mean_squares import find_layers, floor, variances
from trials.infer.chance.next_edge import (
    NextEdge,
    Rule,
    check_rule,
    edge_chance,
    estimate_chance,
    layer_of,
    lost_cuts,
    pivot_draws,
)

POINTS = 512
AT_ONCE = 64
"""Draws averaged at a time: their points stay in the processor's cache."""


@dataclass(frozen=True)
class JointChance:
    """Chance that every requirement is met.

    Attributes:
        estimate, low, confidence: as for one requirement, with the correlations given.
        least, most: what the estimates allow whatever the correlation (Frechet limits).
        rests_on: what was assumed.
    """

    estimate: float
    low: float
    confidence: float
    least: float
    most: float
    rests_on: tuple[Finding, ...] = ()


def chance_of_all(
    edges: tuple[NextEdge, ...],
    rules: tuple[Rule, ...],
    correlation: Mapping[str, np.ndarray],
    confidence: float = 0.95,
    draws: int = 2_048,
    seed: int = 0,
    cuts: int | None = None,
    lost: int = 0,
) -> JointChance:
    """Chance that the next edge meets every rule together.

    Args:
        edges, rules: one per response.
        correlation: {"specimen": (m, m), "coupon": (m, m)} correlations of the responses' effects; sheet and mount
            effects follow "specimen". A level left out counts as uncorrelated. Readings are independent.
        confidence, draws, seed, cuts, lost: as for `chance`.

    Raises
    ------
    WrongShape
        If lengths or matrices do not fit.
    WrongArgument
        If a matrix is no correlation matrix, or more cuts are lost than cut.
    """
    m = len(edges)
    roots = _checked(edges, rules, correlation, confidence)
    upper, lower = _points(m, roots, seed)
    plain = [floor(variances(e.squares)) for e in edges]
    estimate = joint_chance(edges, rules, [np.array([e.mean]) for e in edges], plain, upper, lower)[0]
    drawn, share = joint_draws(edges, rules, correlation, draws, seed), 1.0
    if cuts is not None:
        share, kept = lost_cuts(cuts, lost, even_normals(2, draws, seed + 2)[:, 0])
        drawn = drawn * kept
    estimates = [estimate_chance(e, r) for e, r in zip(edges, rules, strict=True)]
    return JointChance(
        estimate=float(estimate) * share,
        low=float(np.quantile(drawn, 1 - confidence)),
        confidence=confidence,
        least=max(0.0, sum(estimates) - (m - 1)) * share,
        most=min(estimates) * share,
        rests_on=(Finding(ChanceKind.MOVE_TOGETHER),),
    )


def joint_draws(
    edges: tuple[NextEdge, ...],
    rules: tuple[Rule, ...],
    correlation: Mapping[str, np.ndarray],
    draws: int = 2_048,
    seed: int = 0,
    means_seed: int | None = None,
    points: int = POINTS,
) -> np.ndarray:
    """Draws (at least draws,) of the chance that the next edge meets every rule together.

    means_seed: of the errors of the means, so that two types with seeds of their own have means that err apart while
    the spreads they share are the same in each draw; as `seed` where None. points: edges that each draw averages over.

    Raises:
        WrongShape: as `chance_of_all`.
    """
    roots = _checked(edges, rules, correlation, 0.95)
    upper, lower = _points(len(edges), roots, seed, points)
    means, drawn = _joint_draws(edges, roots, draws, seed, seed if means_seed is None else means_seed)
    return joint_chance(edges, rules, means, drawn, upper, lower)


def _checked(
    edges: tuple[NextEdge, ...],
    rules: tuple[Rule, ...],
    correlation: Mapping[str, np.ndarray],
    confidence: float,
) -> dict[str, np.ndarray]:
    """Roots of the correlations by level, everything that was given looked at."""
    m = len(edges)
    if m < 2 or len(rules) != m:
        raise WrongShape(f"{m} edges and {len(rules)} rules do not pair; give at least two of each, in one order.")
    for edge, rule in zip(edges, rules, strict=True):
        check_rule(edge, rule, confidence)
    return {level: square_root(correlation.get(level, np.eye(m)), m, level) for level in ("specimen", "coupon")}


def _points(m: int, roots: Mapping[str, np.ndarray], seed: int, count: int = POINTS) -> tuple[np.ndarray, np.ndarray]:
    """Common points of the effects above the coupon and of the coupons, (count, m) each."""
    points = even_normals(2 * m, count, seed + 1)
    return points[:, :m] @ roots["specimen"].T, points[:, m:] @ roots["coupon"].T


def effect_correlation(
    first: np.ndarray,
    second: np.ndarray,
    fixed: np.ndarray,
    groups: dict[str, np.ndarray],
    coupon_variances: tuple[float, float] | None = None,
) -> dict[str, float]:
    """Correlation of two responses' effects at specimen and at coupon level.

    Args:
        first, second: (n,) coupon means of the two responses on their model scales, one row per coupon.
        fixed: (n, k) columns that shift the means.
        groups: {layer: labels (n,)} above the coupon, from the top down.
        coupon_variances: of the coupon effects alone, from the readings; without them the scatter of the readings
            weakens the coupon correlation.

    Returns the correlation of everything above the coupon under "specimen" and of the coupons under "coupon", zero
    where a variance is estimated as zero, cut to -1 .. 1.

    Raises
    ------
    WrongShape, WrongArgument, NotFinite, NotIdentifiable
        As `find_layers`.
    """
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if first.shape != second.shape:
        raise WrongShape("Both responses need one mean per coupon, in one order; pair them first.")
    one, two, plus = (variances(find_layers(y, fixed, groups).squares) for y in (first, second, first + second))
    out = {}
    for level, names in {"specimen": [n for n in one if n != "reading"], "coupon": ["reading"]}.items():
        a, b, both = (float(sum(v[n] for n in names)) for v in (one, two, plus))
        own = (a, b) if level == "specimen" or coupon_variances is None else coupon_variances
        size = float(np.sqrt(max(own[0], 0.0) * max(own[1], 0.0)))
        out[level] = float(np.clip((both - a - b) / 2 / size, -1.0, 1.0)) if size > 0 else 0.0
    return out


def _joint_draws(
    edges: tuple[NextEdge, ...], roots: dict[str, np.ndarray], draws: int, seed: int, means_seed: int
) -> tuple[list[np.ndarray], list[dict[str, np.ndarray]]]:
    """Means and variances of every response with their estimation errors correlated as the effects are."""
    m, means, found = len(edges), [], []
    layers = max(len(e.squares) for e in edges)
    points = even_normals(m * (layers + 1), draws, seed).T
    own = points if means_seed == seed else even_normals(m * (layers + 1), draws, means_seed).T
    z, raw = roots["specimen"] @ own[:m], points[m:].reshape(layers, m, -1)
    # Mean squares of two responses correlate like the squared correlation of their effects.
    common = {level: square_root((root @ root.T) ** 2, m, level) for level, root in roots.items()}
    for i, edge in enumerate(edges):
        rows = []
        for j, s in enumerate(edge.squares):
            root = common["coupon" if layer_of(s.name) == "coupon" else "specimen"]
            mix = raw[j, i] if layer_of(s.name) == "reading" else root[i] @ raw[j]
            rows.append(chi_squares(s.df, mix))
        mean, variance = pivot_draws(edge, np.vstack(rows), z[i])
        means.append(mean)
        found.append(variance)
    return means, found


def joint_chance(
    edges: tuple[NextEdge, ...],
    rules: tuple[Rule, ...],
    means: list[np.ndarray],
    found: list[dict[str, np.ndarray]],
    upper: np.ndarray,
    lower: np.ndarray,
) -> np.ndarray:
    """Chance that all rules hold, per draw: average over common points of the product of the readings' chances."""
    spreads = [_spreads(edge, variance, len(means[0])) for edge, variance in zip(edges, found, strict=True)]
    out = np.empty(len(means[0]))
    for first in range(0, len(out), AT_ONCE):
        part = slice(first, first + AT_ONCE)
        total = np.ones((len(out[part]), len(upper)))
        for i, (rule, (high, low, reading)) in enumerate(zip(rules, spreads, strict=True)):
            level = means[i][part, None] + high[part, None] * upper[:, i] + low[part, None] * lower[:, i]
            total *= edge_chance(level, 0.0, reading[part, None], rule)
        out[part] = total.mean(axis=1)
    return out


def _spreads(edge: NextEdge, found: dict[str, np.ndarray], draws: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Standard deviations (draws,) above the coupon, of coupons, and of readings."""
    above, coupons = np.zeros(draws), np.zeros(draws)
    for layer, name in edge.between.items():
        if layer == "coupon":
            coupons = coupons + found[name]
        else:
            above = above + found[name]
    reading = np.broadcast_to(found[edge.reading], (draws,))
    return np.sqrt(above), np.sqrt(coupons), np.sqrt(reading)


def square_root(matrix: np.ndarray, m: int, level: str) -> np.ndarray:
    """Square root of a correlation matrix."""
    matrix = np.asarray(matrix, dtype=float)
    if matrix.shape != (m, m):
        raise WrongShape(f"The {level} correlation has shape {matrix.shape} where ({m}, {m}) is needed.")
    if not np.allclose(matrix, matrix.T) or not np.allclose(np.diag(matrix), 1.0):
        raise WrongArgument(f"The {level} correlation must be symmetric with ones on its diagonal.")
    size, turn = np.linalg.eigh(matrix)
    if size.min() < -1e-8:
        raise WrongArgument(f"The {level} correlations contradict each other; estimate them from the same coupons.")
    return np.asarray(turn * np.sqrt(np.maximum(size, 0.0)))
