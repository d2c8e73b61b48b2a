"""Ordered and yes/no outcomes: cumulative-logit model with an optional group effect.

P(grade <= j) = logistic(threshold_j - fixed @ coefficients - group effect), as in McCullagh (1980), JRSS B 42, and
with a normal group effect as in Hedeker and Gibbons (1994), Biometrics 50.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import chdtrc, chdtri

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.ordinal.maximum import SD_LARGEST, Problem, Solution, maximise, quadrature, row_pulls
from trials.infer.ordinal.rows import build_rows

NEAR_ENOUGH = 1e-5  # step of a limit at which it ends; the step itself is taken, so what is left is its square
PENALTY = (
    "prior coupons: as many as there are coefficients plus one, spread evenly over the settings with the grades in "
    "their overall shares; with a group effect also a half-normal weight on its sd, 3 logits wide"
)
PRIOR_GROUP_SD = 3.0


@dataclass(frozen=True)
class Penalised:
    """Finite estimates under the weak prior named in `PENALTY`; for chances only.

    Attributes:
        thresholds: (J - 1,); coefficients: (k,); group_sd: logits, 0 without a group effect.
        covariance: (J - 1 + k, J - 1 + k) thresholds, then coefficients.
    """

    thresholds: np.ndarray
    coefficients: np.ndarray
    group_sd: float
    covariance: np.ndarray


@dataclass(frozen=True, eq=False)
class OrdinalFit:
    """Result of `fit_ordinal`.

    Attributes:
        categories: (J,) the grades that occurred, ascending.
        coefficients: (k,) +inf or -inf where separated.
        thresholds: (J - 1,) likewise.
        log_likelihood: its supremum.
        covariance: (J - 1 + k, J - 1 + k) of thresholds, then coefficients, from the observed information; a
            parameter without a finite estimate has variance inf and covariances NaN.
        group_sd: standard deviation of the group effect in logits, 0 without one.
        group_sd_open: True where the likelihood still rises at a group sd near 10 logits, the largest tried, or has
            no summit above 3 (groups that are always the same); shuffle the specimens instead.
        separated: True where some coefficient or threshold has no finite estimate.
        penalised: coefficients (k,), always finite, under the prior named in `penalty`; for chances only.
        penalised_full: thresholds, group sd and covariance that belong to them.
        penalty: what the prior is, in words.
        converged: the climb ended at a summit.
    """

    categories: np.ndarray
    coefficients: np.ndarray
    thresholds: np.ndarray
    log_likelihood: float
    covariance: np.ndarray
    group_sd: float
    group_sd_open: bool
    separated: bool
    penalised: np.ndarray
    penalised_full: Penalised
    penalty: str
    converged: bool
    _data: _Data = field(repr=False)
    _problem: Problem = field(repr=False)
    _solution: Solution = field(repr=False)

    @property
    def n_groups(self) -> int:
        """Number of groups with an effect of their own; 0 without a group effect."""
        return 0 if self._data.starts is None else len(self._data.starts)

    def profile(self, i: int, confidence: float = 0.95) -> tuple[float, float]:
        """Profile-likelihood interval of coefficient i, infinite where the likelihood has no bound.

        Raises
        ------
        WrongArgument
            If i is not the number of a coefficient, or confidence is not inside (0, 1).
        """
        _check_coefficient(i, len(self.coefficients), confidence)
        return _profile(self, i, 0.5 * float(chdtri(1, 1.0 - confidence)))


@dataclass(frozen=True)
class _Data:
    """Sorted inputs: category codes (n,), fixed (n, k) scaled to at most 1, the scale (k,), start of each group."""

    codes: np.ndarray
    fixed: np.ndarray
    scale: np.ndarray
    starts: np.ndarray | None


def fit_ordinal(
    grades: np.ndarray, fixed: np.ndarray, group: np.ndarray | None = None, quadrature_points: int = 10
) -> OrdinalFit:
    """Fit the cumulative-logit model by maximum likelihood.

    Args:
        grades: (n,) grades, any ascending numbers; grades that never occur are left out.
        fixed: (n, k) columns without a constant one; k may be 0.
        group: (n,) labels of the group effect (a specimen), or None.
        quadrature_points: nodes of the adaptive Gauss-Hermite quadrature.

    Raises
    ------
    NotFinite
        If a grade or a column holds NaN or infinity.
    WrongShape
        If the arrays do not fit together.
    WrongArgument
        If there is no quadrature point.
    NotIdentifiable
        If all grades are equal; the columns depend on each other or on the constant; there is one group, one row per
        group, or the columns already tell every group apart.
    """
    grades = np.asarray(grades, dtype=float)
    if grades.ndim != 1 or not len(grades):
        raise WrongShape("The grades must be one column with at least one row; give one grade per coupon.")
    if not np.all(np.isfinite(grades)):
        raise NotFinite("A grade is missing or infinite; leave that coupon out or record its grade.")
    fixed = _matrix(fixed, len(grades))
    if quadrature_points < 1:
        raise WrongArgument("The quadrature needs at least one point; ten is usual.")
    categories, codes = np.unique(grades, return_inverse=True)
    _check_identifiable(categories, fixed)
    scale = np.abs(fixed).max(axis=0, initial=0.0)
    data = _sorted(codes.reshape(-1), fixed / scale, scale, group)
    nodes, log_weights = quadrature(quadrature_points)
    steps = len(categories) - 1
    problem = Problem(build_rows(data.codes, data.fixed, steps), data.starts, nodes, log_weights)
    solution = maximise(problem, _start(data, steps))
    return _result(categories, data, problem, solution, _penalised(data, problem, steps))


def _result(
    categories: np.ndarray, data: _Data, problem: Problem, solution: Solution, penalised: Penalised
) -> OrdinalFit:
    """Pack a solution; parameters the cone leaves open get the sign of the penalised estimate."""
    steps = len(categories) - 1
    soft = np.concatenate([penalised.thresholds, penalised.coefficients])
    way = np.where(solution.cone.infinite == 2, np.where(soft < 0, -1, 1), solution.cone.infinite)
    units = np.concatenate([np.ones(steps), data.scale])
    theta = np.where(way == 0, solution.theta / units, np.copysign(np.inf, way))
    open_sd = solution.group_sd > 0.8 * SD_LARGEST or (not solution.converged and solution.group_sd > 3.0)
    return OrdinalFit(
        categories=categories,
        coefficients=theta[steps:],
        thresholds=theta[:steps],
        log_likelihood=solution.height,
        covariance=_covariance(solution, way) / np.outer(units, units),
        group_sd=solution.group_sd,
        group_sd_open=open_sd,
        separated=bool(way.any()),
        penalised=penalised.coefficients / data.scale,
        penalised_full=_in_units(penalised, units),
        penalty=PENALTY,
        converged=solution.converged,
        _data=data,
        _problem=problem,
        _solution=solution,
    )


def _in_units(penalised: Penalised, units: np.ndarray) -> Penalised:
    """Penalised estimates per unit of the columns as given."""
    steps = len(penalised.thresholds)
    return replace(
        penalised,
        coefficients=penalised.coefficients / units[steps:],
        covariance=penalised.covariance / np.outer(units, units),
    )


def _covariance(solution: Solution, way: np.ndarray) -> np.ndarray:
    """Inverse observed information carried back from the finite coordinates."""
    basis, r = solution.cone.basis, solution.cone.basis.shape[1]
    inner = np.linalg.pinv(solution.information, hermitian=True)[:r, :r]
    out = basis @ inner @ basis.T
    lost = way != 0
    out[lost, :] = np.nan
    out[:, lost] = np.nan
    out[lost, lost] = np.inf
    result: np.ndarray = out
    return result


def _penalised(data: _Data, problem: Problem, steps: int) -> Penalised:
    """Summit of the likelihood with prior coupons added (Clogg and others 1991, JASA 86, for the binary case)."""
    rows, counts = np.unique(data.fixed, axis=0, return_counts=True)
    shares = np.bincount(data.codes, minlength=steps + 1) / len(data.codes)
    each = (data.fixed.shape[1] + 1) * counts / counts.sum()
    codes = np.tile(np.arange(steps + 1), len(rows))
    prior = build_rows(codes, np.repeat(rows, steps + 1, axis=0), steps, weight=np.outer(each, shares).ravel())
    softened = replace(problem, prior_rows=prior, prior_sd=PRIOR_GROUP_SD)
    top = maximise(softened, _start(data, steps))
    size = len(top.theta)
    covariance = np.linalg.pinv(top.information, hermitian=True)[:size, :size]
    return Penalised(top.theta[:steps], top.theta[steps:], top.group_sd, covariance)


def proportional_odds(fit: OrdinalFit, columns: tuple[int, ...] | None = None) -> ProportionalOdds:
    """Likelihood-ratio check that the named coefficients are the same at every threshold (all of them by default).

    The wider model gives each named column one coefficient per threshold. Where that model separates, its supremum
    is used and `separated` says so; the p-value is then rough.

    Raises
    ------
    WrongArgument
        If a column number is not one of the fit's coefficients.
    NotIdentifiable
        If there are only two categories, so there is nothing to check.
    """
    k, steps = len(fit.coefficients), len(fit.thresholds)
    columns = tuple(range(k)) if columns is None else tuple(columns)
    if not columns or any(not 0 <= c < k for c in columns):
        raise WrongArgument(f"The columns to check must be numbers from 0 to {k - 1}; name at least one.")
    if steps < 2:
        raise NotIdentifiable("Only two grades occurred, so odds are proportional by definition; leave the check out.")
    rows = build_rows(fit._data.codes, fit._data.fixed, steps, by_threshold=columns)
    start = np.concatenate([_start(fit._data, steps), np.zeros(steps * len(columns) - len(columns))])
    wide = maximise(replace(fit._problem, rows=rows), start, max(fit.group_sd, 0.1), informed=False)
    statistic = max(0.0, 2.0 * (wide.height - fit.log_likelihood))
    df = (steps - 1) * len(columns)
    return ProportionalOdds(statistic, df, float(chdtrc(df, statistic)), bool(wide.cone.strict.any()))


@dataclass(frozen=True)
class ProportionalOdds:
    """Likelihood-ratio statistic, its degrees of freedom, p, and whether the wider model separates."""

    statistic: float
    df: int
    p: float
    separated: bool


def _profile(fit: OrdinalFit, i: int, drop: float) -> tuple[float, float]:
    """Both limits of coefficient i: where the profile lies `drop` under the supremum."""
    column = len(fit.thresholds) + i
    open_ways = {0: (), 1: (1,), -1: (-1,), 2: (1, -1)}[int(fit._solution.cone.infinite[column])]
    at = _along(fit, column)
    finite, unit = np.isfinite(fit.coefficients[i]), fit._data.scale[i]
    inside = (
        float(fit.coefficients[i] * unit) if finite else _inside(at, drop, float(fit.penalised[i] * unit), open_ways)
    )
    variance = float(fit.covariance[column, column])  # not above zero where the fit did not converge
    spread = math.sqrt(variance) * unit if finite and variance > 0 else 1.0
    low = -np.inf if -1 in open_ways else _limit(at, drop, inside, -2.0 * spread)
    high = np.inf if 1 in open_ways else _limit(at, drop, inside, 2.0 * spread)
    return low / unit, high / unit


def _along(fit: OrdinalFit, column: int) -> Callable[[float], tuple[float, float]]:
    """Depth of the profile of one parameter under the supremum, and its slope, at a value of that parameter.

    Each climb starts where the last one ended. The slope is that of the likelihood by the parameter held: at a
    summit over the others nothing else moves.
    """
    rows = fit._problem.rows
    last: Solution | None = None

    def at(value: float) -> tuple[float, float]:
        nonlocal last
        held = fit._problem.hold(column, value)
        if last is None:
            start = np.delete(_start(fit._data, len(fit.thresholds)), column)
            last = maximise(held, start, max(fit.group_sd, 0.1), informed=False)
        else:
            last = maximise(held, last.theta, max(last.group_sd, 0.1), last.cone, informed=False)
        up, low = row_pulls(last, held)
        slope = rows.upper[:, column] @ up + rows.lower[:, column] @ low
        return max(fit.log_likelihood - last.height, 0.0), -float(slope)

    return at


def _inside(at: Callable[[float], tuple[float, float]], drop: float, start: float, open_ways: tuple[int, ...]) -> float:
    """A value whose profile lies inside the interval, walking towards the infinity the likelihood prefers."""
    if len(open_ways) == 2:
        return start
    value, step = start, float(open_ways[0])
    while at(value)[0] > drop:
        value, step = value + step, 2 * step
    return value


def _limit(at: Callable[[float], tuple[float, float]], drop: float, inside: float, step: float) -> float:
    """Value outward of `inside` where the profile has fallen by `drop`.

    Newton's method on the root of the depth, which is nearly straight; outside the bracket it doubles or halves.
    """
    near, far, value = inside, np.copysign(np.inf, step), inside + step
    for _ in range(200):
        depth, fall = at(value)
        near, far = (value, far) if depth < drop else (near, value)
        ahead = 2 * depth / fall * (np.sqrt(drop / depth) - 1) if depth > 0 and fall != 0 else np.nan
        if abs(ahead) < NEAR_ENOUGH * max(1.0, abs(value)):
            return value + ahead
        if not min(near, far) < value + ahead < max(near, far) or abs(ahead) > 4 * abs(value - inside):
            ahead = (near + far) / 2 - value if np.isfinite(far) else value - inside
        value += ahead
        if abs(far - near) < 1e-12 * max(1.0, abs(value)):
            break
    return value


def _start(data: _Data, steps: int) -> np.ndarray:
    """Thresholds from the overall shares, coefficients zero."""
    below = np.cumsum(np.bincount(data.codes, minlength=steps + 1))[:-1] / len(data.codes)
    return np.concatenate([np.log(below / (1 - below)), np.zeros(data.fixed.shape[1])])


def _sorted(codes: np.ndarray, fixed: np.ndarray, scale: np.ndarray, group: np.ndarray | None) -> _Data:
    """Rows in group order, after the checks that the group effect can be told from the rest."""
    if group is None:
        return _Data(codes, fixed, scale, None)
    labels = np.asarray(group)
    if labels.shape != codes.shape:
        raise WrongShape(f"The group has {labels.size} labels for {len(codes)} grades; give one label per grade.")
    names, at = np.unique(labels.astype(str), return_inverse=True)
    at = at.reshape(-1)
    if len(names) == 1:
        raise NotIdentifiable("There is only one group, so its effect cannot be told from the level; leave it out.")
    if len(names) == len(codes):
        raise NotIdentifiable("Every group holds one grade, so its effect cannot be told from chance; leave it out.")
    base = np.column_stack([np.ones(len(codes)), fixed])
    both = np.column_stack([base, np.eye(len(names))[at]])
    if np.linalg.matrix_rank(both) == np.linalg.matrix_rank(base):
        raise NotIdentifiable(
            "The fixed columns already tell every group apart (one specimen per type?), so a group effect cannot be "
            "estimated; leave the group out and speak of these specimens only."
        )
    order = np.argsort(at, kind="stable")
    starts = np.searchsorted(at[order], np.arange(len(names)))
    return _Data(codes[order], fixed[order], scale, starts)


def _matrix(fixed: np.ndarray, rows: int) -> np.ndarray:
    """A finite (n, k) float matrix or a named error."""
    fixed = np.asarray(fixed, dtype=float)
    if fixed.ndim != 2 or len(fixed) != rows:
        raise WrongShape(
            f"The shape of the fixed columns is {fixed.shape} where ({rows}, k) is needed; give one row per coupon."
        )
    if not np.all(np.isfinite(fixed)):
        raise NotFinite(
            "There is a missing or infinite number in the fixed columns; fill the cell or leave the row out."
        )
    return fixed


def _check_identifiable(categories: np.ndarray, fixed: np.ndarray) -> None:
    """More than one grade, and columns that say different things."""
    if len(categories) == 1:
        raise NotIdentifiable(
            f"Every grade is {categories[0] + 0.0:g}, so no model can tell the settings apart; "
            "report the share as it stands."
        )
    both = np.column_stack([np.ones(len(fixed)), fixed])
    rank = np.linalg.matrix_rank(both)
    if rank < both.shape[1]:
        culprit = next(j for j in range(1, both.shape[1] + 1) if np.linalg.matrix_rank(both[:, :j]) < j) - 2
        raise NotIdentifiable(
            f"Column {culprit} of the fixed columns repeats the constant or earlier columns; leave it out."
        )


def _check_coefficient(i: int, k: int, confidence: float) -> None:
    """Refuse a number that names no coefficient and a confidence outside (0, 1)."""
    if not 0 <= i < k:
        raise WrongArgument(f"There is no coefficient {i}; choose a number from 0 to {k - 1}.")
    if not 0 < confidence < 1:
        raise WrongArgument("The confidence must lie between 0 and 1; 0.95 is usual.")
