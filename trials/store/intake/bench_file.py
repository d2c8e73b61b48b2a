"""A file from the bench: readings, what was measured again because it went wrong, and the order of measuring."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from trials.errors import collected
from trials.store.intake.distinct_cells import worked_out
from trials.store.intake.reading_cells import bench_cells
from trials.store.intake.readings import read_table_of_readings
from trials.store.language import kept_word
from trials.store.records.again import BECAUSE
from trials.store.records.records import Records
from trials.store.records.second_marks import coupon_behind
from trials.store.tables import FileCells, FileTable, text_in, whole_in

ORDER = "measure_order"
FEW = 4
"""Coupons of a file: fewer stand in the order of a list by chance."""


@dataclass(frozen=True)
class BenchFile:
    """Readings in long form; again: those with a reason in the column `again_because`, which correct others."""

    readings: FileTable
    again: FileTable


def read_bench(file: str | Path | FileCells, records: Records) -> BenchFile:
    """Readings of a file, those measured again apart, with the place in which each was measured where it is known.

    file: its name, or its cells as `bench_cells` reads them.

    A second mark is taken for the coupon behind it.

    Raises
    ------
    InputError
        As `read_table_of_readings`.
    """
    table = (file if isinstance(file, FileCells) else bench_cells(file)).table()
    typed = _cells(table, BECAUSE)
    reasons = pd.Series(worked_out(typed.tolist(), text_in).values, typed.index, object)
    order = _orders(table, records)
    first = _read(table, reasons == "", records)
    again = _read(table, reasons != "", records)
    again = replace(again, frame=again.frame.assign(**{BECAUSE: reasons.reindex(again.frame.index)}))
    return BenchFile(*(_placed(part, order, records) for part in (first, again)))


def _read(table: FileTable, chosen: pd.Series, records: Records) -> FileTable:
    return read_table_of_readings(replace(table, frame=table.frame[chosen]), records)


def _placed(part: FileTable, order: pd.Series, records: Records) -> FileTable:
    """The readings with coupon and repeat behind each second mark, and the place in the order of measuring."""
    frame = part.frame.copy()
    if records.repeat_marks:
        typed = list(zip(frame["coupon"], frame["repeat"], strict=True))
        behind = {pair: coupon_behind(*pair, records) for pair in set(typed)}
        frame["coupon"], frame["repeat"] = [behind[p][0] for p in typed], [behind[p][1] for p in typed]
    places = order.reindex(frame.index).astype(object)
    frame["measured_order"] = places.where(places.notna(), None)
    return replace(part, frame=frame)


def _cells(table: FileTable, header: str) -> pd.Series:
    """The cells of the column that stands for this header in any language; empty where there is none."""
    for name in table.frame.columns:
        if kept_word(str(name)).strip().lower() == header:
            return table.frame[name]
    return pd.Series([None] * len(table.frame), index=table.frame.index, dtype=object)


def _orders(table: FileTable, records: Records) -> pd.Series:
    """Place in the order of measuring by row of the file: as typed, else that of the rows; <NA> where not known.

    Rows that stand in the order of the marks or of cutting were typed from a list: they tell nothing.
    """
    cells = _cells(table, ORDER)
    typed = worked_out(cells.tolist(), lambda cell: whole_in(cell, 1, decimal_comma=table.decimal_comma))
    if typed.wrong:
        named = {"file": table.file, "column": ORDER}
        raise collected([replace(problem, row=cells.index[at], **named) for at, problem in typed.wrong.items()])
    if any(place is not None for place in typed.values):
        return pd.Series(typed.values, index=cells.index, dtype="Int64")
    if _listed(table, records):
        return pd.Series(pd.NA, index=cells.index, dtype="Int64")
    last = records.readings["measured_order"].max() if len(records.readings) else pd.NA
    start = 0 if pd.isna(last) else int(last)
    return pd.Series(range(start + 1, start + len(cells) + 1), index=cells.index, dtype="Int64")


def _listed(table: FileTable, records: Records) -> bool:
    marks = list(dict.fromkeys(text_in(cell) for cell in dict.fromkeys(_cells(table, "coupon")) if cell is not None))
    planned = dict(zip(records.coupons["coupon"], records.coupons["order"], strict=True))
    by_cut = sorted(marks, key=lambda mark: int(planned.get(mark, 0)))
    return len(marks) >= FEW and marks in (sorted(marks), by_cut)
