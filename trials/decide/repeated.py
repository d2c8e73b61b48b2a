"""The answer repeated without what was flagged, with lost coupons at the worst value, with bounds counted otherwise.

A zero on the log scale and a value beyond the instrument's range enter at their bound. A word that these or lost
coupons could change is not settled; one that flagged readings could change is said.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import pandas as pd

from trials.decide.checking import far_coupons, far_mask
from trials.decide.judged import Fitted, fitted
from trials.decide.kinds import StudyKind
from trials.decide.measured import compare
from trials.decide.prepare import NOZZLE, Prepared, beyond, with_bounds_times, with_rows, with_zeros_at, without
from trials.decide.results import Comparison
from trials.errors import TrialError
from trials.findings import Amount, Fact, Finding, Place, Weight
from trials.infer.answer import Added, Answer, Levels
from trials.worthwhile import Margins

ZERO_SHARES = {StudyKind.ZEROS_AT_A_QUARTER: 0.25, StudyKind.ZEROS_AT_DOUBLE: 2.0}
"""Of the instrument's step, where a zero counts as half of it otherwise."""
BEYOND_RANGE = {StudyKind.ABOVE_AT_DOUBLE: ("above", 2.0), StudyKind.BELOW_AT_A_QUARTER: ("below", 0.25)}
"""Readings recorded as a bound: on which side, and how many times the bound they count as when repeated."""
DECIDES: Mapping[StudyKind, Added] = {
    StudyKind.LOST_AT_WORST: Added.LOST_DECIDE,
    StudyKind.ZEROS_AT_A_QUARTER: Added.ZEROS_DECIDE,
    StudyKind.ZEROS_AT_DOUBLE: Added.ZEROS_DECIDE,
    StudyKind.ABOVE_AT_DOUBLE: Added.RANGE_DECIDES,
    StudyKind.BELOW_AT_A_QUARTER: Added.RANGE_DECIDES,
}
"""Repetitions that a word has to stand, and what is said of one that does not."""


@dataclass(frozen=True)
class Asked:
    """What types are compared by: place, levels, the worthwhile difference, and whether words are given."""

    place: Place
    levels: Levels
    worthwhile: Margins | None
    primary: bool


@dataclass(frozen=True)
class Repeated:
    """One repetition: what is said of it, and what came out; after is empty where it could not be made."""

    finding: Finding
    after: tuple[Comparison, ...]


def repeated(
    found: Fitted, asked: Asked, before: Sequence[Comparison], lost: pd.DataFrame | None = None
) -> tuple[Repeated, ...]:
    """Each repetition that these records call for; lost: coupons not severed or aborted, as the as-cut table has them.

    Lost coupons get the worst value seen over all types, with as many readings as were asked for.
    """
    if not before:
        return ()
    ready, made = found.ready, []
    far = _far(found)
    if far.any():
        made.append(
            _once(StudyKind.WITHOUT_THE_FAR, int(far.sum()), lambda: without(ready, far.to_numpy()), asked, before)
        )
    made += [_once(kind, n, make, asked, before) for kind, n, make in _bounds_elsewhere(ready)]
    if lost is not None and len(lost):
        rows = _at_worst(ready, lost)
        made.append(_once(StudyKind.LOST_AT_WORST, len(lost), lambda: with_rows(ready, rows), asked, before))
    return tuple(made)


def _bounds_elsewhere(ready: Prepared) -> list[tuple[StudyKind, int, Callable[[], Prepared]]]:
    """Repetitions with zeros and readings beyond the range elsewhere, and how many readings each moves."""
    zeros = int((ready.table["value"] <= 0).sum())
    found: list[tuple[StudyKind, int, Callable[[], Prepared]]] = []
    if ready.quantity.scale == "log" and zeros:
        found += [(kind, zeros, partial(with_zeros_at, ready, share)) for kind, share in ZERO_SHARES.items()]
    for kind, (side, times) in BEYOND_RANGE.items():
        n = int(beyond(ready, side).sum())
        if n:
            found.append((kind, n, partial(with_bounds_times, ready, side, times)))
    return found


def unsettled(before: Sequence[Comparison], again: Sequence[Repeated]) -> tuple[Comparison, ...]:
    """The comparisons, a word that does not stand a repetition in `DECIDES` being not settled."""
    return tuple(_weakened(c, again) for c in before)


def _weakened(c: Comparison, again: Sequence[Repeated]) -> Comparison:
    if c.answer in (None, Answer.NOT_SETTLED):
        return c
    for each in again:
        adds = DECIDES.get(StudyKind(each.finding.kind))
        now = next((a for a in each.after if a.nozzle == c.nozzle), None)
        if adds is not None and now is not None and now.answer != c.answer:
            return replace(c, answer=Answer.NOT_SETTLED, answer_adds=adds)
        if adds is not None and now is not None and now.answer_adds == Added.HOW_MUCH_OPEN:
            c = replace(c, answer_adds=Added.HOW_MUCH_OPEN)
    return c


def _far(found: Fitted) -> pd.Series[bool]:
    named = set(far_coupons(found.ready, found.fit).about.coupons)
    return found.ready.table["coupon"].astype(str).isin(named) | far_mask(found.ready)


def _at_worst(ready: Prepared, lost: pd.DataFrame) -> pd.DataFrame:
    """One row per reading that lost coupons did not give, at the worst value seen."""
    seen = ready.table["value"]
    worst = float(seen.min() if ready.quantity.higher_is_better else seen.max())
    once = ready.quantity.per_coupon or ready.quantity.scale == "grade"
    readings = 1 if once else ready.trial.responses[ready.name].readings
    known = lost[lost[NOZZLE].isin(ready.trial.types)]
    return pd.concat([known.assign(reading=i + 1, value=worst) for i in range(readings)], ignore_index=True)


def _once(
    kind: StudyKind, n: int, make: Callable[[], Prepared], asked: Asked, before: Sequence[Comparison]
) -> Repeated:
    try:
        ready = make()
        after = compare(fitted(ready), asked.place, asked.levels, asked.worthwhile, asked.primary)
    except TrialError as error:
        return Repeated(Finding(kind, facts={"n": n, "problem": str(error)}, weight=Weight.COULD_CHANGE), ())
    return Repeated(_beside(kind, n, before, after, ready.quantity.unit), after)


def _beside(kind: StudyKind, n: int, before: Sequence[Comparison], after: tuple[Comparison, ...], unit: str) -> Finding:
    """Facts: n readings; gone: types without a comparison now; sizes: of each type
    what it was, is, the word then and now, and half the width of its interval as it was."""
    now = {c.nozzle: c for c in after}
    gone = tuple(b.nozzle for b in before if b.nozzle not in now)
    pairs = [(b, now[b.nozzle]) for b in before if b.nozzle in now]
    sizes = tuple((b.nozzle, _size(b, unit), _size(a, unit), b.answer, a.answer, _half(b)) for b, a in pairs)
    moved = bool(gone) or any(a.answer != b.answer for b, a in pairs)
    facts: dict[str, Fact] = {"n": n, "gone": gone, "sizes": sizes, "words_change": moved}
    return Finding(kind, facts=facts, weight=Weight.COULD_CHANGE if moved else Weight.NOTHING_FOUND)


def _half(c: Comparison) -> float | None:
    return None if math.isnan(c.low) else (c.high - c.low) / 2.0


def _size(c: Comparison, unit: str) -> Amount:
    return Amount(100.0 * (c.value - 1.0), "%") if c.kind == "ratio" else Amount(c.value, unit)
