"""The study of one measured response: terms, spread, means, comparisons and the word for each nozzle type."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trials.decide.prepare import NOZZLE, Prepared
from trials.decide.results import Comparison, Mean, Spread, TermTest
from trials.decide.wording import setting_words, spread_words
from trials.errors import NotIdentifiable
from trials.infer.answer import Levels, answer
from trials.infer.means import Interval, differences, effect_size, mean_row, means, pairwise
from trials.infer.means.marginal import Settings
from trials.infer.mixed import MixedFit
from trials.infer.strata import strata_tests
from trials.trial import Level, Trial

Array = NDArray[np.float64]
NO_REPLICATION = "nothing above the coupon was repeated, so the word stays open"


@dataclass(frozen=True)
class Place:
    """Where nozzle types are compared: the settings averaged over, and their words."""

    words: str
    settings: tuple[dict[str, Level], ...]


def places(trial: Trial, allowed: Mapping[str, Sequence[tuple[Level, ...]]]) -> dict[str, Place]:
    """The two places of the design: today's settings, and the average where every type was allowed.

    allowed: planned settings of each type, as tuples in the order of the factors.
    """
    names = list(trial.factors)
    today = trial.today_settings
    found = {"today": Place(setting_words(trial, today), (dict(today),))}
    shared = [s for s in next(iter(allowed.values()), ()) if all(s in other for other in allowed.values())]
    shared = list(dict.fromkeys(shared))
    if len(shared) > 1:
        words = f"average over the {len(shared)} settings that every type was allowed"
        found["average"] = Place(words, tuple(dict(zip(names, s, strict=True)) for s in shared))
    return found


def mean_rows(ready: Prepared, place: Place) -> Array:
    """Contrast rows (types, k) of the means at a place."""
    known = {axis.name for axis in ready.model.axes}
    points: list[Settings] = [{k: v for k, v in point.items() if k in known} for point in place.settings]
    return np.array([mean_row(ready.model, ready.nozzle_axis, t, points) for t in ready.types])


def back(value: float, ready: Prepared) -> float:
    """A mean from the model's scale to the unit: the typical (median) edge on the log scale; grades stay on theirs."""
    if ready.quantity.scale == "grade":
        return min(max(value, ready.quantity.low), ready.quantity.high)
    return math.exp(value) if ready.quantity.scale == "log" else value


def term_tests(ready: Prepared, fit: MixedFit) -> tuple[TermTest, ...]:
    """Kenward-Roger test of every term, the classical strata test beside it where the trial is balanced."""
    slices = ready.model.slices()
    eye = np.eye(ready.fixed.shape[1])
    strata = _strata(ready, slices)
    found = []
    for name, part in slices.items():
        test = fit.test(eye[part])
        beside = strata.get(name)
        extra = (beside.F, beside.den_df, beside.p) if beside is not None else (None, None, None)
        bare = name == NOZZLE and not ready.structure.replicated
        p = math.nan if bare else test.p
        omega2 = effect_size(test.F, test.df, test.den_df).omega2
        found.append(TermTest(name, test.df, test.den_df, test.F, p, *((None, None, None) if bare else extra), omega2))
    return tuple(found)


def _strata(ready: Prepared, slices: Mapping[str, slice]) -> dict:
    blocks = {name: ready.fixed[:, part] for name, part in slices.items()}
    width = len(ready.model.block_levels) - 1
    if width > 0:
        blocks = {"sheet": ready.fixed[:, 1 : 1 + width], **blocks}
    try:
        return strata_tests(ready.y, blocks, ready.structure.groups).tests
    except NotIdentifiable:
        return {}


def spreads(ready: Prepared, fit: MixedFit) -> tuple[Spread, ...]:
    """Every source of spread with its share of the variance of one reading."""
    total, word = sum(fit.variances.values()), ready.structure.block_word
    return tuple(
        Spread(source, math.sqrt(v), v / total, spread_words(source, math.sqrt(v), ready.quantity, word))
        for source, v in fit.variances.items()
    )


def mean_table(ready: Prepared, fit: MixedFit, place: Place) -> tuple[Mean, ...]:
    """Typical edge of every type at a place."""
    found = means(fit, mean_rows(ready, place))
    return tuple(
        Mean(t, place.words, *(back(x, ready) for x in (m.value, m.low, m.high)))
        for t, m in zip(ready.types, found, strict=True)
    )


def compare(
    ready: Prepared, fit: MixedFit, place: Place, levels: Levels, worthwhile: float | None, primary: bool
) -> tuple[Comparison, ...]:
    """Every type against today's nozzle at a place, with the word for a primary response."""
    if ready.today is None or len(ready.types) < 2:
        return ()
    rows = mean_rows(ready, place)
    reference = ready.types.index(ready.today)
    others = [t for t in ready.types if t != ready.today]
    wide = differences(fit, rows, reference, levels.difference)
    narrow = differences(fit, rows, reference, levels.sameness)
    spread = math.sqrt(sum(fit.variances.values()))
    today_mean = back(float(rows[reference] @ fit.coefficients), ready)
    found = []
    for label, s, e in zip(others, wide, narrow, strict=True):
        word, adds = _word(ready, s, e, worthwhile) if primary else (None, None)
        bare = _comparison(ready, label, ready.today, place, s, levels.difference, word, adds, today_mean)
        times = None if worthwhile is None else abs(s.value) / worthwhile
        found.append(replace(bare, times_worthwhile=times, times_spread=abs(s.value) / spread))
    return tuple(found)


def _word(ready: Prepared, s: Interval, e: Interval, worthwhile: float | None) -> tuple:
    if not ready.structure.replicated or worthwhile is None:
        return "not settled", NO_REPLICATION if not ready.structure.replicated else None
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
    word: str | None,
    adds: str | None,
    base: float,
) -> Comparison:
    log = ready.quantity.scale == "log"
    bare = not ready.structure.replicated
    shown = [math.exp(x) if log else x for x in (found.value, found.low, found.high)]
    in_unit = tuple(base * (x - 1.0) for x in shown) if log else tuple(shown)
    return Comparison(
        nozzle=label,
        against=against,
        settings=place.words,
        kind="ratio" if log else "difference",
        value=shown[0],
        low=math.nan if bare else shown[1],
        high=math.nan if bare else shown[2],
        p=None if bare else found.p,
        answer=word,
        answer_adds=adds,
        confidence=confidence,
        in_unit=(in_unit[0], math.nan, math.nan) if bare else in_unit,
    )


def all_comparisons(ready: Prepared, fit: MixedFit, place: Place, confidence: float) -> tuple[Comparison, ...]:
    """All pairs of types (Tukey-Kramer), numbers only."""
    if len(ready.types) < 3:
        return ()
    rows = mean_rows(ready, place)
    found = pairwise(fit, rows, confidence)
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
        for (i, j), interval in found.items()
    )


def order_changes(trial: Trial, ready: Prepared, fit: MixedFit, tests: Sequence[TermTest], place: Place) -> list[str]:
    """Sentences that name where a type passes today's nozzle as a setting changes; only for products that show."""
    if ready.today is None:
        return []
    said = []
    for test in tests:
        parts = test.term.removeprefix(f"{NOZZLE} x ").split(" squared")[0]
        if not test.term.startswith(f"{NOZZLE} x ") or not test.p < 0.05 or parts not in trial.factors:
            continue
        said += _crossings(trial, ready, fit, parts, place)
    return list(dict.fromkeys(said))


def _crossings(trial: Trial, ready: Prepared, fit: MixedFit, factor: str, place: Place) -> list[str]:
    said = []
    levels = trial.factors[factor].levels
    by_level = []
    for level in levels:
        moved = Place("", tuple({**point, factor: level} for point in place.settings))
        by_level.append(mean_rows(ready, moved) @ fit.coefficients)
    table = np.array(by_level)
    reference = ready.types.index(ready.today)
    for i, label in enumerate(ready.types):
        gap = table[:, i] - table[:, reference]
        if i != reference and gap.min() < 0 < gap.max():
            low, high = levels[int(gap.argmin())], levels[int(gap.argmax())]
            unit = trial.factors[factor].unit
            said.append(
                f"The order of {label} and {ready.today} depends on {factor}: {label} is lower at {low} {unit}".rstrip()
                + f" and higher at {high} {unit}".rstrip()
                + "."
            )
    return said
