"""Lives of nozzles and lenses: Weibull regression with right censoring, and the product-limit curve beside it.

log time = fixed @ coefficients + scale * W, W smallest extreme value; shape = 1 / scale, characteristic life =
exp(fixed @ coefficients) (Lawless 2003, Statistical Models and Methods for Lifetime Data, ch. 6).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.life.weibull import Lives, WeibullTop, check_shape_bounded, cone_of, height_of_pair, maximise

Array = NDArray[np.float64]
CHARACTERISTIC = 1.0 - float(np.exp(-1.0))


@dataclass(frozen=True)
class LifeFit:
    """Result of `fit_life`.

    Attributes:
        coefficients: (k,) log time; +inf or -inf where a group never failed.
        scale: 1 / shape.
        covariance: (k + 1, k + 1) coefficients, then log scale, from the observed information; a coefficient without
            a finite estimate has variance inf and covariances NaN.
        log_likelihood: its supremum, in the units of time given.
        failures: how many lives ended in failure.
        separated: True where some coefficient has no finite estimate.
        converged: the climb ended at a summit.
    """

    coefficients: Array
    scale: float
    covariance: Array
    log_likelihood: float
    failures: int
    separated: bool
    converged: bool
    _lives: Lives = field(repr=False)
    _top: WeibullTop = field(repr=False)

    @property
    def shape(self) -> float:
        """Weibull shape, 1 / scale."""
        return 1.0 / self.scale

    def profile(self, i: int, confidence: float = 0.95) -> tuple[float, float]:
        """Profile-likelihood interval of coefficient i (i = k: of log scale), infinite where there is no bound.

        Raises
        ------
        WrongArgument
            If i is not the number of a coefficient, or confidence is not inside (0, 1).
        """
        k = len(self.coefficients)
        if not 0 <= i <= k:
            raise WrongArgument(f"There is no coefficient {i}; choose a number from 0 to {k} ({k} is the log scale).")
        if i == k:
            return self._profile_log_scale(_drop(confidence))
        return self.profile_quantile(np.eye(k)[i], CHARACTERISTIC, confidence)

    def profile_quantile(
        self, row: Array, quantile: float = CHARACTERISTIC, confidence: float = 0.95
    ) -> tuple[float, float]:
        """Profile-likelihood interval of row @ coefficients + scale * log(-log(1 - quantile)).

        With a row of settings (k,) that is the log life by which the share `quantile` has failed; with a difference
        of two rows and the default quantile it is the log ratio of lives.

        Raises
        ------
        WrongShape
            If the row does not have k numbers.
        WrongArgument
            If quantile or confidence is not inside (0, 1).
        """
        return self.limits_at_drop(row, quantile, _drop(confidence))

    def limits_at_drop(self, row: Array, quantile: float, drop: float) -> tuple[float, float]:
        """Where the profile of `profile_quantile` lies `drop` under the supremum."""
        row, w = self._check(row, quantile)
        value, spread = self.log_life(row, quantile)
        cone = cone_of(self._lives, row)

        def above(v: float) -> float:
            return maximise(self._lives, np.append(row, -v), -w, cone).height - self.log_likelihood + drop

        return _both_limits(above, value, spread, float(row @ self._finite() + w * self.scale))

    def log_life(self, row: Array, quantile: float = CHARACTERISTIC) -> tuple[float, float]:
        """Log life (or log ratio of lives) at a row and its standard error; infinite where a group never failed.

        Raises
        ------
        WrongShape
            If the row does not have k numbers.
        WrongArgument
            If quantile is not inside (0, 1).
        """
        row, w = self._check(row, quantile)
        way = self._way(row)
        if way:
            return way * np.inf, np.inf
        basis = self._top.cone.basis
        inside = basis @ (basis.T @ row)
        g = np.append(inside, w * self.scale)
        return float(row @ self._finite() + w * self.scale), float(np.sqrt(g @ self._finite_covariance() @ g))

    def height_beside(self, other: LifeFit, quantile: float, log_ratio: float) -> float:
        """Largest joint log-likelihood of two fits of a constant, a shape for each, with the log ratio of lives held.

        The lives are those by which the share `quantile` has failed; of this fit over that of the other.
        """
        row, w = self._check(np.array([1.0]), quantile)
        (ours, se), (theirs, their_se) = self.log_life(row, quantile), other.log_life(row, quantile)
        share = se**2 / (se**2 + their_se**2)
        middle = share * theirs + (1.0 - share) * (ours - log_ratio)
        start = np.array([middle, -np.log(self.scale), -np.log(other.scale)])
        return height_of_pair((self._lives, other._lives), w, log_ratio, start)

    def _profile_log_scale(self, drop: float) -> tuple[float, float]:
        k = len(self.coefficients)
        held = np.append(np.zeros(k), 1.0)

        def above(v: float) -> float:
            return maximise(self._lives, held, float(np.exp(-v))).height - self.log_likelihood + drop

        return _both_limits(above, float(np.log(self.scale)), float(np.sqrt(self.covariance[k, k])), 0.0)

    def _check(self, row: Array, quantile: float) -> tuple[Array, float]:
        row = np.asarray(row, dtype=float)
        if row.shape != self.coefficients.shape:
            raise WrongShape(f"The row has shape {row.shape} where {self.coefficients.shape} is needed.")
        if not np.all(np.isfinite(row)):
            raise NotFinite("The row holds a missing or infinite number; give finite settings.")
        if not 0 < quantile < 1:
            raise WrongArgument("The quantile must lie between 0 and 1; 0.1 is the life that nine in ten outlast.")
        return row, 0.0 if quantile == CHARACTERISTIC else float(np.log(-np.log1p(-quantile)))

    def _way(self, row: Array) -> int:
        """0 where row @ coefficients is finite, else the sign of its infinity."""
        basis = self._top.cone.basis
        if np.linalg.norm(row - basis @ (basis.T @ row)) < 1e-8 * max(1.0, float(np.linalg.norm(row))):
            return 0
        return 1 if row @ self._top.cone.direction > 0 else -1

    def _finite(self) -> Array:
        return np.asarray(self._top.phi[:-1] / self._top.phi[-1])

    def _finite_covariance(self) -> Array:
        return _covariance(self._top)


def fit_life(time: Array, failed: Array, fixed: Array) -> LifeFit:
    """Weibull regression by maximum likelihood.

    Args:
        time: (n,) life so far, above zero, any unit (hours, metres, pierces).
        failed: (n,) 1 where the life ended in failure, 0 where it was still good (right-censored).
        fixed: (n, k) columns, the constant one included, full rank.

    Raises
    ------
    NotFinite
        If an input holds NaN or infinity.
    WrongShape
        If the arrays do not fit together.
    WrongArgument
        If a time is not above zero, or failed holds more than 0 and 1.
    NotIdentifiable
        If nothing failed; the columns depend on each other; all failures tie so that no shape fits.
    """
    lives = _lives(time, failed, fixed)
    top = maximise(lives)
    infinite = top.cone.infinite
    beta = top.phi[:-1] / top.phi[-1]
    way = np.where(infinite == 2, np.where(top.cone.direction < 0, -1, 1), infinite)
    covariance = _covariance(top)
    lost = np.append(way != 0, False)
    covariance[lost, :] = np.nan
    covariance[:, lost] = np.nan
    covariance[lost, lost] = np.inf
    return LifeFit(
        coefficients=np.where(way == 0, beta, np.copysign(np.inf, way)),
        scale=float(1.0 / top.phi[-1]),
        covariance=covariance,
        log_likelihood=top.height,
        failures=int(lives.failed.sum()),
        separated=bool(lost.any()),
        converged=top.converged,
        _lives=lives,
        _top=top,
    )


def _lives(time: Array, failed: Array, fixed: Array) -> Lives:
    """Checked inputs."""
    time, failed, fixed = (np.asarray(a, dtype=float) for a in (time, failed, fixed))
    if time.ndim != 1 or not len(time) or failed.shape != time.shape or fixed.ndim != 2 or len(fixed) != len(time):
        raise WrongShape("Times, failed marks and columns must have one row per life; check their lengths.")
    if not (np.all(np.isfinite(time)) and np.all(np.isfinite(failed)) and np.all(np.isfinite(fixed))):
        raise NotFinite("A life, a failed mark or a column is missing or infinite; fill it or leave the row out.")
    if np.any(time <= 0):
        raise WrongArgument("Every life must be above zero; leave out what never ran or record the shortest step.")
    if np.any((failed != 0) & (failed != 1)):
        raise WrongArgument("The failed mark must be 1 (failed) or 0 (still good); correct the other values.")
    if not failed.any():
        raise NotIdentifiable(
            "Nothing failed, so neither shape nor life can be estimated; state the bound for an assumed shape instead."
        )
    if fixed.shape[1] == 0 or np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise NotIdentifiable(
            "The columns depend on each other or there is none; keep the constant and drop the repeats."
        )
    lives = Lives(np.log(time), failed.astype(bool), fixed)
    check_shape_bounded(lives)
    return lives


def _covariance(top: WeibullTop) -> Array:
    """Inverse information carried from (delta, gamma) to (coefficients, log scale), finite part only."""
    k = len(top.phi) - 1
    gamma = top.phi[-1]
    jacobian = np.zeros((k + 1, k + 1))
    jacobian[:k, :k] = gamma * np.eye(k)
    jacobian[:, k] = -top.phi
    free = np.zeros((k + 1, top.cone.basis.shape[1] + 1))
    free[:k, :-1], free[k, -1] = top.cone.basis, 1.0
    inner = free.T @ jacobian.T @ top.information @ jacobian @ free
    return np.asarray(free @ np.linalg.inv(inner) @ free.T)


def _drop(confidence: float) -> float:
    """How far under the supremum the profile may lie."""
    if not 0 < confidence < 1:
        raise WrongArgument("The confidence must lie between 0 and 1; 0.95 is usual.")
    return 0.5 * float(chdtri(1, 1.0 - confidence))


def _both_limits(above: Callable[[float], float], value: float, spread: float, reference: float) -> tuple[float, float]:
    """Roots of `above` on both sides of an estimate that may be infinite on one side."""
    if np.isfinite(value):
        return _outward(above, value, -2.0 * spread), _outward(above, value, 2.0 * spread)
    way = float(np.sign(value))
    inside, step = reference, way
    while above(inside) < 0:
        inside, step = inside + step, 2 * step
    found = _outward(above, inside, -way)
    return (found, np.inf) if way > 0 else (-np.inf, found)


def _outward(above: Callable[[float], float], inside: float, step: float) -> float:
    """Root of `above` from `inside` outward; infinite if none within 1e6 log units."""
    from scipy.optimize import brentq

    near, far = inside, inside + step
    while above(far) > 0:
        near, far, step = far, far + step, 2 * step
        if abs(far) > 1e6:
            return float(np.copysign(np.inf, step))
    return float(brentq(above, min(near, far), max(near, far), xtol=1e-11, rtol=1e-13))
