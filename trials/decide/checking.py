"""The checks that go with every response, each as one finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.decide.kinds import StudyKind
from trials.decide.prepare import NOZZLE, Array, Labels, Mask, Prepared, without
from trials.errors import NotIdentifiable, TrialError
from trials.findings import About, Amount, Fact, Finding, Weight
from trials.infer import checks
from trials.infer.checks import Shuffle, shuffle_test
from trials.infer.means import pairwise
from trials.infer.mixed import MixedFit
from trials.infer.mixed.groupings import RESIDUAL
from trials.infer.yardstick import YardstickDesign
from trials.responses import Scale

FARTHEST = math.log(1000.0)  # a trend that may be a thousandfold either way says nothing
MOST = 0.75  # share of the readings whose place in the order of measuring must be known for a word about it
ALERT = 0.01  # a check asks for attention below this p; there are about ten of them, so 0.05 would cry wolf


def run_checks(ready: Prepared, fit: MixedFit) -> tuple[Finding, ...]:
    """All checks that these records can carry, in a fixed order."""
    makers: dict[StudyKind, Callable[[Prepared, MixedFit], Finding | None]] = {
        StudyKind.FAR_READINGS: far_readings,
        StudyKind.FAR_COUPONS: far_coupons,
        StudyKind.CENTRING: centring,
        StudyKind.DRIFT: drift,
        StudyKind.WEAR_IN_A_MOUNT: wear,
        StudyKind.DRIFT_AT_THE_BENCH: bench_drift,
        StudyKind.SPREAD_ALONG_AN_EDGE: spread_within,
        StudyKind.SPREAD_BETWEEN_COUPONS: spread_between,
        StudyKind.CURVES: curvature,
        StudyKind.SHUFFLED_SPECIMENS: shuffled,
        StudyKind.RESIDUAL_SHAPE: shape,
        StudyKind.SCALE: scale,
        StudyKind.ZEROS: zeros,
    }
    found = [_made(kind, make, ready, fit) for kind, make in makers.items()]
    return tuple(check for check in found if check is not None)


def _made(
    kind: StudyKind, make: Callable[[Prepared, MixedFit], Finding | None], ready: Prepared, fit: MixedFit
) -> Finding | None:
    """One check; where these records cannot carry it, it says so and the answer stands."""
    try:
        return make(ready, fit)
    except TrialError as problem:
        return _not_checked(StudyKind.CHECK_NOT_MADE, {"check": kind, "problem": str(problem)})


def _check(
    kind: StudyKind, flagged: bool, facts: Mapping[str, Fact] | None = None, about: About | None = None
) -> Finding:
    return Finding(kind, about or About(), facts or {}, Weight.LOOK_AT if flagged else Weight.NOTHING_FOUND)


def _weighed(kind: StudyKind, p: float, facts: Mapping[str, Fact], none_inside: bool, about: About) -> Finding:
    """A check with its p and its interval; without an alert, one that leaves out no change is not sure."""
    weight = Weight.LOOK_AT if p < ALERT else Weight.NOTHING_FOUND if none_inside else Weight.NOT_SURE
    return Finding(kind, about, {**facts, "p": p}, weight)


def _not_checked(kind: StudyKind, facts: Mapping[str, Fact] | None = None, about: About | None = None) -> Finding:
    return Finding(kind, about or About(), facts or {}, Weight.PLAIN)


def change(value: float, ready: Prepared) -> Amount:
    """A change on the model's scale as people read it: in per cent on the log scale, else in the response's unit."""
    if ready.quantity.scale == "log":
        return Amount(100.0 * math.expm1(value), "%")
    return Amount(value, ready.quantity.unit)


def _column(ready: Prepared, name: str) -> Labels:
    return ready.table[name].to_numpy(object)


def far_mask(ready: Prepared) -> Mask:
    """Readings (n,) that stand far from the others of their coupon, or in a pair that lies far apart."""
    alone, paired = ready.far
    return alone | paired


def far_readings(ready: Prepared, fit: MixedFit) -> Finding:
    """Readings far from their neighbours: flagged, never removed.

    Facts: (coupon, reading, value) of each; of pairs that lie far apart (coupon, one value, the other).
    """
    alone, paired = ready.far
    rows = ready.table[alone]
    readings = tuple(
        (str(coupon), str(reading), Amount(float(value), ready.quantity.unit))
        for coupon, reading, value in zip(rows["coupon"], rows["reading"], rows["value"], strict=True)
    )
    both = ready.table[paired].sort_values(["coupon", "reading"], kind="stable")
    apart = both.groupby("coupon", sort=False)["value"]
    pairs: tuple[Fact, ...] = tuple(
        (str(name), *(Amount(float(value), ready.quantity.unit) for value in own)) for name, own in apart
    )
    named = (*map(str, rows["coupon"]), *(str(name) for name, _ in apart))
    facts: dict[str, Fact] = {"readings": readings, "pairs": pairs}
    return _check(StudyKind.FAR_READINGS, bool(named), facts, About(coupons=tuple(dict.fromkeys(named))))


def _coupon_residuals(ready: Prepared) -> tuple[NDArray[np.int_], Array]:
    groups = ready.structure.groups
    own = groups.get("mount", groups.get("specimen"))
    return checks.coupon_residuals(ready.y, ready.fixed, ready.coupons, own)


def far_coupons(ready: Prepared, fit: MixedFit) -> Finding:
    """Coupons far from what the model expects."""
    first, residuals = _coupon_residuals(ready)
    far = checks.far_coupons(residuals)
    names = tuple(str(name) for name in _column(ready, "coupon")[first[far]])
    return _check(StudyKind.FAR_COUPONS, bool(names), about=About(coupons=names))


def centring(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Side differences per mount: an off-centre nozzle shows on one side.

    Facts: mounts looked at, shifts found, and of each mount looked at its sides around their mean.
    """
    if "side" not in ready.table or "mount" not in ready.table:
        return None
    residuals = ready.y - ready.fixed @ fit.coefficients
    far = far_mask(ready)
    mount, coupon, side, nozzle = (_column(ready, name)[~far] for name in ("mount", "coupon", "side", NOZZLE))
    shifts = checks.side_shifts(residuals[~far], mount, coupon, side, nozzle)
    if not shifts:
        return None
    owner = dict(zip(map(str, _column(ready, "mount")), map(str, _column(ready, NOZZLE)), strict=True))
    off = [s for s in shifts if s.p < ALERT]
    named: tuple[Fact, ...] = tuple(
        (str(s.mount), owner[str(s.mount)], str(s.high_side), str(s.low_side), change(s.difference, ready)) for s in off
    )
    sides: tuple[Fact, ...] = tuple(
        (str(s.mount), owner[str(s.mount)], str(side), change(level, ready)) for s in shifts for side, level in s.levels
    )
    about = About(nozzles=tuple(dict.fromkeys(owner[str(s.mount)] for s in off)))
    return _check(StudyKind.CENTRING, bool(off), {"mounts": len(shifts), "shifts": named, "sides": sides}, about)


def off_centre(check: Finding) -> tuple[str, ...]:
    """Mounts that a centring check names."""
    shifts = check.facts.get("shifts", ())
    return tuple(str(shift[0]) for shift in shifts if isinstance(shift, tuple)) if isinstance(shifts, tuple) else ()


def sides_looked_at(check: Finding) -> tuple[tuple[str, str, str, Amount], ...]:
    """(mount, nozzle type, side, what is left there around the mean of the mount's sides) behind a centring check."""
    rows = check.facts.get("sides", ())
    found = []
    for row in rows if isinstance(rows, tuple) else ():
        assert isinstance(row, tuple) and isinstance(row[3], Amount)
        found.append((str(row[0]), str(row[1]), str(row[2]), row[3]))
    return tuple(found)


def drift(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Trend over the order of cutting: lens heating, wear of the machine, the day."""
    if "cut_order" not in ready.table or ready.table["cut_order"].isna().any():
        return None
    order = ready.table["cut_order"].to_numpy(float)
    return _trend(StudyKind.DRIFT, ready, order, float(np.ptp(order)))


def wear(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Trend over the coupons cut since the nozzle was mounted, per ten coupons."""
    if "cut_order" not in ready.table or "mount" not in ready.table or ready.table["cut_order"].isna().any():
        return None
    coupons = ready.table.drop_duplicates("coupon")
    since = coupons.groupby("mount")["cut_order"].rank() - 1
    place = dict(zip(coupons["coupon"], since, strict=True))
    return _trend(StudyKind.WEAR_IN_A_MOUNT, ready, ready.table["coupon"].map(place).to_numpy(float), 10.0)


def bench_drift(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Trend over the order of measuring: the instrument, the light, the hand; silent where that order is not known."""
    if "measured_order" not in ready.table:
        return None
    unknown = ready.table["measured_order"].isna().to_numpy(bool)
    if unknown.mean() > 1.0 - MOST:
        return None
    known = without(ready, unknown) if unknown.any() else ready
    order = known.table["measured_order"].to_numpy(float)
    return _trend(StudyKind.DRIFT_AT_THE_BENCH, known, order, float(np.ptp(order)))


def _trend(kind: StudyKind, ready: Prepared, along: Array, span: float) -> Finding | None:
    found = checks.slope(ready.y, ready.fixed, ready.structure.groups, along)
    if found is None:
        return None
    reach = max(abs(found.low), abs(found.high)) * span
    if not reach < (FARTHEST if ready.quantity.scale == "log" else math.inf):
        return _not_checked(StudyKind.TREND_NOT_KNOWN, {"check": kind})
    value, low, high = (change(x * span, ready) for x in (found.value, found.low, found.high))
    facts: dict[str, Fact] = {"value": value, "low": low, "high": high}
    return _weighed(kind, found.p, facts, found.low <= 0.0 <= found.high, About())


def _types_differ(
    kind: StudyKind, ready: Prepared, first: NDArray[np.int_], values: Array, half: float
) -> Finding | None:
    """Spread by type: the largest against the smallest with an interval for all pairs of types together.

    values (k,): log of the spread at rows first (k,).
    """
    labels = _column(ready, NOZZLE)[first]
    if len(ready.types) < 2 or len(values) < 3 * len(ready.types) or np.ptp(values) == 0:
        return None
    dummies = (labels[:, None] == np.asarray(ready.types, dtype=object)[None, :]).astype(float)
    if not dummies.any(axis=0).all():
        return None
    groups = {k: v[first] for k, v in ready.structure.groups.items() if k == ready.structure.yardstick != "coupon"}
    judged = YardstickDesign.build(dummies, groups, next(iter(groups), RESIDUAL)).fit(values)
    types = len(ready.types)
    test = judged.test(np.hstack([np.eye(types - 1), -np.ones((types - 1, 1))]))
    order = np.argsort(judged.fit.coefficients, kind="stable")
    most, least = int(order[-1]), int(order[0])
    pairs = pairwise(judged, np.eye(types), 0.95)
    found, turned = (pairs[most, least], 1.0) if most > least else (pairs[least, most], -1.0)
    ends = sorted(math.exp(half * turned * x) for x in (found.low, found.high))
    ratio = math.exp(half * turned * found.value)
    about = About(nozzle=ready.types[most], against=ready.types[least], nozzles=(ready.types[most],))
    facts: dict[str, Fact] = {"ratio": ratio, "low": ends[0], "high": ends[1]}
    return _weighed(kind, test.p, facts, ends[0] <= 1.0 <= ends[1], about)


def _of_no_spread(ready: Prepared, group: Labels) -> tuple[str, ...]:
    """Types whose readings never differ inside a group (n,), so that no ratio of spreads may be said."""
    rows = pd.DataFrame({"type": _column(ready, NOZZLE), "group": group, "value": ready.y})
    each = rows.groupby(["type", "group"])["value"].agg(["min", "max", "size"])
    several = each[each["size"] > 1]
    apart = (several["max"] - several["min"]).groupby("type").max()
    return tuple(name for name in ready.types if apart.get(name, math.inf) <= 0.0)


def _at_the_ends(ready: Prepared) -> tuple[str, ...]:
    """Types of which most grades lie at an end of the scale, where spread has no room."""
    if ready.quantity.scale != Scale.GRADE:
        return ()
    at_end = np.isin(ready.y, (ready.quantity.low, ready.quantity.high))
    share = pd.Series(at_end).groupby(_column(ready, NOZZLE)).mean()
    return tuple(name for name in ready.types if share.get(name, 0.0) > 0.5)


def _spread_not_compared(
    kind: StudyKind, ready: Prepared, same: tuple[str, ...], at_end: tuple[str, ...] = ()
) -> Finding | None:
    """That spreads of several types are not compared, since some types have none or have no room for it."""
    if len(ready.types) < 2 or not (same or at_end):
        return None
    return _not_checked(StudyKind.SPREAD_NOT_COMPARED, {"check": kind, "same": same, "at_end": at_end})


def spread_within(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Spread along one edge, by type."""
    step = ready.quantity.resolution
    if ready.quantity.scale == "log":
        step = step / max(float(np.exp(np.median(ready.y))), step)
    keep = ~far_mask(ready)
    still = _spread_not_compared(StudyKind.SPREAD_ALONG_AN_EDGE, ready, _of_no_spread(ready, _column(ready, "coupon")))
    if still is not None:
        return still
    coupon = ready.coupons if keep.all() else _column(ready, "coupon")[keep]
    first, values = checks.log_variance_within(ready.y[keep], coupon, step)
    return _types_differ(StudyKind.SPREAD_ALONG_AN_EDGE, ready, np.flatnonzero(keep)[first], values, 0.5)


def spread_between(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Spread from coupon to coupon, by type."""
    same = _of_no_spread(ready, np.zeros(len(ready.y), dtype=object))
    at_end = tuple(name for name in _at_the_ends(ready) if name not in same)
    still = _spread_not_compared(StudyKind.SPREAD_BETWEEN_COUPONS, ready, same, at_end)
    if still is not None:
        return still
    first, residuals = _coupon_residuals(ready)
    size = np.log(np.maximum(np.abs(residuals), 1e-12 + 1e-3 * np.std(residuals)))
    return _types_differ(StudyKind.SPREAD_BETWEEN_COUPONS, ready, first, size, 1.0)


def curvature(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Lack of fit against coupons repeated at the same nozzle and setting."""
    names = [NOZZLE, *(column for column in ready.columns.values() if column in ready.table)]
    cells = ready.table.groupby(names, sort=False, dropna=False).ngroup().to_numpy()
    pairs = pd.DataFrame({"cell": cells, "coupon": ready.coupons.place}).drop_duplicates()
    if len(pairs) == pairs["cell"].nunique():
        return _not_checked(StudyKind.CURVES_NOT_REPEATED)
    test = checks.lack_of_fit(ready.y, ready.fixed, ready.structure.groups, cells)
    if test is None:
        return _not_checked(StudyKind.CURVES_REACH_ALL)
    return _check(StudyKind.CURVES, test.p < ALERT, {"p": test.p})


def shuffled(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Nozzle test by shuffling whole specimens within sheets: it rests on the random order, not on a distribution."""
    if len(ready.types) < 2:
        return None
    part = ready.model.slices()[NOZZLE]
    rest = ready.fixed @ fit.coefficients - ready.fixed[:, part] @ fit.coefficients[part]
    found = shuffle_specimens(ready, ready.y - rest)
    return None if found is None else Finding(StudyKind.SHUFFLED_SPECIMENS, facts=shuffle_facts(found))


def shuffle_specimens(ready: Prepared, values: Array) -> Shuffle | None:
    """Whole specimens shuffled within sheets by their mean of values (n,); None where that cannot be done."""
    specimen = ready.structure.groups.get("specimen")
    if specimen is None or len(ready.types) < 2:
        return None
    _, first, place = np.unique(specimen.astype(str), return_index=True, return_inverse=True)
    means = np.bincount(place, values) / np.bincount(place)
    sheet = _column(ready, "sheet")[first] if "sheet" in ready.table else None
    try:
        return shuffle_test(means, _column(ready, NOZZLE)[first], sheet)
    except NotIdentifiable:
        return None


def shuffle_facts(found: Shuffle) -> dict[str, Fact]:
    """What was counted, and what could not have been shown."""
    return {
        "p": found.p,
        "smallest_p": found.smallest_p,
        "arrangements": found.arrangements,
        "listed": found.listed,
        "out_of_reach": max(found.out_of_reach, default=None),
    }


def shape(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Shape of the coupon residuals, coupons that stand far out set aside."""
    _, residuals = _coupon_residuals(ready)
    found = checks.residual_shape(residuals[~checks.far_coupons(residuals)])
    if found is None:
        return None
    facts: dict[str, Fact] = {"skewness": found.skewness, "excess": found.excess, "p": found.p}
    return _check(StudyKind.RESIDUAL_SHAPE, found.p < ALERT, facts)


def scale(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Whether the chosen scale lies within the powers that fit."""
    values = ready.table["value"].to_numpy(float)
    if np.any(values <= 0) or len(values) > 5000:
        return None
    keep = ~far_mask(ready)
    groups = {name: labels[keep] for name, labels in ready.structure.groups.items()}
    try:
        found = checks.box_cox(values[keep], ready.fixed[keep], groups, np.linspace(-1.0, 2.0, 13))
    except NotIdentifiable:
        return None
    log = ready.quantity.scale == "log"
    inside = found.low - 0.125 <= (0.0 if log else 1.0) <= found.high + 0.125
    facts: dict[str, Fact] = {"log": log, "low": found.low, "high": found.high, "best": found.best}
    return _check(StudyKind.SCALE, not inside, facts)


def zeros(ready: Prepared, fit: MixedFit) -> Finding | None:
    """Zeros on the log scale and what they count as."""
    n = int((ready.table["value"] <= 0).sum())
    if n == 0 or ready.quantity.scale != "log":
        return None
    half = Amount(0.5 * ready.quantity.resolution, ready.quantity.unit)
    return _check(StudyKind.ZEROS, True, {"n": n, "half": half})
