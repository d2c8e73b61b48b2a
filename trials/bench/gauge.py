"""Measurement study: how much a reading owes to the bench, and the expanded uncertainty U that grading needs.

Inspectors, coupons and repeats are random. Where each inspector measured each coupon equally often the study is
crossed, where each coupon has one inspector it is nested; both by analysis of variance. With unequal counts, or where
nobody measured a coupon twice but several inspectors did once each, the variances come from restricted likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.bench.kinds import BenchKind, Design, Source
from trials.bench.variance_likelihood import by_likelihood
from trials.bench.variance_table import Anova, Row, Spread, crossed, exact_interval, nested, one_inspector
from trials.errors import InputError, NotFinite, NotIdentifiable, WrongShape
from trials.findings import About, Finding

COVERAGE = 2.0
DRAWS = 50_000
SEED = 16610
TOTALS = (Source.REPRODUCIBILITY, Source.BENCH)
"""Sums of other components."""
ROUNDING = 1e-9
"""So near a whole number of coupons the rest is rounding, not one coupon more."""

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class GaugeStudy:
    """Result of a measurement study, in the unit of the readings.

    repeatability: same inspector, same coupon; reproducibility: between inspectors, with their interaction with the
    coupon where it can be told; bench: both together; coupon: between coupons. The sd of a total sums its parts after
    those below zero were put to zero. expanded: U at k = 2 of one reading. share_of_limit: U over the range limit;
    share_of_spread: variance of the bench over that of the trial's readings; both None where the limit or the spread
    was not given.
    """

    design: Design
    inspectors: int
    coupons: int
    readings: int
    table: tuple[Row, ...]
    spreads: tuple[Spread, ...]
    repeatability: Spread
    reproducibility: Spread | None
    bench: Spread
    coupon: Spread
    expanded: float
    share_of_limit: float | None
    share_of_spread: float | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Bias:
    """Mean of readings on a reference piece less its stated value, with a t interval and its standard uncertainty.

    beyond: further off than the readings and the certificate leave open; unit: of the readings, where it is known.
    """

    value: float
    low: float
    high: float
    standard_uncertainty: float
    readings: int
    beyond: bool
    unit: str = ""

    @property
    def finding(self) -> Finding:
        """The bias as a finding."""
        kind = BenchKind.BIAS_BEYOND if self.beyond else BenchKind.BIAS_WITHIN
        return Finding(kind, facts={"bias": self.value, "readings": self.readings, "unit": self.unit})


def measurement_study(
    values: npt.ArrayLike,
    coupon: npt.ArrayLike,
    inspector: npt.ArrayLike | None = None,
    limit: float | None = None,
    trial_sd: float | None = None,
    worthwhile: float | None = None,
    bias: Bias | None = None,
    other_standard_uncertainty: float = 0.0,
    confidence: float = 0.95,
    unit: str = "",
) -> GaugeStudy:
    """Repeatability and reproducibility from readings (n,) by coupon (n,) and inspector (n,).

    coupon: the thing measured again, a whole coupon or one place on it. limit: the range limit that readings are
    graded against; trial_sd: standard deviation of the trial's readings; worthwhile: the difference the trial must
    see; all in the unit of the readings, which the findings name if it is given. bias and other_standard_uncertainty
    (levelling, calibration) join U: 2 sqrt(bench^2 + bias^2 + other^2) + |bias value| (ISO/TS 15530-3:2004, from
    memory). Intervals: exact for repeatability, else from generalized pivotal quantities (Hamada and Weerahandi 2000,
    from memory), `DRAWS` draws with a fixed seed.

    Raises
    ------
    NotFinite
        If a reading is NaN or infinite.
    WrongShape
        If the columns differ in length.
    NotIdentifiable
        If no place was measured twice, or there is one coupon only.
    """
    y, coupons, inspectors = _columns(values, coupon, inspector)
    design, cells = _design(coupons, inspectors)
    rows: tuple[Row, ...] = ()
    if design in _BALANCED:
        anova = _BALANCED[design](y, coupons, inspectors)
        rows, spreads = anova.rows, _by_anova(anova, confidence)
    else:
        spreads = by_likelihood(y, coupons, inspectors, cells, confidence)
    by_name = {spread.source: spread for spread in spreads}
    bench = by_name[Source.BENCH]
    bias_u, bias_value = (bias.standard_uncertainty, abs(bias.value)) if bias else (0.0, 0.0)
    expanded = COVERAGE * math.sqrt(bench.sd**2 + bias_u**2 + other_standard_uncertainty**2) + bias_value
    share_of_limit = None if limit is None else expanded / limit
    share_of_spread = None if trial_sd is None else (bench.sd / trial_sd) ** 2
    return GaugeStudy(
        design=design,
        inspectors=int(inspectors.max()) + 1,
        coupons=int(coupons.max()) + 1,
        readings=len(y),
        table=rows,
        spreads=spreads,
        repeatability=by_name[Source.REPEAT],
        reproducibility=by_name.get(Source.REPRODUCIBILITY),
        bench=bench,
        coupon=by_name[Source.COUPON],
        expanded=expanded,
        share_of_limit=share_of_limit,
        share_of_spread=share_of_spread,
        findings=(
            Finding(BenchKind.READING_UNCERTAIN, facts={"expanded": expanded, "unit": unit}),
            *_doubts(design, by_name),
            *_shares(share_of_limit, share_of_spread),
            *_sight(expanded, worthwhile),
        ),
    )


def remeasured(readings: pd.DataFrame) -> tuple[FloatArray, npt.NDArray[np.str_], npt.NDArray[np.str_]]:
    """Values, places and inspectors (n,) of the places of a trial that were measured again, for `measurement_study`.

    readings: one response, columns `coupon`, `reading`, `repeat` (0 or empty is the first measurement), `value` and,
    where it was noted, `inspector`. A place is one reading on one coupon; places measured once are left out.
    Where nobody noted who measured, that counts as one more inspector.

    Raises
    ------
    NotIdentifiable
        If no place was measured again.
    """
    known = readings[readings["value"].notna()]
    place = known["coupon"].astype(str) + ", reading " + known["reading"].astype(str)
    again = place.duplicated(keep=False).to_numpy()
    if not again.any():
        raise NotIdentifiable("No reading was measured again; re-measure some coupons blind.")
    if "inspector" in known.columns:
        who = known["inspector"].astype(object).where(known["inspector"].notna(), "").astype(str)
    else:
        who = pd.Series("", index=known.index)
    return (
        known["value"].to_numpy(dtype=float)[again],
        place.to_numpy(dtype=str)[again],
        who.to_numpy(dtype=str)[again],
    )


def reference_bias(
    values: npt.ArrayLike,
    reference: float,
    reference_expanded: float = 0.0,
    confidence: float = 0.95,
    unit: str = "",
) -> Bias:
    """Bias of readings (n,) on a reference piece of stated value and expanded uncertainty (k = 2), all in one unit.

    Raises
    ------
    NotFinite
        If a reading or the reference is NaN or infinite.
    WrongShape
        If there are fewer than 2 readings.
    """
    from scipy.stats import t as student

    y = np.asarray(values, dtype=float)
    if y.ndim != 1 or len(y) < 2:
        raise WrongShape("A bias needs 2 readings or more of the reference piece; measure it again.")
    if not (np.isfinite(y).all() and math.isfinite(reference) and math.isfinite(reference_expanded)):
        raise NotFinite("A reading or the reference is not a number; correct it.")
    mean_error = float(y.std(ddof=1) / math.sqrt(len(y)))
    value = float(y.mean() - reference)
    standard = math.hypot(mean_error, reference_expanded / COVERAGE)
    reach = float(student.ppf(0.5 + confidence / 2, len(y) - 1)) * mean_error
    return Bias(
        value=value,
        low=value - reach,
        high=value + reach,
        standard_uncertainty=standard,
        readings=len(y),
        beyond=abs(value) > reach + reference_expanded,
        unit=unit,
    )


def _columns(
    values: npt.ArrayLike, coupon: npt.ArrayLike, inspector: npt.ArrayLike | None
) -> tuple[FloatArray, IntArray, IntArray]:
    y, coupons = np.asarray(values, dtype=float), np.asarray(coupon).astype(str)
    inspectors = np.full(len(coupons), "") if inspector is None else np.asarray(inspector).astype(str)
    if y.ndim != 1 or y.shape != coupons.shape or y.shape != inspectors.shape:
        raise WrongShape(
            f"{y.shape} readings, {coupons.shape} coupons and {inspectors.shape} inspectors; give one of each per row."
        )
    if not np.isfinite(y).all():
        place = int(np.argmin(np.isfinite(y))) + 1
        raise NotFinite(f"Reading {place} of the study is not a number; leave the row out or correct it.")
    return y, np.unique(coupons, return_inverse=True)[1], np.unique(inspectors, return_inverse=True)[1]


def _design(coupons: IntArray, inspectors: IntArray) -> tuple[Design, IntArray]:
    """Which study this is, and the cell (n,) of each reading: one inspector on one coupon."""
    p, o = int(coupons.max()) + 1, int(inspectors.max()) + 1
    counts = np.zeros((o, p), dtype=np.int64)
    np.add.at(counts, (inspectors, coupons), 1)
    used = counts[counts > 0]
    if p < 2:
        raise NotIdentifiable("The study has one coupon; measure two coupons or more.")
    cells = inspectors * p + coupons
    if used.max() < 2:
        if (counts > 0).sum(axis=0).max() < 2:
            raise NotIdentifiable("No coupon was measured twice; repeat some readings blind.")
        return Design.ONCE_EACH, cells
    equal = (used == used[0]).all()
    owners = (counts > 0).sum(axis=0)
    per_inspector = (counts > 0).sum(axis=1)
    if o == 1 and equal:
        return Design.ONE_INSPECTOR, cells
    if o > 1 and equal and (counts > 0).all():
        return Design.CROSSED, cells
    if o > 1 and equal and (owners == 1).all() and (per_inspector == per_inspector[0]).all() and per_inspector[0] > 1:
        return Design.NESTED, cells
    return Design.UNEQUAL_COUNTS, cells


def _by_anova(anova: Anova, confidence: float) -> tuple[Spread, ...]:
    squares = np.array([row.mean_square for row in anova.rows])
    dfs = np.array([row.df for row in anova.rows])
    pivots = squares * dfs / np.random.default_rng(SEED).chisquare(dfs, size=(DRAWS, len(dfs)))
    parts = [name for name in anova.weights if name not in TOTALS]
    floored = {name: max(float(anova.weights[name] @ squares), 0.0) for name in parts}
    between = [name for name in parts if name not in (Source.COUPON, Source.REPEAT)]
    sums = {
        Source.REPRODUCIBILITY: sum(floored[n] for n in between),
        Source.BENCH: sum(floored[n] for n in (*between, Source.REPEAT)),
    }
    out = []
    for name, weight in anova.weights.items():
        estimate = float(weight @ squares)
        low, high = np.quantile(np.maximum(pivots @ weight, 0.0), [0.5 - confidence / 2, 0.5 + confidence / 2])
        if name == Source.REPEAT:
            low, high = exact_interval(estimate, int(dfs[-1]), confidence)
        variance = sums.get(name, floored.get(name, 0.0))
        out.append(Spread(name, estimate, math.sqrt(variance), math.sqrt(low), math.sqrt(high)))
    return tuple(out)


def coupons_to_see(difference: float, expanded: float) -> int:
    """Coupons per nozzle type from which the bench alone no longer hides a difference: U sqrt(2 / n) <= difference.

    Raises
    ------
    InputError
        If the difference is not above zero.
    """
    if difference <= 0:
        raise InputError("not a difference", found=difference, allowed="above 0", do="Give the worthwhile difference.")
    return max(1, math.ceil(2 * (expanded / difference) ** 2 - ROUNDING))


def _doubts(design: Design, spreads: Mapping[Source, Spread]) -> list[Finding]:
    """What the layout of the study leaves open."""
    found = []
    if design == Design.ONE_INSPECTOR:
        found.append(Finding(BenchKind.ONE_INSPECTOR))
    if design in (Design.UNEQUAL_COUNTS, Design.ONCE_EACH):
        found.append(Finding(BenchKind.UNEQUAL_COUNTS))
    if design == Design.ONCE_EACH:
        found.append(Finding(BenchKind.NOBODY_TWICE))
    negative = [s.source for s in spreads.values() if s.estimate < 0 and s.source not in TOTALS]
    return [*found, *(Finding(BenchKind.BELOW_ZERO, About(source=name)) for name in negative)]


def _shares(of_limit: float | None, of_spread: float | None) -> list[Finding]:
    known = ((BenchKind.SHARE_OF_LIMIT, of_limit), (BenchKind.SHARE_OF_SPREAD, of_spread))
    return [Finding(kind, facts={"share": share}) for kind, share in known if share is not None]


def _sight(expanded: float, worthwhile: float | None) -> list[Finding]:
    """Whether the bench sees the worthwhile difference."""
    if worthwhile is None:
        return []
    n = coupons_to_see(worthwhile, expanded)
    if n == 1:
        return [Finding(BenchKind.SEES_WORTHWHILE)]
    return [Finding(BenchKind.NEEDS_COUPONS, facts={"coupons": n})]


_BALANCED = {Design.CROSSED: crossed, Design.NESTED: nested, Design.ONE_INSPECTOR: one_inspector}
