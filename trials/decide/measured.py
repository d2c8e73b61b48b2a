"""What one fitted response shows: terms, spread, means, comparisons and the word for each nozzle type."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trials.decide.judged import Fitted
from trials.decide.kinds import StudyKind
from trials.decide.prepare import NOZZLE, Prepared
from trials.decide.results import Comparison, Effect, Mean, Spread, TermTest
from trials.errors import NotIdentifiable
from trials.findings import About, Finding, Place, PlaceKind, each_once
from trials.infer.answer import Added, Answer, Levels, answer
from trials.infer.means import Interval, differences, means, pairwise, type_rows
from trials.infer.means.marginal import Settings
from trials.infer.mixed import FTest, MixedFit
from trials.infer.strata import StrataTest, strata_tests
from trials.infer.yardstick import Yardstick
from trials.trial import Level, Trial
from trials.worthwhile import Margins

Array = NDArray[np.float64]
CROSSING = 0.90  # two one-sided tests at 5 %: a type lies below at one setting and above at another


def places(trial: Trial, allowed: Mapping[str, Sequence[tuple[Level, ...]]]) -> dict[str, Place]:
    """The two places of the design: today's settings, and the average where every type was allowed.

    allowed: planned settings of each type, as tuples in the order of the factors.
    """
    units = {name: asked.unit for name, asked in trial.factors.items()}
    found = {"today": Place(PlaceKind.TODAY, (dict(trial.today_settings),), units)}
    shared = [s for s in next(iter(allowed.values()), ()) if all(s in other for other in allowed.values())]
    shared = list(dict.fromkeys(shared))
    if len(shared) > 1:
        settings = tuple(dict(zip(trial.factors, s, strict=True)) for s in shared)
        found["average"] = Place(PlaceKind.AVERAGE, settings, units)
    return found


def mean_rows(ready: Prepared, place: Place) -> Array:
    """Contrast rows (types, k) of the means at a place."""
    known = {axis.name for axis in ready.model.axes}
    points: list[Settings] = [{k: v for k, v in point.items() if k in known} for point in place.settings]
    return type_rows(ready.model, ready.nozzle_axis, ready.types, points)


def back(value: float, ready: Prepared) -> float:
    """A mean from the model's scale to the unit: the typical (median) edge on the log scale; grades stay on theirs."""
    if ready.quantity.scale == "grade":
        return min(max(value, ready.quantity.low), ready.quantity.high)
    return math.exp(value) if ready.quantity.scale == "log" else value


def term_tests(found: Fitted) -> tuple[TermTest, ...]:
    """Test of every term: the nozzle by the yardstick, the others by Kenward and Roger, the strata test beside each."""
    ready, slices = found.ready, found.ready.model.slices()
    eye = np.eye(ready.fixed.shape[1])
    strata = _strata(ready, slices)
    parts = {term.name: term.parts for term in ready.model.terms}
    tests = []
    for name, part in slices.items():
        beside = strata.get(name)
        own = _nozzle_test(found, eye[part]) if name == NOZZLE else _term_test(name, found.fit.test(eye[part]))
        if beside is not None and not (name == NOZZLE and not ready.structure.replicated):
            own = replace(own, F_classical=beside.F, den_df_classical=beside.den_df, p_classical=beside.p)
        tests.append(replace(own, parts=parts[name]))
    return tuple(tests)


def _term_test(name: str, test: FTest) -> TermTest:
    return TermTest(term=name, df=test.df, den_df=test.den_df, F=test.F, p=test.p)


def _nozzle_test(found: Fitted, contrast: Array) -> TermTest:
    """The headline test, Kenward and Roger's beside it; without a p where nothing above the coupon was repeated."""
    own = _term_test(NOZZLE, found.judged.headline.test(contrast))
    if not found.ready.structure.replicated:
        return replace(own, p=math.nan)
    beside = found.fit.test(contrast)
    return replace(own, F_kenward_roger=beside.F, den_df_kenward_roger=beside.den_df, p_kenward_roger=beside.p)


def _strata(ready: Prepared, slices: Mapping[str, slice]) -> Mapping[str, StrataTest]:
    blocks = {name: ready.fixed[:, part] for name, part in slices.items()}
    width = len(ready.model.block_levels) - 1
    if width > 0:
        blocks = {"sheet": ready.fixed[:, 1 : 1 + width], **blocks}
    try:
        return strata_tests(ready.y, blocks, ready.structure.groups).tests
    except NotIdentifiable:
        return {}


def spreads(fit: MixedFit) -> tuple[Spread, ...]:
    """Every source of spread with its share of the variance of one reading."""
    total = sum(fit.variances.values())
    return tuple(Spread(source, math.sqrt(v), v / total) for source, v in fit.variances.items())


def mean_table(ready: Prepared, fit: MixedFit, place: Place) -> tuple[Mean, ...]:
    """Typical edge of every type at a place."""
    found = means(fit, mean_rows(ready, place))
    return tuple(
        Mean(t, place, *(back(x, ready) for x in (m.value, m.low, m.high)))
        for t, m in zip(ready.types, found, strict=True)
    )


def effects(ready: Prepared, fit: MixedFit, place: Place) -> tuple[Effect, ...]:
    """What one unit more of each numeric setting does to each type at a place: the slope of the curve there.

    Half the change between one unit more and one less; exact for the curves of the model, which are of second degree.
    """
    log = ready.quantity.scale == "log"
    found = []
    for factor, asked in ready.trial.factors.items():
        if asked.is_text or factor not in {axis.name for axis in ready.model.axes}:
            continue
        ends = [_moved(place, factor, step) for step in (1.0, -1.0)]
        rows = (mean_rows(ready, ends[0]) - mean_rows(ready, ends[1])) / 2.0
        if not rows.any(axis=1).all():  # its terms could not be told apart and left the model
            continue
        for label, slope in zip(ready.types, means(fit, rows), strict=True):
            shown = [math.exp(x) if log else x for x in (slope.value, slope.low, slope.high)]
            found.append(Effect(label, factor, asked.unit, place, "ratio" if log else "difference", *shown))
    return tuple(found)


def _moved(place: Place, factor: str, step: float) -> Place:
    """A place with one setting moved."""
    points = tuple({**point, factor: float(point[factor]) + step} for point in place.settings)
    return Place(PlaceKind.STATED, points, place.units)


def compare(
    found: Fitted, place: Place, levels: Levels, worthwhile: Margins | None, primary: bool
) -> tuple[Comparison, ...]:
    """Every type against today's nozzle at a place, with the word for a primary response."""
    ready, fit, judged = found.ready, found.fit, found.judged.between
    if ready.today is None or len(ready.types) < 2:
        return ()
    rows = mean_rows(ready, place)
    reference = ready.types.index(ready.today)
    others = [t for t in ready.types if t != ready.today]
    wide = differences(judged, rows, reference, levels.difference)
    narrow = differences(judged, rows, reference, levels.sameness)
    spread = math.sqrt(sum(fit.variances.values()))
    today_mean = back(float(rows[reference] @ fit.coefficients), ready)
    compared = []
    for label, s, e in zip(others, wide, narrow, strict=True):
        word, adds = _word(ready, s, e, worthwhile) if primary else (None, None)
        bare = _comparison(ready, label, ready.today, place, s, levels.difference, word, adds, today_mean)
        times = None if worthwhile is None else _times(s.value, ready, worthwhile)
        compared.append(replace(bare, times_worthwhile=times, times_spread=abs(s.value) / spread))
    return tuple(compared)


def _times(value: float, ready: Prepared, worthwhile: Margins) -> float:
    """Size of a difference in worthwhile differences of its own side."""
    better = (value >= 0) == ready.quantity.higher_is_better
    return abs(value) / (worthwhile.better if better else worthwhile.worse)


def _word(ready: Prepared, s: Interval, e: Interval, worthwhile: Margins | None) -> tuple[Answer, Added | None]:
    if not ready.structure.replicated:
        return Answer.NOT_SETTLED, Added.NO_REPLICATION
    if worthwhile is None:
        return Answer.NOT_SETTLED, None
    return answer(_improvement(s, ready), _improvement(e, ready), worthwhile)


def _improvement(interval: Interval, ready: Prepared) -> tuple[float, float]:
    if ready.quantity.higher_is_better:
        return interval.low, interval.high
    return -interval.high, -interval.low


def _comparison(
    ready: Prepared,
    label: str,
    against: str,
    place: Place,
    found: Interval,
    confidence: float,
    word: Answer | None,
    adds: Added | None,
    base: float,
) -> Comparison:
    log = ready.quantity.scale == "log"
    bare = not ready.structure.replicated
    shown = [math.exp(x) if log else x for x in (found.value, found.low, found.high)]
    moved = [base * (x - 1.0) for x in shown] if log else shown
    return Comparison(
        nozzle=label,
        against=against,
        settings=place,
        kind="ratio" if log else "difference",
        value=shown[0],
        low=math.nan if bare else shown[1],
        high=math.nan if bare else shown[2],
        p=None if bare else found.p,
        answer=word,
        answer_adds=adds,
        confidence=confidence,
        in_unit=(moved[0], math.nan, math.nan) if bare else (moved[0], moved[1], moved[2]),
    )


def all_comparisons(found: Fitted, place: Place, confidence: float) -> tuple[Comparison, ...]:
    """All pairs of types (Tukey-Kramer), numbers only."""
    ready, fit = found.ready, found.fit
    if len(ready.types) < 3:
        return ()
    rows = mean_rows(ready, place)
    pairs = pairwise(found.judged.between, rows, confidence)
    return tuple(
        _comparison(
            ready,
            ready.types[i],
            ready.types[j],
            place,
            interval,
            confidence,
            None,
            None,
            back(float(rows[j] @ fit.coefficients), ready),
        )
        for (i, j), interval in pairs.items()
    )


def order_changes(fitted: Fitted, tests: Sequence[TermTest], place: Place) -> tuple[Finding, ...]:
    """Where a type passes today's nozzle as a setting changes, shown at both ends; only for products that show."""
    ready, today = fitted.ready, fitted.ready.today
    if today is None:
        return ()
    found: list[Finding] = []
    for test in tests:
        factors = [part for part in dict.fromkeys(test.parts) if part != NOZZLE]
        if NOZZLE in test.parts and len(factors) == 1 and test.p < 0.05:
            found += _crossings(ready, fitted.judged.between, factors[0], place, today)
    return each_once(found)


def _crossings(ready: Prepared, judged: Yardstick, factor: str, place: Place, today: str) -> list[Finding]:
    """Types shown to lie below today's at one level and above at another (Gail and Simon 1985: both must show)."""
    asked = ready.trial.factors[factor]
    tables = []
    for level in asked.levels:
        moved = Place(PlaceKind.STATED, tuple({**point, factor: level} for point in place.settings), place.units)
        tables.append(mean_rows(ready, moved))
    reference = ready.types.index(today)
    found = []
    for i, label in enumerate(ready.types):
        if i == reference:
            continue
        gaps = [judged.estimate(rows[i] - rows[reference], CROSSING) for rows in tables]
        low = min(range(len(gaps)), key=lambda k: gaps[k].value)
        high = max(range(len(gaps)), key=lambda k: gaps[k].value)
        if gaps[low].high < 0 < gaps[high].low:
            facts = {"factor": factor, "unit": asked.unit, "low_at": asked.levels[low], "high_at": asked.levels[high]}
            found.append(Finding(StudyKind.ORDER_CHANGES, About(nozzle=label, against=today), facts))
    return found
