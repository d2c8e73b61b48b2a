"""Everything that is known about one trial, as plain pandas tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import NoneType
from typing import Any

import numpy as np
import pandas as pd

from trials.responses import Beyond
from trials.store.records.stored import Same
from trials.trial import Trial

COUPON_COLUMNS = ("coupon", "order", "sheet", "mount", "nozzle", "specimen", "block")
MOUNT_PLAN_COLUMNS = ("mount", "nozzle", "specimen", "order", "sheet")
MOUNT_COLUMNS = (
    *MOUNT_PLAN_COLUMNS,
    "fitted_at",
    "centring_checked",
    "height_calibrated",
    "pierces_before",
    "window_changed",
)
SHEET_COLUMNS = ("sheet", "heat_lot", "surface", "gas_purity")
CUT_COLUMNS = ("coupon", "cut_order", "cut_at", "mount", "sheet", "outcome", "changed_setting", "note")
PLACE = ("coupon", "reading", "repeat", "field")
"""What tells one reading from the others."""
JOURNAL_COLUMNS = ("id", "at", "who", "kind", "what", "why", "payload")
LOOK_COLUMNS = (
    *("look", "at", "declared", "summary_json", "fingerprint", "fingerprint_version", "rule_version"),
    *("words_json", "costs_json", "lives_json"),
)
YES_NO_COLUMNS = ("centring_checked", "height_calibrated", "window_changed")
MOMENT_COLUMNS = ("cut_at", "fitted_at", "measured_on")
WHOLE = {
    "order",
    "cut_order",
    "pierces_before",
    "reading",
    "repeat",
    "measured_order",
    "id",
    "replaces",
    "look",
    "block",
    "fingerprint_version",
}
REAL = {"value", "cutoff_mm", "depth_mm"}
AS_THEY_ARE = frozenset({str, int, bool, NoneType})
"""Types of most cells, which need no unpacking."""


@dataclass(frozen=True, eq=False)
class Records:
    """One trial as loaded.

    coupons: as planned, one row per coupon in planned order, with the factor columns and any layout columns.
    mounts, sheets: what was recorded, over what was planned where nothing was recorded yet; planned_mounts,
    planned_sheets: the plan alone. cuts, readings (long): the current rows; all_cuts, all_readings: with every
    corrected row and the row that replaced it. journal: read it through `trials.store.records.journal`; looks: without
    their papers, which `trials.store.records.looks` reads. confirmed: ids of readings whose suspected slip was
    confirmed. repeat_marks: second mark -> coupon, for the blind repeats.
    """

    folder: Path
    trial: Trial
    frozen: bool
    coupons: pd.DataFrame
    mounts: pd.DataFrame
    sheets: pd.DataFrame
    cuts: pd.DataFrame
    readings: pd.DataFrame
    journal: pd.DataFrame
    looks: pd.DataFrame
    planned_mounts: pd.DataFrame
    planned_sheets: pd.DataFrame
    all_cuts: pd.DataFrame
    all_readings: pd.DataFrame
    confirmed: frozenset[int] = frozenset()
    repeat_marks: Mapping[str, str] = field(default_factory=dict)
    frozen_at: str = ""
    freeze_hash: str = ""
    identity: str = ""
    head: str = ""

    @property
    def factor_columns(self) -> dict[str, str]:
        """Factor name -> its column in the coupons table."""
        return {name: self.trial.factor_column(name) for name in self.trial.factors}


def table(rows: Iterable[Mapping[str, Any]], columns: Iterable[str]) -> pd.DataFrame:
    """Rows as a table with at least `columns`, in that order first; whole numbers, numbers and text each of one kind.

    Missing text is an empty string, a missing number NaN (or <NA> in a column of whole numbers).
    """
    rows = list(rows)
    names = list(dict.fromkeys([*columns, *(name for row in rows for name in row)]))
    return typed({name: [row.get(name) for row in rows] for name in names})


def typed(data: Mapping[str, Sequence[Any]]) -> pd.DataFrame:
    """Columns of cells as a table, each of one kind; see `table`."""
    index = pd.RangeIndex(max(map(len, data.values()), default=0))  # shared by all columns, so that none is aligned
    columns = {name: pd.Series(kept := _typed(name, cells), index, kept.dtype) for name, cells in data.items()}
    return pd.DataFrame(columns, index, list(data))


def _typed(name: str, cells: Sequence[Any]) -> pd.api.extensions.ExtensionArray | np.ndarray:
    if isinstance(cells, Same) and len(cells):
        one = _typed(name, [cells.cell])
        return one.take(np.zeros(len(cells), dtype=np.intp))
    kinds = set(map(type, cells))
    missing, known = NoneType in kinds, kinds - {NoneType}
    if name in REAL:
        return np.array(cells, dtype=np.float64)
    if name in WHOLE:
        return pd.array(cells, dtype="Int64") if missing or name == "replaces" else np.array(cells, dtype=np.int64)
    if known == {bool} and not missing:
        return np.array(cells, dtype=np.bool_)
    if known and known <= {int, float, bool}:
        return np.array(cells, dtype=np.int64 if kinds <= {int} else np.float64)
    texts = np.empty(len(cells), dtype=object)
    texts[:] = ["" if cell is None else cell for cell in cells] if missing else cells
    return texts


def current(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that no other row replaces, in the order they were entered."""
    replaced = set(rows["replaces"].dropna())
    return rows[~rows["id"].isin(replaced)].reset_index(drop=True)


def standing(all_readings: pd.DataFrame) -> pd.DataFrame:
    """Current readings and places that could not be measured; without what was withdrawn."""
    rows = current(all_readings)
    return rows[rows["value"].notna() | (rows["beyond"] == Beyond.NOT_MEASURABLE.value)]


def plain(value: Any) -> Any:
    """A cell as a plain Python value for the database: numpy scalars unpacked, NaN and NA as None."""
    if type(value) in AS_THEY_ARE:
        return value
    if value is pd.NA or value is pd.NaT:
        return None
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if hasattr(value, "item"):
        value = value.item()
    return None if isinstance(value, float) and value != value else value


def cells_of(column: pd.Series) -> list[Any]:
    """A column as plain Python values; see `plain`."""
    cells: list[Any] = column.to_numpy(dtype=object).tolist()
    kinds = set(map(type, cells))
    if kinds <= AS_THEY_ARE:
        return cells
    return [None if cell != cell else cell for cell in cells] if kinds == {float} else list(map(plain, cells))


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """A table as plain dictionaries, one per row."""
    names = list(frame.columns)
    cells = [cells_of(column) for _, column in frame.items()]
    return [dict(zip(names, row, strict=True)) for row in zip(*cells, strict=True)]
