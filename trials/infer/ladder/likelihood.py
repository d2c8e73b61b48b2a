"""Interval-censored normal likelihood in coordinates where it is concave.

With delta = coefficients / scale, gamma = 1 / scale, a row between `low` and `high` adds

    log(Phi(gamma high - x'delta) - Phi(gamma low - x'delta)),

the log of a normal measure of an interval, concave in (delta, gamma). A group effect of standard deviation rho scales
shifts both ends by rho z and is integrated over z by the trapezoid rule on a fixed grid, whose error falls faster than
any power of its step for analytic integrands; for a given rho the integral is again concave (Prekopa 1973, Acta Sci.
Math. 34). A profile holds one linear combination of delta and gamma.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import log_ndtr

from trials.infer.likelihood.climb import Summit, climb
from trials.infer.likelihood.recession import Recession, nothing_separates, recession

Z_END, Z_STEP = 7.0, 0.1  # the grid of the group effect, in its standard deviations; halved as rho doubles past 5
RHO_START, RHO_LARGEST, RHO_PER_STEP = 0.7, 40.0, 5.0
OTHER_STARTS = (0.3, 1.0, 3.0, 10.0)
FLAT = 1e-7  # smallest curvature, relative to the rows, that counts as a summit
LOG_ROOT_2PI = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Ladders:
    """Rows of the likelihood.

    Attributes:
        upper, lower: (n, k + 1) rows u, l with ends u @ phi and l @ phi, phi = (delta, gamma).
        upper_open, lower_open: (n,) True where that end is infinite.
        starts: (g,) first row of each group, rows sorted by group, or None without a group effect.
    """

    upper: np.ndarray
    lower: np.ndarray
    upper_open: np.ndarray
    lower_open: np.ndarray
    starts: np.ndarray | None = None

    def ends(self, phi: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Upper and lower end of every row (n,)."""
        return (
            np.where(self.upper_open, np.inf, self.upper @ phi),
            np.where(self.lower_open, -np.inf, self.lower @ phi),
        )


@dataclass(frozen=True)
class Held:
    """A profile: row (k + 1,) @ phi = value * sqrt(1 + rho**2)."""

    row: np.ndarray
    value: float = 0.0


@dataclass(frozen=True)
class LadderTop:
    """Supremum of the likelihood.

    Attributes:
        phi: (k + 1,) its finite point; parts along the cone's span are zero.
        rho: group standard deviation over scale, 0 without a group effect.
        height: the supremum.
        information: (r [+ 1], r [+ 1]) in the coordinates of cone.basis, then rho.
        cone: which parameters run to infinity.
        converged: the climb ended at a summit.
    """

    phi: np.ndarray
    rho: float
    height: float
    information: np.ndarray
    cone: Recession
    converged: bool


def maximise(
    ladders: Ladders,
    start: np.ndarray,
    held: Held | None = None,
    rho: float = RHO_START,
    cone: Recession | None = None,
) -> LadderTop:
    """Supremum over all phi (and rho), or over those that `held` allows, from a start with gamma > 0.

    Where the cone is not known the climb goes first, and the linear programmes, which are slow, only where it ends on
    flat ground.
    """
    n, p = ladders.upper.shape
    if cone is None:
        top = _best_climb(ladders, nothing_separates(2 * n, p), start, held, rho)
        if top.converged and _curved(ladders, top, held):
            return top
        cone = recession(constraints(ladders), None if held is None else held.row[None, :])
    limit = replace(
        ladders,
        upper_open=ladders.upper_open | cone.strict[:n],
        lower_open=ladders.lower_open | cone.strict[n:],
    )
    return _best_climb(limit, cone, start, held, rho)


def _best_climb(ladders: Ladders, cone: Recession, start: np.ndarray, held: Held | None, rho: float) -> LadderTop:
    """A climb, with groups repeated from other group deviations until one ends at a summit."""
    top = _climb(ladders, cone, start, held, rho)
    for other in OTHER_STARTS if ladders.starts is not None else ():
        if top.converged:
            break
        again = _climb(ladders, cone, start, held, other)
        top = again if again.converged or again.height > top.height else top
    return top


def constraints(ladders: Ladders) -> np.ndarray:
    """Rows (2 n, k + 1) that must not fall along a direction under which no term of the likelihood falls."""
    return np.vstack(
        [
            np.where(ladders.upper_open[:, None], 0.0, ladders.upper),
            np.where(ladders.lower_open[:, None], 0.0, -ladders.lower),
        ]
    )


def _curved(ladders: Ladders, top: LadderTop, held: Held | None) -> bool:
    """Whether the likelihood bends down in every direction of phi that a climb was free to take."""
    rows = np.abs(constraints(ladders)).max(axis=0)
    p = len(rows)
    inner = top.information[:p, :p] / np.outer(rows, rows)
    if held is not None:
        along = held.row / rows
        inner = inner + np.outer(along, along) / float(along @ along)
    return bool(np.linalg.eigvalsh(inner)[0] > FLAT)


def _climb(ladders: Ladders, cone: Recession, start: np.ndarray, held: Held | None, rho: float) -> LadderTop:
    """Newton in the coordinates that stay finite and that `held` leaves free, then the group deviation."""
    origin, free = np.zeros(len(start)), cone.basis
    if held is not None:
        origin, free = _constrain(held, free)
    z = _inside(start, origin, free)
    if ladders.starts is None:
        top = climb(
            lambda y: plain_value(ladders, origin + free @ y),
            lambda y: free.T @ plain_slope(ladders, origin + free @ y),
            lambda y: free.T @ plain_bend(ladders, origin + free @ y) @ free,
            z,
        )
        phi, found = origin + free @ top.point, 0.0
        bend = plain_bend(ladders, phi)
    else:
        top = _climb_grouped(ladders, ladders.starts, origin, free, np.append(z, rho))
        found = abs(float(top.point[-1]))
        phi = origin * np.hypot(1.0, found) + free @ top.point[:-1]
        bend = Nodes(ladders, ladders.starts, phi, found).bend()
    return LadderTop(phi, found, top.height, -bend, cone, top.converged)


def _climb_grouped(
    ladders: Ladders, starts: np.ndarray, origin: np.ndarray, free: np.ndarray, start: np.ndarray
) -> Summit:
    """As without groups, with phi = origin * sqrt(1 + rho**2) + free @ z, so that origin carries a profile along."""
    last: dict[bytes, Nodes] = {}

    def at(y: np.ndarray) -> Nodes:
        if y.tobytes() not in last:
            last.clear()
            last[y.tobytes()] = Nodes(ladders, starts, origin * np.hypot(1.0, y[-1]) + free @ y[:-1], float(y[-1]))
        return last[y.tobytes()]

    def carry(y: np.ndarray) -> np.ndarray:
        out = np.zeros((len(origin) + 1, len(y)))
        out[:-1, :-1], out[-1, -1] = free, 1.0
        out[:-1, -1] = origin * y[-1] / np.hypot(1.0, y[-1])
        return out

    def bend(y: np.ndarray) -> np.ndarray:
        inner = carry(y).T @ at(y).bend() @ carry(y)
        inner[-1, -1] += float(at(y).slope()[:-1] @ origin) * (1.0 + y[-1] ** 2) ** -1.5
        result: np.ndarray = inner
        return result

    return climb(
        lambda y: at(y).height if abs(y[-1]) <= RHO_LARGEST else -np.inf,
        lambda y: carry(y).T @ at(y).slope(),
        bend,
        start,
        steps=60,
    )


def _constrain(held: Held, free: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Origin and basis of {free @ y: held.row @ free @ y = held.value}."""
    along = held.row @ free
    size = float(along @ along)
    if size < 1e-24:
        return np.zeros(len(free)), free
    _, _, turned = np.linalg.svd(along[None, :])
    return free @ (along * held.value / size), free @ turned[1:].T


def _inside(start: np.ndarray, origin: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Coordinates near `start` with gamma > 0 where the free space allows it."""
    z = np.linalg.lstsq(free, start - origin, rcond=None)[0] if free.shape[1] else np.zeros(0)
    gamma, lift = float((origin + free @ z)[-1]), free[-1]
    wanted = 0.1 * float(start[-1])
    if gamma >= wanted or not float(lift @ lift) > 1e-12:
        return z
    result: np.ndarray = z + lift * (wanted - gamma) / float(lift @ lift)
    return result


def log_chance(u: np.ndarray, low: np.ndarray) -> np.ndarray:
    """log(Phi(u) - Phi(low)), in the tail where it loses nothing; -inf where u <= low."""
    turn = low > 0
    a, b = np.where(turn, -low, u), np.where(turn, -u, low)
    top, bottom = log_ndtr(a), log_ndtr(b)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = top + np.log(-np.expm1(np.minimum(bottom - top, 0.0)))
    return np.where(a > b, found, -np.inf)


def _log_density(x: np.ndarray) -> np.ndarray:
    result: np.ndarray = -0.5 * x * x - LOG_ROOT_2PI
    return result


def _slopes(u: np.ndarray, low: np.ndarray, log_p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of `log_chance` by its two ends."""
    return np.exp(_log_density(u) - log_p), -np.exp(_log_density(low) - log_p)


def plain_value(ladders: Ladders, phi: np.ndarray) -> float:
    """Log-likelihood without a group effect."""
    return float(log_chance(*ladders.ends(phi)).sum())


def plain_slope(ladders: Ladders, phi: np.ndarray) -> np.ndarray:
    """Gradient (k + 1,) without a group effect."""
    u, low = ladders.ends(phi)
    by_u, by_low = _slopes(u, low, log_chance(u, low))
    result: np.ndarray = ladders.upper.T @ by_u + ladders.lower.T @ by_low
    return result


def plain_bend(ladders: Ladders, phi: np.ndarray) -> np.ndarray:
    """Second derivatives (k + 1, k + 1) without a group effect."""
    u, low = ladders.ends(phi)
    by_u, by_low = _slopes(u, low, log_chance(u, low))
    uu = -by_u * (by_u + np.where(np.isfinite(u), u, 0.0))
    ll = -by_low * (by_low + np.where(np.isfinite(low), low, 0.0))
    cross = -(ladders.upper.T * (by_u * by_low)) @ ladders.lower
    result: np.ndarray = (
        (ladders.upper.T * uu) @ ladders.upper + (ladders.lower.T * ll) @ ladders.lower + cross + cross.T
    )
    return result


def _grid(rho: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of the group effect and their log weights, fine enough for `rho`."""
    halved = max(0, int(np.ceil(np.log2(max(abs(rho), 1e-9) / RHO_PER_STEP))))
    step = Z_STEP / 2**halved
    z = step * np.arange(-round(Z_END / step), round(Z_END / step) + 1)
    return z, _log_density(z) + np.log(step)


class Nodes:
    """The likelihood with the group effect integrated out, at one phi and rho: height, slope, bend."""

    def __init__(self, ladders: Ladders, starts: np.ndarray, phi: np.ndarray, rho: float) -> None:
        """Chances of every row (n, q) and weights of every group (g, q) at the nodes."""
        self.ladders, self.starts = ladders, starts
        self.z, log_weights = _grid(rho)
        self.u, self.low = (end[:, None] - rho * self.z for end in ladders.ends(phi))
        self.log_p = log_chance(self.u, self.low)
        inner = np.add.reduceat(self.log_p, self.starts, axis=0) + log_weights
        peak = inner.max(axis=1, keepdims=True)
        share = np.exp(inner - np.where(np.isfinite(peak), peak, 0.0))
        total = share.sum(axis=1, keepdims=True)
        with np.errstate(divide="ignore"):
            self.height = float((peak + np.log(total)).sum())
        self.share = share / np.where(total > 0, total, 1.0)

    @cached_property
    def _by_ends(self) -> tuple[np.ndarray, np.ndarray]:
        return _slopes(self.u, self.low, np.where(np.isfinite(self.log_p), self.log_p, np.inf))

    @cached_property
    def _each(self) -> np.ndarray:
        """Gradient (g, q, k + 2) of each group's log chance at each node."""
        by_u, by_low = self._by_ends
        upper, lower = self.ladders.upper, self.ladders.lower
        rows = np.empty((*by_u.shape, upper.shape[1] + 1))
        rows[:, :, :-1] = by_u[:, :, None] * upper[:, None, :] + by_low[:, :, None] * lower[:, None, :]
        rows[:, :, -1] = -self.z * (by_u + by_low)
        return np.add.reduceat(rows, self.starts, axis=0)

    @cached_property
    def _means(self) -> np.ndarray:
        """Gradient (g, k + 2) of each group's part."""
        result: np.ndarray = (self.share[:, None, :] @ self._each)[:, 0, :]
        return result

    def slope(self) -> np.ndarray:
        """Gradient (k + 2,) by phi and rho."""
        result: np.ndarray = self._means.sum(axis=0)
        return result

    def bend(self) -> np.ndarray:
        """Second derivatives (k + 2, k + 2) by phi and rho (Louis 1982, JRSS B 44)."""
        by_u, by_low = self._by_ends
        share = np.repeat(self.share, np.diff(np.append(self.starts, len(by_u))), axis=0)
        upper, lower = self.ladders.upper, self.ladders.lower
        out = _bend_part(-share * by_u * (by_u + np.where(np.isfinite(self.u), self.u, 0.0)), upper, upper, self.z)
        out += _bend_part(
            -share * by_low * (by_low + np.where(np.isfinite(self.low), self.low, 0.0)), lower, lower, self.z
        )
        cross = _bend_part(-share * by_u * by_low, upper, lower, self.z)
        flat = self._each.reshape(-1, out.shape[0])
        spread = (flat.T * self.share.ravel()) @ flat - self._means.T @ self._means
        result: np.ndarray = out + cross + cross.T + spread
        return result


def _bend_part(weight: np.ndarray, left: np.ndarray, right: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Sum over rows and nodes of weight (n, q) times (left, -z)(right, -z)'."""
    along, across = weight.sum(axis=1), weight @ -z
    return np.block(
        [
            [(left.T * along) @ right, (left.T @ across)[:, None]],
            [(across @ right)[None, :], np.array([[float(weight.sum(axis=0) @ z**2)]])],
        ]
    )
