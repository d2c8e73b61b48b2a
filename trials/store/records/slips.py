"""Suspected slips of the pen: a reading far from its neighbours (tenfold, wrong unit). Flagged, never changed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trials.findings import About, Amount, Fact, Finding
from trials.infer.checks.far import Distance, far_from_others
from trials.record_kinds import RecordKind, Where
from trials.responses import QUANTITIES, Beyond, Quantity
from trials.store.records.changed_setting import parse_changed_setting
from trials.store.records.records import PLACE, Records, rows_of
from trials.store.records.second_marks import REPEAT, second_marks
from trials.trial import Level

TIMES = 5.0
"""A reading more than this many times its neighbours' median, or less than one part in as many, is suspected."""
STEPS = 5.0
"""A difference of so few steps of the instrument is never suspected."""
WHOLE_TIMES = {Where.WHOLE_LIKE: 5.0, Where.WHOLE_TRIAL: 8.0}
"""The same for a coupon as a whole; settings and types alone hardly make a coupon eight times rougher than the others,
a decimal point (10) or an inch (25.4) does."""
WHOLE_ENOUGH = {Where.WHOLE_LIKE: 2, Where.WHOLE_TRIAL: 5}
"""Fewest other coupons that a coupon is compared with."""
ENOUGH = {Where.COUPON: 2, Where.LIKE_COUPONS: 3, Where.TRIAL: 5}
"""Fewest other readings that a reading is compared with, by where they come from."""


@dataclass(frozen=True)
class Slip:
    """One suspected slip; value and neighbours_median in the unit of the field; where: which readings are those.

    seen_as: the mark it had at the bench, if another.
    """

    coupon: str
    reading: int
    field: str
    value: float
    neighbours_median: float
    where: Where
    repeat: int = 0
    seen_as: str = ""

    @property
    def finding(self) -> Finding:
        """The slip as a finding, with the name and unit of what was read."""
        known = next((q for q in QUANTITIES.values() if q.column == self.field), None)
        unit = known.unit if known else ""
        about = About(response=known.short if known else self.field, coupons=(self.seen_as or self.coupon,))
        repeat = 0 if self.seen_as else self.repeat
        facts: dict[str, Fact] = {"reading": self.reading, "repeat": repeat, "field": self.field}
        facts |= {"value": Amount(self.value, unit), "median": Amount(self.neighbours_median, unit)}
        return Finding(RecordKind.SLIP, about, {**facts, "where": self.where.value})


def slips(long: pd.DataFrame, records: Records) -> list[Slip]:
    """Suspected slips among `long` (columns as readings, stored or about to be), in the order of its rows.

    A reading is compared with the median of the other readings of the same field: of its coupon (two others or
    more), else of its nozzle at its setting (three), else of the trial (five); a coupon
    as a whole with other coupons. Only fields on which tenfold is
    surprising are looked at: no grades, no dross heights; a zero only where the model works on a log scale.
    """
    fields = [field for field in long["field"].unique() if _judged(field, records)]
    looked_at = [name for name in (*PLACE, "value", "beyond") if name in long]
    judged = long.loc[long["value"].notna() & long["field"].isin(fields), looked_at]
    if "beyond" in judged:  # a bound of the instrument was typed on purpose
        judged = judged[~judged["beyond"].isin([Beyond.ABOVE.value, Beyond.BELOW.value])]
    judged = judged.assign(cell=judged["coupon"].map(_cells(records)), position=np.arange(len(judged)))
    found: list[tuple[int, Slip]] = []
    for field, rows in judged.groupby("field", sort=False):
        found += _field_slips(str(field), rows, records)
    second = second_marks(records)
    named = [replace(slip, seen_as=second.get(slip.coupon, "")) if slip.repeat == REPEAT else slip for _, slip in found]
    places = [place for place, _ in found]
    return [slip for _, slip in sorted(zip(places, named, strict=True), key=lambda pair: pair[0])]


def open_slips(records: Records) -> list[Slip]:
    """Suspected slips among the current readings that nobody confirmed or corrected."""
    suspected = {(s.coupon, s.reading, s.repeat, s.field): s for s in slips(records.readings, records)}
    rows = records.readings[records.readings["id"].isin(records.confirmed)]
    settled = set(zip(rows["coupon"], rows["reading"], rows["repeat"], rows["field"], strict=True))
    return [slip for key, slip in suspected.items() if key not in settled]


def _judged(field: str, records: Records) -> bool:
    if field == QUANTITIES["dross_height"].column:
        return False
    quantity = _quantity(field, records)
    return quantity is None or quantity.scale != "grade"


def _quantity(field: str, records: Records) -> Quantity | None:
    asked = (records.trial.quantity(name) for name in records.trial.responses)
    return next((q for q in (*asked, *QUANTITIES.values()) if q.column == field), None)


def _cells(records: Records) -> dict[str, str]:
    """Coupon -> nozzle and settings as cut, as one label."""
    columns, coupons = list(records.factor_columns.values()), records.coupons
    planned = list(zip(*(coupons[name].tolist() for name in ("nozzle", *columns)), strict=True))
    labels = {cell: _label(cell[0], dict(zip(columns, cell[1:], strict=True))) for cell in set(planned)}
    cells = dict(zip(coupons["coupon"], map(labels.__getitem__, planned), strict=True))
    settings = dict(zip(coupons["coupon"], planned, strict=True))
    changed = records.cuts[records.cuts["changed_setting"].astype(bool)]
    for coupon, text in zip(changed["coupon"], changed["changed_setting"], strict=True):
        nozzle, *as_planned = settings[coupon]
        as_cut = dict(zip(columns, as_planned, strict=True)) | parse_changed_setting(text, records.trial)
        cells[coupon] = _label(nozzle, as_cut)
    return cells


def _label(nozzle: str, settings: Mapping[str, Level]) -> str:
    return repr((nozzle, sorted(settings.items())))


def _field_slips(field: str, rows: pd.DataFrame, records: Records) -> list[tuple[int, Slip]]:
    quantity = _quantity(field, records)
    step = quantity.resolution if quantity else 0.0
    zero_counts = quantity is not None and quantity.scale == "log"
    suspected: dict[int, tuple[float, Where]] = {}
    rest = rows
    for where, key in ((Where.COUPON, "coupon"), (Where.LIKE_COUPONS, "cell"), (Where.TRIAL, "")):
        label = pd.factorize(rest[key])[0] if key else np.zeros(len(rest), dtype=int)
        counts = rest.groupby(label)["value"].transform("size").to_numpy()
        looked_at = (counts > ENOUGH[where]) & _spread(rest["value"], label)
        for _, group in rest[looked_at].groupby(label[looked_at], sort=False):
            suspected |= _group_slips(group, where, step, zero_counts)
        rest = rest[(counts <= ENOUGH[where]) & ~rest["position"].isin(suspected)]
    suspected |= _pairs(rows, suspected, step, zero_counts)
    suspected = _whole_coupons(rows, step) | suspected
    chosen = rows[rows["position"].isin(suspected)]
    repeated = set(rows.loc[rows["repeat"] > 0, "coupon"])
    return [(row["position"], _slip(row, field, *suspected[row["position"]], repeated)) for row in rows_of(chosen)]


def _spread(values: pd.Series, label: np.ndarray) -> np.ndarray:
    """Whether a value belongs to a group (label, from 0) whose largest is more than so many times its smallest."""
    groups = values.groupby(label)
    far: np.ndarray = (groups.transform("max") > TIMES * groups.transform("min")).to_numpy()
    return far


def _group_slips(group: pd.DataFrame, where: Where, step: float, zero_counts: bool) -> dict[int, tuple[float, Where]]:
    values = group["value"].to_numpy(float)
    positions = group["position"].to_numpy()
    found = far_from_others(values, _times(step, zero_counts), float(np.log(TIMES)), ENOUGH[where])
    return {int(positions[at]): (others, where) for at, others in found.items()}


def _times(step: float, zero_counts: bool) -> Distance:
    """How many times values are off medians, as a logarithm; zero where the instrument hardly tells them apart."""

    def times(here: np.ndarray, others: np.ndarray) -> np.ndarray:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            far: np.ndarray = np.abs(np.log(here / others))
        ignored = (others <= 0) | (np.abs(here - others) <= STEPS * step) | ((here <= 0) & (not zero_counts))
        far[ignored | np.isnan(far)] = 0.0
        return far

    return times


def _pairs(
    rows: pd.DataFrame, suspected: Mapping[int, object], step: float, zero_counts: bool
) -> dict[int, tuple[float, Where]]:
    """Of two readings of a coupon far from each other the one farther from the trial; both where the trial is small."""
    found: dict[int, tuple[float, Where]] = {}
    pairs = rows[rows.groupby("coupon")["value"].transform("size") == 2]
    pairs = pairs.sort_values("coupon", kind="stable")
    both, places = (pairs[name].to_numpy().reshape(-1, 2) for name in ("value", "position"))
    apart = _times(step, zero_counts)(both, both[:, ::-1]).max(axis=1) > np.log(TIMES)
    for coupon, values, positions in zip(pairs["coupon"].iloc[::2][apart], both[apart], places[apart], strict=True):
        if any(position in suspected for position in positions):
            continue
        others = rows.loc[rows["coupon"] != coupon, "value"]
        if len(others) < ENOUGH[Where.TRIAL]:
            found |= {int(p): (float(other), Where.PAIR) for p, other in zip(positions, values[::-1], strict=True)}
            continue
        middle = float(others.median())
        worse = int(np.argmax(np.abs(np.log(np.maximum(values, step or 1e-9) / max(middle, step or 1e-9)))))
        found[int(positions[worse])] = (float(values[1 - worse]), Where.PAIR)
    return found


def _whole_coupons(rows: pd.DataFrame, step: float) -> dict[int, tuple[float, Where]]:
    """Every reading of coupons whose median is far from those of like coupons, or of the trial where these are few."""
    middles = rows.groupby("coupon", sort=False).agg(value=("value", "median"), cell=("cell", "first"))
    counts = middles.groupby("cell")["value"].transform("size")
    enough = counts > WHOLE_ENOUGH[Where.WHOLE_LIKE]
    groups = [(Where.WHOLE_LIKE, like) for _, like in middles[enough].groupby("cell", sort=False)]
    found: dict[str, tuple[float, Where]] = {}
    for where, group in (*groups, (Where.WHOLE_TRIAL, middles)):
        limit, fewest = float(np.log(WHOLE_TIMES[where])), WHOLE_ENOUGH[where]
        far = far_from_others(group["value"].to_numpy(float), _times(step, False), limit, fewest)
        for at, others in far.items():
            if where is Where.WHOLE_LIKE or not enough[group.index[at]]:
                found[str(group.index[at])] = (others, where)
    chosen = rows[rows["coupon"].isin(found)]
    return {int(p): found[str(c)] for p, c in zip(chosen["position"], chosen["coupon"], strict=True)}


def _slip(row: Mapping[str, Any], field: str, median: float, where: Where, repeated: Collection[str]) -> Slip:
    """One slip; repeated: coupons with repeats, which a reading of the first time is compared with too."""
    if where is Where.COUPON and row["repeat"] == 0 and row["coupon"] in repeated:
        where = Where.COUPON_AND_REPEATS
    return Slip(row["coupon"], int(row["reading"]), field, float(row["value"]), median, where, int(row["repeat"]))
