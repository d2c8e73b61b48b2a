"""Chances at many settings of one nozzle type from the same draws, with bounds that hold at all of them together.

The draws are those of one edge (see next_edge), made once: the variances do not depend on the setting, and the error of
the means is drawn for all settings jointly from its covariance. So a setting may be picked afterwards and its bound
still holds: the tail at each setting is shared out by the rank of the worst one in each draw (the rank envelope of a
posterior sample; Besag, Green, Higdon and Mengersen 1995, Statistical Science 10, section 6.3).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from trials.errors import NotIdentifiable, WrongShape
from trials.infer.chance.draws import beta_draws, chi_squares, even_normals
from trials.infer.chance.joint import joint_chance, square_root
from trials.infer.chance.mean_squares import Layers, draw, floor, variances
from trials.infer.chance.next_edge import NextEdge, Rule, check_rule, edge_chance, layer_of
from trials.infer.ordinal import OrdinalFit

DRAWS = 1_024
JOINT_POINTS = 128  # points over the spread of a next edge, where several responses go together
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(20)
_WEIGHTS = _WEIGHTS / np.sqrt(2 * np.pi)


@dataclass(frozen=True)
class EdgeMap:
    """What is known of the next edge of one type at g settings, in one response.

    first: the edge at the first setting (its variances are those of all); layers: mean squares behind it; rows (g, k):
    settings; means, errors (g,): typical edge on the model scale and its standard error; rule: what is asked.
    """

    first: NextEdge
    layers: Layers
    rows: np.ndarray
    means: np.ndarray
    errors: np.ndarray
    rule: Rule


@dataclass(frozen=True)
class Surface:
    """Chance at g settings: estimate (g,), and low (g,), what it is at least at all of them together; confidence."""

    estimate: np.ndarray
    low: np.ndarray
    confidence: float


def chance_surface(
    maps: Sequence[EdgeMap],
    correlation: Mapping[str, np.ndarray],
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
    cuts: int = 0,
    lost: int = 0,
) -> Surface:
    """Chance that the next edge meets every rule, at each setting.

    maps: one per response, over the same settings; correlation: {"specimen": (m, m), "coupon": (m, m)} as for
    `chance_of_all`; cuts, lost: coupons tried and lost, which count as not meeting, by draws of their share.

    Raises
    ------
    WrongShape
        If there is no map, they are not over the same settings, a rule cannot be judged, or more cuts are lost than
        were tried.
    """
    m = len(maps)
    if not m or len({len(each.rows) for each in maps}) != 1 or not 0 <= lost <= cuts:
        raise WrongShape("A surface needs maps over the same settings, and no more lost cuts than cuts.")
    for each in maps:
        check_rule(each.first, each.rule, confidence)
    roots = {level: square_root(correlation.get(level, np.eye(m)), m, level) for level in ("specimen", "coupon")}
    basis = _basis(np.hstack([each.rows for each in maps]))
    means, spreads, z = _draws(maps, basis, roots, draws, seed)
    found, estimate = _all_met(maps, roots, means, spreads, seed)
    share = (cuts - lost) / cuts if cuts else 1.0
    kept = beta_draws(cuts - lost + 0.5, lost + 0.5, z) if cuts else share
    low = lowest_together(found * kept, confidence)
    return Surface(estimate * share, np.minimum(low, estimate * share), confidence)


def grade_surface(
    fit: OrdinalFit,
    rows: np.ndarray,
    at_most: float,
    specimens: int,
    df: float,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
    cuts: int = 0,
    lost: int = 0,
) -> Surface:
    """Chance that a coupon at settings rows (g, k) gets a grade of `at_most` or lower; see `chance_of_grade`.

    Raises
    ------
    WrongShape
        If the rows do not have k numbers, or specimens, df or cuts cannot be.
    NotIdentifiable
        If every grade that occurred is at most, or none is.
    """
    if rows.ndim != 2 or rows.shape[1] != len(fit.penalised) or specimens < 1 or df < 1 or not 0 <= lost <= cuts:
        raise WrongShape("Settings, number of specimens, df or cuts do not fit the model; check them.")
    step = int(np.searchsorted(fit.categories, at_most, side="right")) - 1
    if not 0 <= step < len(fit.thresholds):
        raise NotIdentifiable(f"Every grade lies on one side of {at_most:g}; state the share and its limits instead.")
    soft, groups = fit.penalised_full, fit.n_groups
    levers = np.hstack([np.tile(np.eye(len(fit.thresholds))[step], (len(rows), 1)), -rows])
    level = levers @ np.concatenate([soft.thresholds, soft.coefficients])
    covariance = levers @ soft.covariance @ levers.T
    size, turn = np.linalg.eigh(covariance)
    kept = size > 1e-10 * size[-1]
    points = even_normals(int(kept.sum()) + 2, draws, seed).T
    ratio = df / chi_squares(df, points[0])
    variance = np.diagonal(covariance)[:, None]
    factor, spread = ratio, np.zeros((len(rows), len(ratio)))
    if groups:
        factor = ratio * groups / min(df, groups)
        within = np.maximum(specimens * variance - soft.group_sd**2, 0.0)
        spread = np.sqrt(np.maximum(specimens * variance * factor - within, 0.0))
    shift = (turn[:, kept] * np.sqrt(size[kept])) @ points[2:] * np.sqrt(factor)
    found = _new_specimen(level[:, None] - shift, spread)
    estimate = _new_specimen(level, np.full(len(level), soft.group_sd))
    if cuts:
        found = found * beta_draws(cuts - lost + 0.5, lost + 0.5, points[1])
        estimate = estimate * (cuts - lost) / cuts
    return Surface(estimate, np.minimum(lowest_together(found, confidence), estimate), confidence)


def lowest_together(found: np.ndarray, confidence: float) -> np.ndarray:
    """Lower limits (g,) of draws (g, draws) above which a share `confidence` of whole draws lies everywhere."""
    count = found.shape[1]
    order = np.sort(found, axis=1)
    ranks = np.array([np.searchsorted(own, values, side="right") for own, values in zip(order, found, strict=True)])
    worst = np.sort(ranks.min(axis=0))
    tail = worst[int(np.floor((1.0 - confidence) * count))] / count
    limits: np.ndarray = np.quantile(order, min(tail, 1.0 - confidence), axis=1)
    return limits


def _new_specimen(level: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Chance averaged over a normal specimen effect."""
    total = np.zeros(level.shape)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        total += weight * expit(level - spread * node)
    return total


def _basis(rows: np.ndarray) -> np.ndarray:
    """Orthonormal columns (g, q) that span what the settings change."""
    left, size, _ = np.linalg.svd(rows, full_matrices=False)
    return np.asarray(left[:, size > 1e-9 * size[0]])


def _draws(
    maps: Sequence[EdgeMap], basis: np.ndarray, roots: Mapping[str, np.ndarray], draws: int, seed: int
) -> tuple[list[np.ndarray], list[dict[str, np.ndarray]], np.ndarray]:
    """Means (g, draws) and variances of every response, their errors correlated as the effects are; and spare normals.

    As in `chance_of_all`: mean squares of two responses correlate like the squared correlation of their effects.
    """
    m, q, layers = len(maps), basis.shape[1], max(len(each.first.squares) for each in maps)
    points = even_normals(m * (layers + q) + 1, draws, seed).T
    raw, z = points[: m * layers].reshape(layers, m, -1), points[m * layers : -1].reshape(q, m, -1)
    turned = np.einsum("ij,qjd->iqd", roots["specimen"], z)
    common = {level: square_root((root @ root.T) ** 2, m, level) for level, root in roots.items()}
    means, found = [], []
    for i, each in enumerate(maps):
        rows = []
        for j, s in enumerate(each.first.squares):
            layer = layer_of(s.name)
            root = common["coupon" if layer == "coupon" else "specimen"]
            rows.append(chi_squares(s.df, raw[j, i] if layer == "reading" else root[i] @ raw[j]))
        drawn = draw(each.first.squares, np.vstack(rows))
        means.append(each.means[:, None] - _errors(each, basis, drawn, turned[i]))
        found.append(floor(drawn))
    return means, found, points[-1]


def _errors(each: EdgeMap, basis: np.ndarray, drawn: Mapping[str, np.ndarray], z: np.ndarray) -> np.ndarray:
    """Errors (g, draws) of the means, from normals z (q, draws) and the variances of the same draws."""
    known = variances(each.first.squares)
    parts = {name: basis.T @ part for name, part in _loadings(each).items() if name in known}
    names = list(parts)
    inner = np.array([parts[name] @ parts[name].T for name in names])
    size, turn = np.linalg.eigh(np.einsum("nd,nqr->dqr", np.array([drawn[name] for name in names]), inner))
    root = np.einsum("dqe,de,dre->dqr", turn, np.sqrt(np.maximum(size, 0.0)), turn)
    estimated = np.einsum("n,nqr->qr", np.array([max(float(known[name]), 0.0) for name in names]), inner)
    plain = np.sqrt(np.einsum("gq,qr,gr->g", basis, estimated, basis))
    stretch = np.divide(each.errors, plain, out=np.ones_like(plain), where=plain > 0)
    return np.asarray(stretch[:, None] * (basis @ np.einsum("dqr,rd->qd", root, z)))


def _loadings(each: EdgeMap) -> dict[str, np.ndarray]:
    """For every variance, how much each of its effects enters the means: (g, effects)."""
    weights = each.layers.mean_weights
    found = {name: np.asarray((member.T @ weights) @ each.rows.T).T for name, member in each.layers.members.items()}
    return found | {name: each.rows @ weights[at].T for name, at in each.layers.reading_rows.items()}


def _all_met(
    maps: Sequence[EdgeMap],
    roots: Mapping[str, np.ndarray],
    means: Sequence[np.ndarray],
    spreads: list[dict[str, np.ndarray]],
    seed: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Chance that all rules hold: per setting and draw (g, draws), and at the estimates (g,)."""
    plain = [floor(variances(each.first.squares)) for each in maps]
    if len(maps) == 1:
        (each,) = maps
        return _met(each, means[0], spreads[0]), _met(each, each.means, plain[0])
    edges, rules = tuple(each.first for each in maps), tuple(each.rule for each in maps)
    m = len(maps)
    points = even_normals(2 * m, JOINT_POINTS, seed + 1)
    upper, lower = points[:, :m] @ roots["specimen"].T, points[:, m:] @ roots["coupon"].T
    found = [
        joint_chance(edges, rules, [mean[g] for mean in means], spreads, upper, lower) for g in range(len(means[0]))
    ]
    points = even_normals(2 * m, 4 * JOINT_POINTS, seed + 1)
    upper, lower = points[:, :m] @ roots["specimen"].T, points[:, m:] @ roots["coupon"].T
    estimate = joint_chance(edges, rules, [each.means for each in maps], plain, upper, lower)
    return np.array(found), estimate


def _met(each: EdgeMap, means: np.ndarray, found: Mapping[str, np.ndarray]) -> np.ndarray:
    between = sum((found[name] for name in each.first.between.values()), np.zeros(()))
    return edge_chance(means, np.sqrt(between), np.sqrt(found[each.first.reading]), each.rule)
