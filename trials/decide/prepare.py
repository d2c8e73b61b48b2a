"""From a table of readings to the arrays of a model: scale, terms, random structure; nothing is fitted here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.decide.kinds import StudyKind
from trials.errors import InputError, NotIdentifiable
from trials.findings import About, Finding
from trials.infer.checks import far_pairs, far_readings
from trials.infer.checks.levels import Levels
from trials.infer.mixed import MixedDesign
from trials.infer.model import Axis, FixedModel, Structure, build_model, find_structure
from trials.responses import Quantity
from trials.trial import Curves, Level, Trial

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Labels = NDArray[np.object_]
NOZZLE = "nozzle"
BEYOND = "beyond"
"""Column of the as-cut table, where there is one: "above" or "below" for a value that is a bound of the instrument."""
FEWEST = 3  # readings: fewer leave no spread to judge by
DROP_ORDER = ("mount", "coupon", "sheet", "specimen")


@dataclass(frozen=True)
class Prepared:
    """One response made ready.

    table: one row per reading that counts, sorted; y (n,): the response on the model's scale; fixed (n, k); types:
    nozzle types present, in the order of the trial file; columns: of each factor; said: what had to be left out.
    """

    trial: Trial
    name: str
    quantity: Quantity
    table: pd.DataFrame
    y: Array
    model: FixedModel
    fixed: Array
    structure: Structure
    design: MixedDesign
    types: tuple[str, ...]
    columns: Mapping[str, str]
    said: tuple[Finding, ...]

    @cached_property
    def coupons(self) -> Levels:
        """The coupon of each reading."""
        return Levels.of(self.table["coupon"].to_numpy(object))

    @cached_property
    def far(self) -> tuple[Mask, Mask]:
        """Readings (n,) that stand far from the others of their coupon, and those in a pair that lies far apart."""
        return far_readings(self.y, self.coupons), far_pairs(self.y, self.coupons)

    @property
    def nozzle_axis(self) -> str | None:
        """Name of the nozzle axis, None where a single type was cut."""
        return NOZZLE if len(self.types) > 1 else None

    @property
    def today(self) -> str | None:
        """Today's type, None where it was not cut."""
        today = self.trial.today.type
        return today if today in self.types else None

    @property
    def pieces(self) -> dict[str, str]:
        """By nozzle type its one specimen, where the result is about these pieces; empty where it is about types."""
        if not self.structure.pieces_only or "specimen" not in self.table:
            return {}
        marks = self.table.groupby(NOZZLE, sort=False)["specimen"].agg(lambda own: sorted({str(mark) for mark in own}))
        return {t: marks[t][0] for t in self.types} if all(len(own) == 1 and own[0] for own in marks) else {}


def prepare(trial: Trial, name: str, table: pd.DataFrame) -> Prepared:
    """Make one response ready; done once, other fits of the same readings start from what comes out.

    table: as-cut readings with columns coupon, sheet, mount, nozzle, specimen, one per factor, value. A zero on the
    log scale counts as half the instrument's resolution.

    Raises
    ------
    InputError
        If there are no readings to work on.
    NotIdentifiable
        If nozzle types cannot be told apart from sheets, or nothing is left to judge by.
    """
    quantity = trial.quantity(name)
    table = _against_set(trial, name, _sorted(table))
    if trial.plan.method == "adopted":  # the order of cutting is not known
        table = table.drop(columns=["cut_order"], errors="ignore")
    return _designed(trial, name, table, on_scale(table["value"].to_numpy(float), quantity))


def without(ready: Prepared, leave_out: Mask) -> Prepared:
    """The same response without some of its readings (n,); see `prepare` for what it raises."""
    keep = ~leave_out
    return _designed(ready.trial, ready.name, ready.table[keep].reset_index(drop=True), ready.y[keep])


def with_rows(ready: Prepared, rows: pd.DataFrame) -> Prepared:
    """The same response with further readings; rows: as ready.table. See `prepare` for what it raises."""
    table = _sorted(pd.concat([ready.table, rows.reindex(columns=ready.table.columns)], ignore_index=True))
    return _designed(ready.trial, ready.name, table, on_scale(table["value"].to_numpy(float), ready.quantity))


def with_zeros_at(ready: Prepared, share: float) -> Prepared:
    """The same response with zeros on the log scale at this share of the instrument's resolution."""
    return replace(ready, y=on_scale(ready.table["value"].to_numpy(float), ready.quantity, share))


def beyond(ready: Prepared, side: str) -> Mask:
    """Readings (n,) recorded as a bound because they lay above or below the instrument's range."""
    if BEYOND not in ready.table:
        return np.zeros(len(ready.table), dtype=bool)
    marked: Mask = (ready.table[BEYOND] == side).to_numpy(bool)
    return marked


def with_bounds_times(ready: Prepared, side: str, times: float) -> Prepared:
    """The same response with readings beyond the range on one side at so many times their bound."""
    values = ready.table["value"].to_numpy(float) * np.where(beyond(ready, side), times, 1.0)
    return replace(ready, y=on_scale(values, ready.quantity))


def _designed(trial: Trial, name: str, table: pd.DataFrame, y: Array) -> Prepared:
    if len(table) < FEWEST:
        raise InputError(
            f"response {name} has {len(table)} readings, too few to study",
            do="Record readings with `trials record` first.",
        )
    present = set(table[NOZZLE].unique())
    types = tuple(t for t in trial.types if t in present)
    columns = {factor: trial.factor_column(factor) for factor in trial.factors}
    axes = _axes(trial, table, types, columns)
    settings = {axis.name: _axis_values(axis, table, columns) for axis in axes}
    groups = {g: table[g].to_numpy(object) for g in ("sheet", "specimen", "mount", "coupon") if g in table}
    word = "block" if trial.plan.method == "adopted" else "sheet"
    structure = find_structure(table[NOZZLE].to_numpy(object), groups, word)
    model, fixed = _modelled(trial, axes, settings, structure.block, Levels.of(table["coupon"].to_numpy(object)))
    structure, design, more = _settled(fixed, structure)
    said = (*structure.said, *more, *_dropped(model))
    quantity = trial.quantity(name)
    return Prepared(trial, name, quantity, table, y, model, fixed, structure, design, types, columns, said)


def _against_set(trial: Trial, name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Measured standoff is studied as its distance from the standoff that was set, where that was a factor."""
    if name != "standoff" or "standoff" not in trial.factors:
        return table
    return table.assign(value=table["value"] - table[trial.factor_column("standoff")].astype(float))


def on_scale(values: Array, quantity: Quantity, zero_share: float = 0.5) -> Array:
    """Values on the model's scale: logarithm, a zero counting as a share of the resolution, or as measured."""
    if quantity.scale != "log":
        return values
    return np.log(np.where(values > 0, values, zero_share * quantity.resolution))


def _sorted(table: pd.DataFrame) -> pd.DataFrame:
    """By coupon, side and reading, each as text."""
    keys = [key for key in ("reading", "side", "coupon") if key in table]
    order = np.lexsort([Levels.of(table[key].to_numpy(object)).place for key in keys])
    return table.take(order).reset_index(drop=True)


def _axes(trial: Trial, table: pd.DataFrame, types: tuple[str, ...], columns: Mapping[str, str]) -> list[Axis]:
    axes = [Axis(NOZZLE, types)] if len(types) > 1 else []
    for factor, asked in trial.factors.items():
        present = set(table[columns[factor]].unique())
        levels: list[Level] = [level for level in asked.levels if not asked.is_text or level in present]
        if asked.is_text:  # a word that was cut without being planned is a level too
            levels += sorted(present - set(levels))
        if len(present) > 1 and len(levels) > 1:
            axes.append(Axis(factor, tuple(levels)))
    return axes


def _axis_values(axis: Axis, table: pd.DataFrame, columns: Mapping[str, str]) -> Labels | Array:
    values = table[NOZZLE if axis.name == NOZZLE else columns[axis.name]]
    return values.to_numpy(object) if axis.is_text else values.to_numpy(float)


def _modelled(
    trial: Trial, axes: list[Axis], settings: dict[str, Labels | Array], block: Labels | None, coupons: Levels
) -> tuple[FixedModel, Array]:
    """The model that the records carry and its columns (n, k), from one row a coupon where nothing changes inside one.

    settings: by axis (n,); block: of a sheet that stays fixed, or None.
    """
    inside = [*settings.values(), *([] if block is None else [block])]
    each = all(np.array_equal(values[coupons.first][coupons.place], values) for values in inside)
    rows, place = (coupons.first, coupons.place) if each else (np.arange(len(coupons.place)),) * 2
    short = {name: values[rows] for name, values in settings.items()}
    labels = None if block is None else np.asarray([str(label) for label in block[rows]], dtype=object)
    nozzle = NOZZLE if NOZZLE in short else None
    model = build_model(axes, short, nozzle, labels, len(coupons.first), trial.plan.curves is Curves.COMMON)
    return model, model.matrix(short or {"": np.zeros(len(rows))}, labels)[place]


def _dropped(model: FixedModel) -> tuple[Finding, ...]:
    return (Finding(StudyKind.TERMS_LEFT_OUT, facts={"terms": model.dropped}),) if model.dropped else ()


def _settled(fixed: Array, structure: Structure) -> tuple[Structure, MixedDesign, tuple[Finding, ...]]:
    """Build the design; a grouping that the fixed part swallows leaves, and is named."""
    try:
        return structure, MixedDesign.build(fixed, structure.groups), ()
    except NotIdentifiable:
        for name in DROP_ORDER:
            if name not in structure.groups:
                continue
            rest = {key: labels for key, labels in structure.groups.items() if key != name}
            try:
                design = MixedDesign.build(fixed, rest)
            except NotIdentifiable:
                continue
            said = Finding(StudyKind.SPREAD_LEFT_OUT, About(source=name))
            return _without(structure, name, rest), design, (said,)
        raise


def _without(structure: Structure, name: str, rest: dict[str, Labels]) -> Structure:
    if name != structure.yardstick:
        return replace(structure, groups=rest)
    return replace(structure, groups=rest, replicated=False, pieces_only=True, yardstick="coupon")


def specimens_of(ready: Prepared) -> tuple[int, float]:
    """Specimens of each other type and how many times as many today's has; the mean and one where they are unlike."""
    nearest = max(1, round(per_type(ready, "specimen")))
    if "specimen" not in ready.table or ready.today is None:
        return nearest, 1.0
    counts = dict(ready.table.groupby(NOZZLE)["specimen"].nunique())
    today, others = counts.pop(ready.today, 0), set(counts.values())
    if today < 2 or len(others) != 1 or min(others) < 2:
        return nearest, 1.0
    return int(min(others)), float(today / min(others))


def per_type(ready: Prepared, name: str) -> float:
    """Mean number of different marks of a layer per type; one where some row has none."""
    if name not in ready.table or (ready.table[name].astype(str) == "").any():
        return 1.0
    return float(ready.table.groupby(NOZZLE)[name].nunique().mean())
