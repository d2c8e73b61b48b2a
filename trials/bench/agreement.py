"""Agreement of inspectors on dross grades: weighted kappa for pairs, Fleiss' kappa and ICC for all together."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from itertools import combinations
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

from trials.bench.gauge import COVERAGE, coupons_to_see
from trials.bench.kinds import BenchKind
from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.findings import Finding

Weights = Literal["linear", "quadratic", "none"]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Kappa:
    """Agreement of two columns of grades beyond chance: 1 complete, 0 as by chance.

    se and the 95 % limits low and high are asymptotic (Fleiss, Cohen and Everitt 1969), zero wide where all agree;
    se_chance, z and p belong to the hypothesis of no agreement beyond chance.
    """

    value: float
    se: float
    low: float
    high: float
    se_chance: float
    z: float
    p: float
    coupons: int
    weights: Weights


@dataclass(frozen=True)
class Icc:
    """Intraclass correlation of one grade: inspectors and coupons random, absolute agreement, with its 95 % limits."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Agreement:
    """How inspectors agree on a grade.

    same and within_one: shares of pairs of inspectors on a coupon with the same grade, and at most one grade apart;
    between: linear weighted kappa by pair of inspectors; within: by inspector, first against repeated grade; pairs
    that cannot be told are left out. fleiss and icc: over the coupons that every inspector graded, None if fewer than
    two or all alike. grade_sd: standard deviation of grades given to one coupon.
    """

    same: float
    within_one: float
    between: dict[tuple[str, str], Kappa]
    within: dict[str, Kappa]
    fleiss: float | None
    icc: Icc | None
    grade_sd: float
    findings: tuple[Finding, ...]


def weighted_kappa(first: npt.ArrayLike, second: npt.ArrayLike, weights: Weights = "linear") -> Kappa:
    """Kappa of two columns of grades (n,), whole numbers from zero, weighted by their distance or its square.

    Raises
    ------
    NotFinite
        If a grade is NaN or infinite.
    WrongShape
        If the columns differ in length.
    WrongArgument
        If a grade is not a whole number from zero.
    NotIdentifiable
        If both columns hold one and the same grade throughout.
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    one, two = _grades(first), _grades(second)
    if one.shape != two.shape:
        raise WrongShape(f"{len(one)} grades against {len(two)}; give one of each for every coupon.")
    size = int(max(one.max(), two.max())) + 1
    table = np.zeros((size, size))
    np.add.at(table, (one, two), 1)
    if len(np.union1d(one, two)) == 1:
        raise NotIdentifiable("Every coupon has the same grade from both; grade coupons that differ.")
    with np.errstate(invalid="ignore"):
        # complete agreement has an asymptotic variance of zero, which rounding may take below it
        found = cohens_kappa(table, wt=None if weights == "none" else weights)
    value, se = float(found.kappa), math.sqrt(max(float(found.var_kappa), 0.0))
    reach = NormalDist().inv_cdf(0.975) * se
    return Kappa(
        value=value,
        se=se,
        low=value - reach,
        high=value + reach,
        se_chance=float(found.std_kappa0),
        z=float(found.z_value),
        p=float(found.pvalue_two_sided),
        coupons=len(one),
        weights=weights,
    )


def fleiss_kappa(grades: npt.ArrayLike) -> float:
    """Fleiss' kappa of grades (coupons, inspectors), whole numbers from zero, every cell filled.

    Raises
    ------
    NotFinite
        If a grade is NaN or infinite.
    WrongShape
        If the table is not at least 2 x 2.
    WrongArgument
        If a grade is not a whole number from zero.
    NotIdentifiable
        If all grades are the same.
    """
    from statsmodels.stats.inter_rater import fleiss_kappa as from_counts

    table = np.asarray(grades, dtype=float)
    _check_table(table)
    whole = _grades(table.ravel()).reshape(table.shape)
    counts = np.stack([(whole == grade).sum(axis=1) for grade in range(int(whole.max()) + 1)], axis=1)
    return float(from_counts(counts))


def intraclass_correlation(grades: npt.ArrayLike) -> Icc:
    """ICC(2,1) of Shrout and Fleiss (1979) of grades (coupons, inspectors), every cell filled.

    Raises
    ------
    NotFinite
        If a grade is NaN or infinite.
    WrongShape
        If the table is not at least 2 x 2.
    NotIdentifiable
        If all grades are the same.
    """
    import pandas as pd

    table = np.asarray(grades, dtype=float)
    _check_table(table)
    coupons, inspectors = np.indices(table.shape)
    long = pd.DataFrame({"coupon": coupons.ravel(), "inspector": inspectors.ravel(), "grade": table.ravel()})
    with warnings.catch_warnings():
        # the library uses an argument that newer pandas announces to remove
        warnings.simplefilter("ignore")
        from pingouin import intraclass_corr

        # rows come in the order of Shrout and Fleiss in every release, under names that changed
        row = intraclass_corr(long, targets="coupon", raters="inspector", ratings="grade", nan_policy="raise").iloc[1]
    low, high = row.iloc[-1]
    return Icc(float(row["ICC"]), float(low), float(high))


def agree_on_grades(
    coupon: npt.ArrayLike,
    inspector: npt.ArrayLike,
    grade: npt.ArrayLike,
    repeat: npt.ArrayLike | None = None,
    worthwhile: float = 1.0,
) -> Agreement:
    """Agreement within and between inspectors from grades (n,) by coupon, inspector and repeat (0 is the first grade).

    worthwhile: the difference in grade that the trial must see.

    Raises
    ------
    NotFinite
        If a grade is NaN or infinite.
    WrongShape
        If the columns differ in length or a grade is not a whole number from zero.
    NotIdentifiable
        If no coupon was graded twice.
    """
    grades = _grades(grade)
    coupons, people = np.asarray(coupon).astype(str), np.asarray(inspector).astype(str)
    again = np.zeros(len(grades)) if repeat is None else np.nan_to_num(np.asarray(repeat, dtype=float))
    if not coupons.shape == people.shape == again.shape == grades.shape:
        raise WrongShape("Coupons, inspectors, grades and repeats differ in length; give one of each per row.")
    firsts: dict[str, dict[str, int]] = {}
    seconds: dict[str, dict[str, int]] = {}
    for name, who, value, turn in zip(coupons, people, grades, again, strict=True):
        if turn == 0:
            firsts.setdefault(str(who), {})[str(name)] = int(value)
        else:
            seconds.setdefault(str(who), {}).setdefault(str(name), int(value))
    within = _kappas({(who, who): (firsts.get(who, {}), seconds[who]) for who in sorted(seconds)})
    pairs = {(a, b): (firsts[a], firsts[b]) for a, b in combinations(sorted(firsts), 2)}
    apart = [abs(one[c] - two[c]) for one, two in pairs.values() for c in one.keys() & two.keys()]
    complete = _complete(firsts)
    spread = _grade_sd(grades, coupons)
    return Agreement(
        same=float(np.mean(np.array(apart) == 0)) if apart else math.nan,
        within_one=float(np.mean(np.array(apart) <= 1)) if apart else math.nan,
        between=_kappas(pairs),
        within={who: kappa for (who, _), kappa in within.items()},
        fleiss=None if complete is None else fleiss_kappa(complete),
        icc=None if complete is None else intraclass_correlation(complete),
        grade_sd=spread,
        findings=_findings(apart, spread, worthwhile),
    )


def _grades(values: npt.ArrayLike) -> IntArray:
    found = np.asarray(values, dtype=float)
    if found.ndim != 1 or len(found) == 0:
        raise WrongShape(f"Grades come as one column, found shape {found.shape}; give one grade per row.")
    if not np.isfinite(found).all():
        place = int(np.argmin(np.isfinite(found))) + 1
        raise NotFinite(f"Grade {place} is not a number; leave the row out or grade the coupon again.")
    if (found < 0).any() or (found != np.floor(found)).any():
        raise WrongArgument("A grade is not a whole number from zero; correct it.")
    return found.astype(np.int64)


def _check_table(table: npt.NDArray[np.float64]) -> None:
    if not np.isfinite(table).all():
        raise NotFinite("A grade is not a number; leave the coupon out or grade it again.")
    if table.ndim != 2 or min(table.shape) < 2:
        raise WrongShape(f"Grades of shape {table.shape}; give two coupons and two inspectors or more.")
    if np.ptp(table) == 0:
        raise NotIdentifiable("Every grade is the same; grade coupons that differ.")


def _kappas(
    pairs: dict[tuple[str, str], tuple[dict[str, int], dict[str, int]]],
) -> dict[tuple[str, str], Kappa]:
    """Kappa of each pair over the coupons both graded, where it can be told."""
    found = {}
    for names, (one, two) in pairs.items():
        shared = sorted(one.keys() & two.keys())
        first, second = [one[c] for c in shared], [two[c] for c in shared]
        if len({*first, *second}) > 1:
            found[names] = weighted_kappa(first, second)
    return found


def _complete(firsts: dict[str, dict[str, int]]) -> IntArray | None:
    """Grades (coupons, inspectors) of the coupons that everybody graded, or None."""
    shared = sorted(set.intersection(*(set(found) for found in firsts.values()))) if len(firsts) > 1 else []
    table = np.array([[found[c] for found in firsts.values()] for c in shared])
    return table if len(shared) > 1 and np.ptp(table) > 0 else None


def _grade_sd(grades: IntArray, coupons: npt.NDArray[np.str_]) -> float:
    """Pooled standard deviation of the grades that one coupon received."""
    _, place, counts = np.unique(coupons, return_inverse=True, return_counts=True)
    df = int(np.sum(counts - 1))
    if df == 0:
        raise NotIdentifiable("No coupon was graded twice; have some graded again, blind.")
    means = np.bincount(place, weights=grades) / counts
    return math.sqrt(float(np.sum((grades - means[place]) ** 2)) / df)


def _findings(apart: list[int], spread: float, worthwhile: float) -> tuple[Finding, ...]:
    found = []
    if apart:
        shares = {"same": float(np.mean(np.array(apart) == 0)), "within_one": float(np.mean(np.array(apart) <= 1))}
        found.append(Finding(BenchKind.PAIRS_AGREE, facts=shares))
    n = coupons_to_see(worthwhile, COVERAGE * spread)
    if n == 1:
        return (*found, Finding(BenchKind.SEES_GRADE, facts={"worthwhile": worthwhile}))
    return (*found, Finding(BenchKind.GRADE_NEEDS_COUPONS, facts={"worthwhile": worthwhile, "coupons": n}))
