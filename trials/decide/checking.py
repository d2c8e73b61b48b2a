"""The checks that go with every response, each as one sentence for people."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from trials.decide.prepare import NOZZLE, Prepared
from trials.decide.results import Check
from trials.decide.wording import listed, number, with_unit
from trials.errors import NotIdentifiable, TrialError
from trials.infer.checks import residuals as checks
from trials.infer.checks import shuffle_test
from trials.infer.mixed import MixedFit, fit_mixed
from trials.units import shown

Array = NDArray[np.float64]
ALERT = 0.01  # a check asks for attention below this p; there are about ten of them, so 0.05 would cry wolf
MANY = 6
FARTHEST = math.log(1000.0)
TOO_LITTLE = "beside the settings these records leave too little to judge a trend by."


def run_checks(ready: Prepared, fit: MixedFit) -> tuple[Check, ...]:
    """All checks that these records can carry, in a fixed order."""
    makers: dict[str, Callable[[Prepared, MixedFit], Check | None]] = {
        "far readings": far_readings,
        "far coupons": far_coupons,
        "centring": centring,
        "drift": drift,
        "wear in a mount": wear,
        "spread along an edge": spread_within,
        "spread between coupons": spread_between,
        "fit of the curves": curvature,
        "shuffled specimens": shuffled,
        "residual shape": shape,
        "scale": scale,
        "zeros": zeros,
    }
    found = [_made(name, make, ready, fit) for name, make in makers.items()]
    return tuple(check for check in found if check is not None)


def _made(
    name: str, make: Callable[[Prepared, MixedFit], Check | None], ready: Prepared, fit: MixedFit
) -> Check | None:
    """One check; where these records cannot carry it, it says so and the answer stands."""
    try:
        return make(ready, fit)
    except TrialError as problem:
        return Check(name, f"Cannot be computed: {problem}.")


def _boundless(found: checks.Slope, span: float, ready: Prepared) -> bool:
    """Whether the interval of a trend reaches beyond a thousandfold, so that it says nothing."""
    reach = max(abs(found.low), abs(found.high)) * span
    return not reach < (FARTHEST if ready.quantity.scale == "log" else math.inf)


def _change(value: float, ready: Prepared) -> str:
    if ready.quantity.scale == "log":
        return f"{100 * math.expm1(value):+.1f} %"
    return f"{value:+.3g} {shown(ready.quantity.unit)}".strip()


def _column(ready: Prepared, name: str) -> NDArray:
    return ready.table[name].to_numpy(object)


def far_mask(ready: Prepared) -> NDArray[np.bool_]:
    """Readings (n,) that stand far from the others of their coupon."""
    return checks.far_readings(ready.y, _column(ready, "coupon"))


def far_readings(ready: Prepared, fit: MixedFit) -> Check:
    """Readings far from their neighbours: flagged, never removed."""
    far = far_mask(ready)
    if not far.any():
        return Check("far readings", "No reading stands far from the others of its coupon.")
    rows = ready.table[far]
    named = [
        f"coupon {r.coupon} reading {r.reading}: {with_unit(r.value, ready.quantity)}"
        for r in rows.head(MANY).itertuples()
    ]
    more = f" and {len(rows) - MANY} more" if len(rows) > MANY else ""
    text = (
        f"Far from the other readings of the coupon: {'; '.join(named)}{more}. Measure again or correct; it stays in."
    )
    return Check("far readings", text, True, tuple(dict.fromkeys(map(str, rows["coupon"]))))


def _coupon_residuals(ready: Prepared) -> tuple[NDArray, Array]:
    groups = ready.structure.groups
    own = groups.get("mount", groups.get("specimen"))
    return checks.coupon_residuals(ready.y, ready.fixed, _column(ready, "coupon"), own)


def far_coupons(ready: Prepared, fit: MixedFit) -> Check:
    """Coupons far from what the model expects."""
    first, residuals = _coupon_residuals(ready)
    far = checks.far_coupons(residuals)
    if not far.any():
        return Check("far coupons", "No coupon stands far from what its nozzle and settings lead one to expect.")
    names = [str(name) for name in _column(ready, "coupon")[first[far]]]
    more = f" and {len(names) - MANY} more" if len(names) > MANY else ""
    text = (
        f"Far from what nozzle and settings lead one to expect: coupon {listed(names[:MANY])}{more}. Look at the edge."
    )
    return Check("far coupons", text, True, tuple(names))


def centring(ready: Prepared, fit: MixedFit) -> Check | None:
    """Side differences per mount: an off-centre nozzle shows on one side."""
    if "side" not in ready.table or "mount" not in ready.table:
        return None
    residuals = ready.y - ready.fixed @ fit.coefficients
    far = far_mask(ready)
    parts = [_column(ready, name)[~far] for name in ("mount", "coupon", "side")]
    shifts = checks.side_shifts(residuals[~far], *parts)
    if not shifts:
        return None
    off = [shift for shift in shifts if shift.p < ALERT]
    if not off:
        return Check("centring", f"No mount shows one side worse than another ({len(shifts)} mounts looked at).")
    named = []
    nozzles = []
    for s in off:
        owner = ready.table.loc[ready.table["mount"] == s.mount, NOZZLE].iloc[0]
        nozzles.append(str(owner))
        named.append(f"mount {s.mount} ({owner}): {s.high_side} against {s.low_side} {_change(s.difference, ready)}")
    text = f"Sides differ, as with an off-centre nozzle: {'; '.join(named)}. Check the centring of these mounts."
    return Check("centring", text, True, nozzles=tuple(dict.fromkeys(nozzles)))


def drift(ready: Prepared, fit: MixedFit) -> Check | None:
    """Trend over the order of cutting: lens heating, wear of the machine, the day."""
    if "cut_order" not in ready.table or ready.table["cut_order"].isna().any():
        return None
    order = ready.table["cut_order"].to_numpy(float)
    found = checks.slope(ready.y, ready.fixed, ready.structure.groups, order)
    if found is None:
        return None
    if _boundless(found, float(np.ptp(order)), ready):
        return Check("drift", f"Cannot be computed: {TOO_LITTLE}")
    per, low, high = (_change(x * np.ptp(order), ready) for x in (found.value, found.low, found.high))
    if found.p >= ALERT:
        return Check("drift", f"No drift over the order of cutting shows (first to last coupon {low} to {high}).")
    return Check(
        "drift",
        f"The response drifts over the order of cutting: {per} from first to last coupon. The random order keeps it "
        "from favouring a type; look for lens heating or wear.",
        True,
    )


def wear(ready: Prepared, fit: MixedFit) -> Check | None:
    """Trend over the coupons cut since the nozzle was mounted."""
    if "cut_order" not in ready.table or "mount" not in ready.table or ready.table["cut_order"].isna().any():
        return None
    coupons = ready.table.drop_duplicates("coupon")
    since = coupons.groupby("mount")["cut_order"].rank() - 1
    place = dict(zip(coupons["coupon"], since, strict=True))
    along = ready.table["coupon"].map(place).to_numpy(float)
    found = checks.slope(ready.y, ready.fixed, ready.structure.groups, along)
    if found is None:
        return None
    if _boundless(found, 10.0, ready):
        return Check("wear in a mount", f"Cannot be computed: {TOO_LITTLE}")
    per, low, high = (_change(x * 10, ready) for x in (found.value, found.low, found.high))
    if found.p >= ALERT:
        text = f"No trend from first to last coupon of a mount shows ({low} to {high} per ten coupons)."
        return Check("wear in a mount", text)
    return Check("wear in a mount", f"The response moves as a mount goes on: {per} per ten coupons cut.", True)


def _types_differ(ready: Prepared, first: NDArray, values: Array, name: str, what: str, half: float) -> Check | None:
    labels = _column(ready, NOZZLE)[first]
    if len(ready.types) < 2 or len(values) < 3 * len(ready.types) or np.ptp(values) == 0:
        return None
    dummies = (labels[:, None] == np.asarray(ready.types, dtype=object)[None, :]).astype(float)
    if not dummies.any(axis=0).all():
        return None
    groups = {k: v[first] for k, v in ready.structure.groups.items() if k == ready.structure.yardstick != "coupon"}
    fit = fit_mixed(values, dummies, groups)
    contrast = np.hstack([np.eye(len(ready.types) - 1), -np.ones((len(ready.types) - 1, 1))])
    test = fit.test(contrast)
    size = np.exp(half * (fit.coefficients - fit.coefficients.min()))
    order = np.argsort(fit.coefficients)
    ratio = number(float(size.max()), 2)
    if test.p >= ALERT:
        return Check(name, f"{what} does not differ clearly between types (largest to smallest {ratio} to 1).")
    text = (
        f"{what} differs between types: {ready.types[order[-1]]} {ratio} times that of {ready.types[order[0]]}. "
        "A steadier nozzle is a result too."
    )
    return Check(name, text, True, nozzles=(ready.types[order[-1]],))


def spread_within(ready: Prepared, fit: MixedFit) -> Check | None:
    """Spread along one edge, by type."""
    step = ready.quantity.resolution
    if ready.quantity.scale == "log":
        step = step / max(float(np.exp(np.median(ready.y))), step)
    keep = ~far_mask(ready)
    coupon = _column(ready, "coupon")
    first, values = checks.log_variance_within(ready.y[keep], coupon[keep], step)
    rows = np.flatnonzero(keep)[first]
    return _types_differ(ready, rows, values, "spread along an edge", "The spread of readings on one coupon", 0.5)


def spread_between(ready: Prepared, fit: MixedFit) -> Check | None:
    """Spread from coupon to coupon, by type."""
    first, residuals = _coupon_residuals(ready)
    size = np.log(np.maximum(np.abs(residuals), 1e-12 + 1e-3 * np.std(residuals)))
    return _types_differ(ready, first, size, "spread between coupons", "The spread from coupon to coupon", 1.0)


def curvature(ready: Prepared, fit: MixedFit) -> Check | None:
    """Lack of fit against coupons repeated at the same nozzle and setting."""
    names = [NOZZLE, *(column for column in ready.columns.values() if column in ready.table)]
    cells = ready.table.groupby(names, sort=False, dropna=False).ngroup().to_numpy()
    if len(set(zip(cells, _column(ready, "coupon"), strict=True))) == len(set(cells)):
        return Check("fit of the curves", "No setting was cut twice, so the shape of the curves cannot be checked.")
    test = checks.lack_of_fit(ready.y, ready.fixed, ready.structure.groups, cells)
    if test is None:
        return Check(
            "fit of the curves", "The model reaches every setting that was cut; there is no shape left to check."
        )
    if test.p >= ALERT:
        return Check("fit of the curves", f"The curves fit the repeated settings (p = {test.p:.2g}).")
    return Check(
        "fit of the curves",
        f"Some settings lie off the fitted curves by more than repeats differ (p = {test.p:.2g}): read means at the "
        "settings that were cut, not between them.",
        True,
    )


def shuffled(ready: Prepared, fit: MixedFit) -> Check | None:
    """Nozzle test by shuffling whole specimens within sheets: it rests on the random order, not on a distribution."""
    specimen = ready.structure.groups.get("specimen")
    if specimen is None or len(ready.types) < 2:
        return None
    part = ready.model.slices()[NOZZLE]
    rest = ready.fixed @ fit.coefficients - ready.fixed[:, part] @ fit.coefficients[part]
    names, first, place = np.unique(specimen.astype(str), return_index=True, return_inverse=True)
    means = np.bincount(place, ready.y - rest) / np.bincount(place)
    sheet = _column(ready, "sheet")[first] if "sheet" in ready.table else None
    try:
        found = shuffle_test(means, _column(ready, NOZZLE)[first], sheet)
    except NotIdentifiable:
        return None
    return Check("shuffled specimens", f"Shuffling whole specimens within sheets: {found.sentence()}")


def shape(ready: Prepared, fit: MixedFit) -> Check | None:
    """Shape of the coupon residuals, coupons that stand far out set aside."""
    _, residuals = _coupon_residuals(ready)
    residuals = residuals[~checks.far_coupons(residuals)]
    found = checks.residual_shape(residuals)
    if found is None:
        return None
    if found.p >= ALERT:
        return Check("residual shape", "The coupon residuals look regular (no long tail or lean).")
    lean = (
        "a lean to the high side" if found.skewness > 0.5 else "a lean to the low side" if found.skewness < -0.5 else ""
    )
    tail = "long tails" if found.excess > 1 else ""
    words = listed([w for w in (lean, tail) if w]) if lean or tail else "another shape than the bell"
    return Check("residual shape", f"The coupon residuals show {words}.", True)


def scale(ready: Prepared, fit: MixedFit) -> Check | None:
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
    chosen = 0.0 if ready.quantity.scale == "log" else 1.0
    words = "the log scale" if chosen == 0.0 else "the scale as measured"
    inside = found.low - 0.125 <= chosen <= found.high + 0.125
    span = f"powers {found.low:g} to {found.high:g} fit about as well as the best ({found.best:g})"
    if inside:
        return Check("scale", f"Working on {words} suits these readings: {span}.")
    return Check("scale", f"Another scale than {words} would suit these readings better: {span}.", True)


def zeros(ready: Prepared, fit: MixedFit) -> Check | None:
    """Zeros on the log scale and what they count as."""
    n = int((ready.table["value"] <= 0).sum())
    if n == 0 or ready.quantity.scale != "log":
        return None
    half = with_unit(0.5 * ready.quantity.resolution, ready.quantity)
    text = f"{n} readings of zero count as half the instrument's step ({half})."
    return Check("zeros", text, True)
