"""From a table of readings to the arrays of a model: scale, terms, random structure; nothing is fitted here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.errors import InputError, NotIdentifiable
from trials.infer.mixed import MixedDesign
from trials.infer.model import Axis, FixedModel, Structure, build_model, find_structure
from trials.responses import Quantity
from trials.trial import Curves, Level, Trial

Array = NDArray[np.float64]
NOZZLE = "nozzle"
DROP_ORDER = ("mount", "coupon", "sheet", "specimen")


@dataclass(frozen=True)
class Prepared:
    """One response made ready.

    table: one row per reading that counts, sorted; raw: the same rows as they were given; y (n,): the response on the
    model's scale; fixed (n, k); types: nozzle types present, in the order of the trial file; said: what had to be left
    out, in sentences.
    """

    name: str
    quantity: Quantity
    table: pd.DataFrame
    raw: pd.DataFrame
    y: Array
    model: FixedModel
    fixed: Array
    structure: Structure
    design: MixedDesign
    types: tuple[str, ...]
    today: str | None
    columns: dict[str, str]
    said: tuple[str, ...]

    @property
    def nozzle_axis(self) -> str | None:
        """Name of the nozzle axis, None where a single type was cut."""
        return NOZZLE if len(self.types) > 1 else None


def prepare(
    trial: Trial, name: str, table: pd.DataFrame, zero_share: float = 0.5, fixed_sheets: bool = False
) -> Prepared:
    """Make one response ready.

    table: as-cut readings with columns coupon, sheet, mount, nozzle, specimen, one per factor, value.
    zero_share: a zero on the log scale counts as this share of the instrument's resolution. fixed_sheets: sheets are
    taken out one by one, however many there are.

    Raises
    ------
    InputError
        If there are no readings to work on.
    NotIdentifiable
        If nozzle types cannot be told apart from sheets, or nothing is left to judge by.
    """
    quantity = trial.quantity(name)
    raw = _sorted(table)
    table = _against_set(trial, name, raw)
    if len(table) < 3:
        raise InputError(
            f"response {name} has {len(table)} readings, too few to study",
            do="Record readings with `trials record` first.",
        )
    types = tuple(t for t in trial.types if t in set(table[NOZZLE]))
    columns = {factor: trial.factor_column(factor) for factor in trial.factors}
    axes = _axes(trial, table, types, columns)
    settings = {axis.name: _axis_values(axis, table, columns) for axis in axes}
    groups = {g: table[g].to_numpy(object) for g in ("sheet", "specimen", "mount", "coupon") if g in table}
    adopted = trial.plan.method == "adopted"
    if adopted:  # the order of cutting is not known
        table = table.drop(columns=["cut_order"], errors="ignore")
    structure = find_structure(table[NOZZLE].to_numpy(object), groups, "block" if adopted else "sheet", fixed_sheets)
    common, n = trial.plan.curves is Curves.COMMON, table["coupon"].nunique()
    model = build_model(axes, settings, NOZZLE if len(types) > 1 else None, structure.block, n, common)
    block = None if structure.block is None else np.asarray([str(b) for b in structure.block], dtype=object)
    fixed = model.matrix(settings or {"": np.zeros(len(table))}, block)
    structure, design, more = _settled(fixed, structure)
    said = tuple(structure.said) + more + _dropped(model)
    today = trial.today.type if trial.today.type in types else None
    return Prepared(
        name,
        quantity,
        table,
        raw,
        on_scale(table["value"].to_numpy(float), quantity, zero_share),
        model,
        fixed,
        structure,
        design,
        types,
        today,
        columns,
        said,
    )


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
    keys = [key for key in ("coupon", "side", "reading") if key in table]
    text = table[keys].astype(str)
    return table.loc[text.sort_values(keys, kind="stable").index].reset_index(drop=True)


def _axes(trial: Trial, table: pd.DataFrame, types: tuple[str, ...], columns: Mapping[str, str]) -> list[Axis]:
    axes = [Axis(NOZZLE, types)] if len(types) > 1 else []
    for factor, asked in trial.factors.items():
        present = set(table[columns[factor]])
        levels: list[Level] = [level for level in asked.levels if not asked.is_text or level in present]
        if asked.is_text:  # a word that was cut without being planned is a level too
            levels += sorted(present - set(levels))
        if len(present) > 1 and len(levels) > 1:
            axes.append(Axis(factor, tuple(levels)))
    return axes


def _axis_values(axis: Axis, table: pd.DataFrame, columns: Mapping[str, str]) -> NDArray:
    values = table[NOZZLE if axis.name == NOZZLE else columns[axis.name]]
    return values.to_numpy(object) if axis.is_text else values.to_numpy(float)


def _dropped(model: FixedModel) -> tuple[str, ...]:
    if not model.dropped:
        return ()
    return (
        f"Left out of the model because the cut settings cannot carry them: {', '.join(model.dropped)} "
        "(in the order of the plan, not by what the data say).",
    )


def _settled(fixed: Array, structure: Structure) -> tuple[Structure, MixedDesign, tuple[str, ...]]:
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
            said = f"The spread of {name}s cannot be told apart from the rest in these records and is left out."
            return _without(structure, name, rest), design, (said,)
        raise


def _without(structure: Structure, name: str, rest: dict[str, NDArray]) -> Structure:
    if name != structure.yardstick:
        return replace(structure, groups=rest)
    return replace(structure, groups=rest, replicated=False, pieces_only=True, yardstick="coupon")
