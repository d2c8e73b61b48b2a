"""Bounds that hold for a stated share of edges with a stated confidence.

For a plain normal sample the factors are exact: one-sided by the noncentral t distribution (ISO 16269-6, one-sided
factors with unknown standard deviation), two-sided by integration over the sample mean (Odeh and Owen 1980), with
Howe's approximation (1969, JASA 64) beside it. With specimens, mounts and coupons the same pivotal draws as for
chances give the bound; in the one-sample case they reproduce the exact factor.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtrc, chdtri, ndtri

from trials.errors import WrongArgument
from trials.infer.chance.mean_squares import floor, variances
from trials.infer.chance.next_edge import DRAWS, NextEdge, Rule, check_rule, edge_chance, edge_draws


def one_sided_factor(n: int, coverage: float, confidence: float = 0.95) -> float:
    """Factor k so that mean + k s lies above the share `coverage` of a normal population, exact.

    Raises
    ------
    WrongArgument
        If n is under 2, or coverage or confidence is outside (0, 1).
    """
    from scipy.stats import nct

    _check(n, coverage, confidence)
    return float(nct.ppf(confidence, n - 1, ndtri(coverage) * np.sqrt(n)) / np.sqrt(n))


def two_sided_factor(n: int, coverage: float, confidence: float = 0.95) -> float:
    """Factor k so that mean -+ k s holds the share `coverage`, exact by integration over the sample mean.

    Raises
    ------
    WrongArgument
        If n is under 2, or coverage or confidence is outside (0, 1).
    """
    from scipy.optimize import brentq
    from scipy.stats import ncx2

    _check(n, coverage, confidence)
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / np.sqrt(2 * np.pi)
    # r**2 solves P(|N(x, 1)| < r) = coverage, x the standardised error of the mean.
    reach = ncx2.ppf(coverage, 1, nodes**2 / n)

    def short(k: float) -> float:
        return float(weights @ chdtrc(n - 1, (n - 1) * reach / k**2)) - confidence

    start = howe_factor(n, coverage, confidence)
    return float(brentq(short, start / 3, start * 3, xtol=1e-12))


def howe_factor(n: int, coverage: float, confidence: float = 0.95) -> float:
    """Howe's approximation to the two-sided factor.

    Raises
    ------
    WrongArgument
        If n is under 2, or coverage or confidence is outside (0, 1).
    """
    _check(n, coverage, confidence)
    z = ndtri((1 + coverage) / 2)
    return float(z * np.sqrt((n - 1) * (1 + 1 / n) / chdtri(n - 1, confidence)))


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
    _check(2, coverage, confidence)
    check_rule(edge, Rule(0.0, readings, kind, at_most), confidence)
    drawn = edge_draws(edge, draws, seed)
    way = 1.0 if at_most else -1.0
    if readings == 1 or kind == "mean":  # each draw's own limit is at hand
        mean, between, reading = drawn
        reach = way * (mean - edge.mean) + ndtri(coverage) * np.sqrt(between**2 + reading**2 / readings)
        return edge.mean + way * float(np.quantile(reach, confidence))
    found = floor(variances(edge.squares))
    spread = np.sqrt(sum(float(v) for v in found.values())) or max(abs(edge.mean), 1.0) * 1e-6

    def short(reach: float) -> float:
        rule = Rule(edge.mean + way * reach, readings, kind, at_most)
        return float(np.quantile(edge_chance(*drawn, rule), 1 - confidence)) - coverage

    from scipy.optimize import brentq

    low, high = -spread, 3 * spread
    while short(high) < 0:
        high *= 2
    while short(low) > 0:
        low *= 2
    return edge.mean + way * float(brentq(short, low, high, xtol=1e-6 * spread))


def _check(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise WrongArgument("A tolerance factor needs at least two readings; add readings.")
    if not (0 < coverage < 1 and 0 < confidence < 1):
        raise WrongArgument("Coverage and confidence must lie between 0 and 1; 0.95 is usual.")
