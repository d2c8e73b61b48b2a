"""Ladders: the value at which a cut stops being clean, known between two steps or beyond one.

speed limit of a mount = fixed @ coefficients (+ specimen effect) + scale * standard normal; the mount's last clean step
and first unclean step bracket it (interval-censored normal regression, as in Lawless 2003, Statistical Models and
Methods for Lifetime Data, sections 3.5 and 6.3).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.ladder.likelihood import RHO_LARGEST, Held, Ladders, LadderTop, constraints, maximise
from trials.infer.likelihood.climb import climb
from trials.infer.likelihood.recession import Recession, recession
from trials.infer.mixed.groupings import Labels, numbers, read_groupings

FARTHEST = 1e6  # how many steps away a limit is looked for
LOG_RATIO_END = 20.0


@dataclass(frozen=True)
class LadderFit:
    """Result of `fit_ladder`.

    Attributes:
        coefficients: (k,) in the unit of the steps; +inf or -inf where a group never failed, or never was clean.
        scale: standard deviation of mounts (within their groups); 0 where every mount can lie on one line.
        covariance: (k + 1, k + 1) coefficients, then log scale, from the observed information; a parameter without a
            finite estimate has variance inf and covariances NaN; all of it where the scale is 0.
        log_likelihood: its supremum.
        group_sd: standard deviation of the group effect, 0 without one.
        group_sd_open: True where the likelihood still rises near forty times the scale.
        separated: True where some coefficient has no finite estimate.
        scale_zero: True where the scale is 0; the coefficients are then the middle of what is possible.
        between: mounts with both ends; above: without an unclean step; below: without a clean step.
        converged: the climb ended at a summit.
    """

    coefficients: np.ndarray
    scale: float
    covariance: np.ndarray
    log_likelihood: float
    group_sd: float
    group_sd_open: bool
    separated: bool
    scale_zero: bool
    between: int
    above: int
    below: int
    converged: bool
    _ladders: Ladders = field(repr=False)
    _top: LadderTop = field(repr=False)
    _open: Recession = field(repr=False)
    _finite: np.ndarray = field(repr=False)
    _start: np.ndarray = field(repr=False)

    @property
    def spread(self) -> float:
        """Standard deviation of a mount of a new specimen."""
        return float(np.hypot(self.scale, self.group_sd))

    def estimate(self, row: np.ndarray, deviate: float = 0.0) -> float:
        """row @ coefficients + deviate * spread; infinite where it has no finite estimate, NaN where nothing is known.

        Raises
        ------
        WrongShape
            If the row does not have k numbers.
        NotFinite
            If the row holds NaN or infinity.
        """
        row = self._row(row)
        way = self._way(row)
        return float(row @ self._finite) + deviate * self.spread if way == 0 else way * np.inf

    def height_at(self, row: np.ndarray, value: float, deviate: float = 0.0) -> float:
        """Largest log-likelihood with row @ coefficients + deviate * spread held at `value`."""
        row = self._row(row)
        return self._held(row, value, deviate, self._start, max(self._top.rho, 0.1), self._cone(row)).height

    def _held(
        self, row: np.ndarray, value: float, deviate: float, start: np.ndarray, rho: float, cone: Recession | None
    ) -> LadderTop:
        return maximise(self._ladders, start, Held(np.append(row, -value), -deviate), rho, cone)

    def _cone(self, row: np.ndarray) -> Recession | None:
        """Cone of every profile along a row, the same at all its values unless the scale is 0; None: not known."""
        if not self.separated or self.scale_zero:
            return None
        k = len(row)
        return recession(constraints(self._ladders), np.vstack([np.eye(k + 1)[k], np.append(row, 0.0)]))

    def limits_at_drop(self, row: np.ndarray, drop: float, deviate: float = 0.0) -> tuple[float, float]:
        """Where the profile of row @ coefficients + deviate * spread lies `drop` under the supremum; may be infinite.

        Raises
        ------
        WrongShape, NotFinite
            As `estimate`.
        """
        value, row = self.estimate(row, deviate), self._row(row)
        step = self._reach(row)
        start, rho, cone = self._start, max(self._top.rho, 0.1), self._cone(row)

        def above(v: float) -> float:
            nonlocal start, rho
            top = self._held(row, v, deviate, start, rho, cone)
            if top.converged and top.phi[-1] > 0 and not _loose(top.cone, len(top.phi) - 1):
                start, rho = top.phi, max(top.rho, 0.1)
            return _room(self.log_likelihood - top.height, drop)

        return both_limits(above, value, step)

    def _reach(self, row: np.ndarray) -> float:
        """How far to step along row @ coefficients: its spread, or the width of the narrowest pair of steps."""
        both = ~(self._ladders.upper_open | self._ladders.lower_open)
        widths = (self._ladders.upper - self._ladders.lower)[both, -1]
        return max(self.spread, float(widths.min()) if len(widths) else 1.0) * max(float(np.abs(row).max()), 1e-9)

    def ratio_limits_at_drop(self, above: np.ndarray, below: np.ndarray, drop: float) -> tuple[float, float]:
        """As `limits_at_drop` for the ratio of above @ coefficients to below @ coefficients, both above zero.

        Raises
        ------
        WrongShape, NotFinite
            As `estimate`.
        """
        values = np.array([self.estimate(above), self.estimate(below)])
        finite = values[np.isfinite(values)]
        start, rho = self._start, max(self._top.rho, 0.1)

        def height(v: float) -> float:
            row = self._row(above) - np.exp(np.clip(v, -LOG_RATIO_END, LOG_RATIO_END)) * self._row(below)
            return _room(self.log_likelihood - self._held(row, 0.0, 0.0, start, rho, None).height, drop)

        step = self._reach(below) / max(float(np.abs(finite).max(initial=0.0)), 1e-9) if len(finite) else 1.0
        low, high = both_limits(height, log_ratio(*values), min(step, 1.0), LOG_RATIO_END)
        return float(np.exp(low)), float(np.exp(high))

    def _row(self, row: np.ndarray) -> np.ndarray:
        row = np.asarray(row, dtype=float)
        if row.shape != self.coefficients.shape:
            raise WrongShape(f"The row has shape {row.shape} where {self.coefficients.shape} is needed.")
        if not np.all(np.isfinite(row)):
            raise NotFinite("The row holds a missing or infinite number; give finite settings.")
        return row

    def _way(self, row: np.ndarray) -> float:
        """0 where row @ coefficients is finite, else the sign of its infinity, NaN where both are as likely."""
        whole, basis = np.append(row, 0.0), self._open.basis
        if np.linalg.norm(whole - basis @ (basis.T @ whole)) < 1e-8 * max(1.0, float(np.linalg.norm(row))):
            return 0.0
        up, down = (_can_rise(self._ladders, way * whole) for way in (1.0, -1.0))
        return np.nan if up and down else 1.0 if up else -1.0


def fit_ladder(
    low: np.ndarray, high: np.ndarray, fixed: np.ndarray, groups: Mapping[str, Labels] | None = None
) -> LadderFit:
    """Interval-censored normal regression by maximum likelihood.

    Args:
        low: (n,) last clean step of each mount, m/min (or any unit); NaN where no step was clean.
        high: (n,) first unclean step, above `low`; NaN where every step was clean.
        fixed: (n, k) columns, full rank; any coding.
        groups: {"specimen": labels (n,)} for a normal effect of the specimen, or none.

    Raises
    ------
    NotFinite
        If a column holds NaN or infinity, a step is infinite, or a mount has neither step.
    WrongShape
        If the arrays do not fit together.
    WrongArgument
        If a last clean step is not below the first unclean one, or more than one grouping is given.
    NotIdentifiable
        If the columns depend on each other; a grouping has one level, one row per level, or is spanned by the columns;
        no mount lies between two steps and the mounts contradict each other.
    """
    low, high, fixed = _checked(low, high, fixed)
    order, starts = _grouping(fixed, groups or {})
    low, high, fixed = low[order], high[order], fixed[order]
    above, below = np.isnan(high), np.isnan(low)
    ladders = Ladders(
        np.column_stack([-fixed, np.where(above, 0.0, high)]),
        np.column_stack([-fixed, np.where(below, 0.0, low)]),
        above,
        below,
        starts,
    )
    start = _start(low, high, fixed)
    top = maximise(ladders, start)
    flat = _loose(top.cone, len(top.phi) - 1)
    if not _can_rise(ladders, np.eye(len(start))[-1], held=False) if flat else top.phi[-1] <= 0:
        raise NotIdentifiable(
            "No mount has both a clean and an unclean step, and the others contradict each other, so that the spread "
            "of mounts cannot be told; cut steps between."
        )
    return _result(ladders, top, start, flat)


def _result(ladders: Ladders, top: LadderTop, start: np.ndarray, flat: bool) -> LadderFit:
    """Pack a supremum; `flat`: the scale is zero."""
    k = len(start) - 1
    cone = recession(constraints(ladders), np.eye(k + 1)[k:]) if flat else top.cone
    finite = _middle(ladders, top.cone, cone) if flat else top.phi[:k] / top.phi[k]
    ways = cone.infinite[:k]
    ways = np.where(ways == 2, np.where(cone.direction[:k] < 0, -1, 1), ways)
    above, below = ladders.upper_open, ladders.lower_open
    return LadderFit(
        coefficients=np.where(ways == 0, finite, np.copysign(np.inf, ways)),
        scale=0.0 if flat else float(1.0 / top.phi[k]),
        covariance=_covariance(top, ways, flat),
        log_likelihood=top.height,
        group_sd=0.0 if flat else float(top.rho / top.phi[k]),
        group_sd_open=top.rho > 0.8 * RHO_LARGEST,
        separated=bool(np.any(ways != 0)),
        scale_zero=flat,
        between=int(np.sum(~above & ~below)),
        above=int(above.sum()),
        below=int(below.sum()),
        converged=top.converged,
        _ladders=ladders,
        _top=top,
        _open=cone,
        _finite=finite,
        _start=start,
    )


def _can_rise(ladders: Ladders, row: np.ndarray, held: bool = True) -> bool:
    """Whether row @ phi can rise for ever, gamma held or not, while no term of the likelihood falls."""
    from scipy.optimize import linprog

    rises = constraints(ladders)
    scale = np.maximum(np.abs(np.vstack([rises, row])).max(axis=0), 1e-300)
    answer = linprog(
        -row / scale,
        A_ub=-np.unique(rises / scale, axis=0),
        b_ub=np.zeros(len(np.unique(rises / scale, axis=0))),
        bounds=[(-1.0, 1.0)] * (len(row) - 1) + [(0.0, 0.0) if held else (-1.0, 1.0)],
        method="highs",
    )
    return answer.x is not None and float(answer.x @ (row / scale)) > 1e-7


def _loose(cone: Recession, j: int) -> bool:
    """Whether parameter j has no finite estimate."""
    return bool(np.linalg.norm(cone.basis[j]) < 1.0 - 1e-8)


def _middle(ladders: Ladders, cone: Recession, kept: Recession) -> np.ndarray:
    """Where a scale of zero leaves a range: the point with the largest product of distances to the steps.

    cone: of all parameters, its strict rows are steps that must not be touched and the others are met exactly; kept:
    the cone at a fixed scale, its strict rows bound nothing.
    """
    rows = constraints(ladders)
    k = rows.shape[1] - 1
    walls = rows[cone.strict & ~kept.strict]
    met = rows[~cone.strict, :k]
    _, size, turned = np.linalg.svd(met) if len(met) else (None, np.zeros(0), np.eye(k))
    free = turned[int(np.sum(size > 1e-10)) :].T
    point = cone.direction[:k] / max(float(cone.direction[k]), 1e-9)

    def gaps(z: np.ndarray) -> np.ndarray:
        result: np.ndarray = walls @ np.append(point + free @ z, 1.0)
        return result

    def value(z: np.ndarray) -> float:
        g = gaps(z)
        return float(np.log(g).sum()) if np.all(g > 0) else -np.inf

    def slope(z: np.ndarray) -> np.ndarray:
        result: np.ndarray = free.T @ walls[:, :k].T @ (1.0 / gaps(z))
        return result

    def bend(z: np.ndarray) -> np.ndarray:
        inner = walls[:, :k] @ free / gaps(z)[:, None]
        result: np.ndarray = -inner.T @ inner
        return result

    if not free.shape[1] or not len(walls):
        return point
    result: np.ndarray = point + free @ climb(value, slope, bend, np.zeros(free.shape[1])).point
    return result


def _covariance(top: LadderTop, ways: np.ndarray, flat: bool) -> np.ndarray:
    """Inverse information carried from (delta, gamma) to (coefficients, log scale), finite part only."""
    k = len(top.phi) - 1
    out = np.full((k + 1, k + 1), np.nan)
    np.fill_diagonal(out, np.inf)
    if flat:
        return out
    grouped = len(top.information) > k + 1 and top.information[-1, -1] > 0
    size = k + 2 if grouped else k + 1
    jacobian = np.eye(size)
    jacobian[:k, :k] *= top.phi[k]
    jacobian[:k, k], jacobian[k, k] = -top.phi[:k], -top.phi[k]
    lost = np.append(ways != 0, False)
    basis = top.cone.basis
    free = np.zeros((size, basis.shape[1] + size - k - 1))
    free[: k + 1, : basis.shape[1]] = basis
    free[k + 1 :, basis.shape[1] :] = np.eye(size - k - 1)
    inner = free.T @ jacobian.T @ top.information[:size, :size] @ jacobian @ free
    full = (free @ np.linalg.pinv(inner, hermitian=True) @ free.T)[: k + 1, : k + 1]
    out[np.ix_(~lost, ~lost)] = full[np.ix_(~lost, ~lost)]
    return out


def _checked(low: np.ndarray, high: np.ndarray, fixed: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Checked inputs as float arrays."""
    low, high, fixed = numbers(low, "the last clean steps"), numbers(high, "the steps"), numbers(fixed, "the columns")
    if low.ndim != 1 or not len(low) or high.shape != low.shape or fixed.ndim != 2 or len(fixed) != len(low):
        raise WrongShape("Last clean steps, first unclean steps and columns must have one row per mount.")
    if np.any(np.isinf(low)) or np.any(np.isinf(high)) or not np.all(np.isfinite(fixed)):
        raise NotFinite("A step is infinite or a column has a missing number; leave an open end empty (NaN).")
    if np.any(np.isnan(low) & np.isnan(high)):
        row = int(np.argmax(np.isnan(low) & np.isnan(high))) + 1
        raise NotFinite(f"The mount in row {row} has neither a clean nor an unclean step; leave it out.")
    if np.any(low >= high):
        row = int(np.argmax(low >= high)) + 1
        raise WrongArgument(f"In row {row} the last clean step is not below the first unclean one; correct the steps.")
    if fixed.shape[1] == 0 or np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise NotIdentifiable("The columns depend on each other or there is none; drop the repeated ones.")
    return low, high, fixed


def _grouping(fixed: np.ndarray, groups: Mapping[str, Labels]) -> tuple[np.ndarray, np.ndarray | None]:
    """Order of the rows by group and the first row of each group."""
    n = len(fixed)
    if len(groups) > 1:
        raise WrongArgument(f"A ladder fit takes one grouping, not {', '.join(map(str, groups))}; keep the specimen.")
    if not groups:
        return np.arange(n), None
    (grouping,) = read_groupings(groups, n)
    both = np.column_stack([fixed, np.eye(grouping.levels)[grouping.codes]])
    if np.linalg.matrix_rank(both) == fixed.shape[1]:
        raise NotIdentifiable(
            f"The fixed columns already tell every level of {grouping.name!r} apart (one specimen per type?), so its "
            "spread cannot be estimated; leave the grouping out."
        )
    order = np.argsort(grouping.codes, kind="stable")
    return order, np.searchsorted(grouping.codes[order], np.arange(grouping.levels))


def _start(low: np.ndarray, high: np.ndarray, fixed: np.ndarray) -> np.ndarray:
    """(delta, gamma) from least squares on the middles of the steps."""
    middle = np.where(np.isnan(low), high, np.where(np.isnan(high), low, 0.5 * (low + high)))
    beta = np.linalg.lstsq(fixed, middle, rcond=None)[0]
    both = ~np.isnan(low) & ~np.isnan(high)
    width = float(np.median((high - low)[both])) if both.any() else 0.1 * max(float(np.abs(middle).max()), 1e-9)
    scale = float(np.hypot(np.std(middle - fixed @ beta), width))
    return np.append(beta, 1.0) / scale


def _room(fall: float, drop: float) -> float:
    """How far the likelihood may still fall, on the scale of its root, which is nearly straight in the parameter."""
    return float(np.sqrt(drop) - np.sqrt(max(fall, 0.0)))


def log_ratio(above: float, below: float) -> float:
    """Log of above / below, NaN where nothing is known; a value without lower end counts as zero.

    Raises
    ------
    NotIdentifiable
        If a finite value is below zero, so that there is no ratio.
    """
    if min(above, below) < 0 and np.isfinite(min(above, below)):
        raise NotIdentifiable("A typical value below zero has no ratio; compare by difference.")
    with np.errstate(divide="ignore", invalid="ignore"):
        return float(np.log(max(above, 0.0)) - np.log(max(below, 0.0)))


def both_limits(
    above: Callable[[float], float], value: float, step: float, farthest: float = np.inf
) -> tuple[float, float]:
    """Roots of `above` on both sides of an estimate that may be infinite, looked for in growing steps.

    A limit is infinite where there is none within FARTHEST steps or beyond `farthest` on either side of zero.
    """
    end = min(FARTHEST * step, farthest)
    if np.isnan(value):
        return -np.inf, np.inf
    if np.isfinite(value):
        return _outward(above, value, -step, end), _outward(above, value, step, end)
    way = float(np.sign(value))
    inside, reach = 0.0, way * step
    while above(inside) < 0 and abs(inside) < end:
        inside, reach = inside + reach, 2 * reach
    found = _outward(above, inside, -way * step, end)
    return (found, np.inf) if way > 0 else (-np.inf, found)


def _outward(above: Callable[[float], float], inside: float, step: float, end: float) -> float:
    """Root of `above` from `inside` outward; `inside` where it falls at once, infinite if none within `end`."""
    from scipy.optimize import brentq

    near, far, reach = inside + 1e-6 * step, inside + step, step
    if above(near) <= 0:
        return inside
    while above(far) > 0:
        near, far, reach = far, far + reach, 2 * reach
        if abs(far - inside) > end:
            return float(np.copysign(np.inf, step))
    return float(brentq(above, min(near, far), max(near, far), xtol=1e-7 * abs(step), rtol=1e-12))
