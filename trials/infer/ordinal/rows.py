"""The rows of a cumulative-logit model: each grade lies between a lower and an upper end on the logit scale.

An observation of category j contributes log(F(upper) - F(lower)) with F the logistic distribution function,
upper = threshold_j - x'beta and lower = threshold_(j-1) - x'beta. Both ends are linear in theta = (thresholds,
coefficients); the first category has no lower end, the last no upper one. Written as

    log F(u) + log F(-l) + log(1 - exp(-(u - l)))

the term is a sum of concave functions of (u, l), so without a group effect the likelihood has one summit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, log_expit


@dataclass(frozen=True)
class Rows:
    """Ends of n observations as linear functions of p parameters.

    Attributes:
        upper, lower: (n, p) rows so that an end is row @ theta + its offset.
        upper_at, lower_at: (n,) offsets.
        upper_open, lower_open: (n,) bool, True where that end is at infinity.
        weight: (n,) how often the observation counts.
    """

    upper: np.ndarray
    lower: np.ndarray
    upper_at: np.ndarray
    lower_at: np.ndarray
    upper_open: np.ndarray
    lower_open: np.ndarray
    weight: np.ndarray

    def ends(self, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Upper and lower ends (n,), +inf and -inf where open."""
        upper = np.where(self.upper_open, np.inf, self.upper @ theta + self.upper_at)
        lower = np.where(self.lower_open, -np.inf, self.lower @ theta + self.lower_at)
        return upper, lower

    def hold(self, column: int, value: float) -> Rows:
        """The same rows with parameter `column` fixed at `value` and taken out of theta."""
        return replace(
            self,
            upper=np.delete(self.upper, column, axis=1),
            lower=np.delete(self.lower, column, axis=1),
            upper_at=self.upper_at + value * self.upper[:, column],
            lower_at=self.lower_at + value * self.lower[:, column],
        )


def build_rows(
    codes: np.ndarray,
    fixed: np.ndarray,
    steps: int,
    by_threshold: tuple[int, ...] = (),
    weight: np.ndarray | None = None,
) -> Rows:
    """Rows for category codes 0 .. steps (n,) and fixed columns (n, k); theta = thresholds (steps,), coefficients.

    Columns named in `by_threshold` get one coefficient per threshold instead of a common one; those blocks of
    `steps` coefficients follow the common coefficients in the order given.
    """
    n = len(codes)
    common = [c for c in range(fixed.shape[1]) if c not in by_threshold]
    width = steps + len(common) + steps * len(by_threshold)

    def end(step: np.ndarray, present: np.ndarray) -> np.ndarray:
        out = np.zeros((n, width))
        at = np.flatnonzero(present)
        out[at, step[at]] = 1.0
        out[:, steps : steps + len(common)] = -fixed[:, common]
        for block, column in enumerate(by_threshold):
            first = steps + len(common) + block * steps
            out[at, first + step[at]] = -fixed[at, column]
        out[~present] = 0.0
        return out

    upper_open, lower_open = codes == steps, codes == 0
    zero = np.zeros(n)
    return Rows(
        upper=end(codes, ~upper_open),
        lower=end(codes - 1, ~lower_open),
        upper_at=zero,
        lower_at=zero,
        upper_open=upper_open,
        lower_open=lower_open,
        weight=np.ones(n) if weight is None else weight,
    )


def log_chance(upper: np.ndarray, lower: np.ndarray) -> np.ndarray:
    """log(F(upper) - F(lower)), -inf where the ends have crossed."""
    gap = upper - lower
    good = gap > 0
    safe = np.where(good, gap, 1.0)
    return np.where(good, log_expit(upper) + log_expit(-lower) + np.log(-np.expm1(-safe)), -np.inf)


def slopes(upper: np.ndarray, lower: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First derivatives of `log_chance` by the upper and the lower end."""
    gap = upper - lower
    tail = np.exp(-gap) / -np.expm1(-gap)
    return expit(-upper) + tail, -expit(lower) - tail


def bends(upper: np.ndarray, lower: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Second derivatives of `log_chance`: upper-upper, lower-lower, upper-lower."""
    gap = upper - lower
    cross = np.exp(-gap) / np.expm1(-gap) ** 2
    return -density(upper) - cross, -density(lower) - cross, cross


def density(x: np.ndarray) -> np.ndarray:
    """Logistic density, zero at infinity."""
    return expit(x) * expit(-x)


def density_slope(x: np.ndarray) -> np.ndarray:
    """Derivative of the logistic density, zero at infinity."""
    return density(x) * (1.0 - 2.0 * expit(x))
