"""Readings of a file beside those on record: which are new, which are known, which an earlier decision overrules."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from types import NoneType
from typing import Any

import numpy as np
import pandas as pd

from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import RecordKind
from trials.responses import Beyond, Quantity
from trials.store.records.bounds import as_typed, same_reading
from trials.store.records.changed_setting import nearest
from trials.store.records.entry import cleaned_cell
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import PLACE, REAL, WHOLE, Records, current, rows_of
from trials.store.records.rules import check_coupon, check_value, check_was_cut, outcomes, quantities
from trials.store.records.second_marks import at_the_bench
from trials.store.tables import FileTable


@dataclass(frozen=True)
class SortedReadings:
    """Readings of a file by what becomes of them.

    fresh: to be added, with the columns of readings and `replaces` (the row on record, <NA> for most); overruled: what
    a later decision overrules.
    """

    fresh: pd.DataFrame
    overruled: tuple[Finding, ...]


def sorted_readings(long: FileTable, records: Records) -> SortedReadings:
    """Checked rows that are not on record yet; what was corrected or withdrawn since stays as it was decided.

    Raises
    ------
    InputError
        At the first row that cannot be kept; or, all at once, for every reading that differs from the one on record.
    """
    rows = _cleaned(long.frame)
    _check_rows(rows, long, records)
    stored = current(records.all_readings)
    at = _places_in(rows, stored)
    twice = rows.duplicated(list(PLACE), keep=False).to_numpy()
    fresh, known = (at < 0) & ~twice, (at >= 0) & ~twice
    known[known] = _same(rows[known], stored.iloc[at[known]])
    replaces = dict[int, int]()
    rest = _Rest.of(rows[~fresh & ~known], records)
    overruled = list[Finding]()
    problems = Problems()
    left = np.flatnonzero(~fresh & ~known).tolist()
    for place, row in zip(left, rows_of(rows.iloc[left]), strict=True):
        old = rest.stored.get(_key(row))
        with problems.gathered():
            finding = rest.judged(row, long.place(long.frame.index[place]))
            overruled += [finding] if isinstance(finding, Finding) else []
            fresh[place] = finding is True
            if finding is True and old and "id" in old:
                replaces[place] = int(old["id"])
    problems.tell()
    named = pd.Series(replaces, dtype="Int64").reindex(range(len(rows)))
    return SortedReadings(rows.assign(replaces=named)[fresh], tuple(overruled))


KEPT_AS = {**dict.fromkeys(WHOLE, "int64"), **dict.fromkeys(REAL, "float64")}
"""Columns that are as they are kept when they come as that kind: nothing of them is left to clean."""


def _cleaned(frame: pd.DataFrame) -> pd.DataFrame:
    """Every column of a reading, each of one kind: whole numbers, numbers, text."""
    columns = {}
    for name in READING_COLUMNS:
        cells = frame[name] if name in frame else pd.Series([None]).repeat(len(frame))
        done = cells.tolist()
        if str(cells.dtype) != KEPT_AS.get(name):
            done = _each_once(done, partial(cleaned_cell, name))
        if name == "repeat":
            done = [cell or 0 for cell in done]
        columns[name] = pd.Series(done, dtype="float64" if name in REAL else object)
    return pd.DataFrame(columns)


def _each_once(cells: Sequence[Any], work: Callable[[Any], Any]) -> list[Any]:
    kinds = set(map(type, cells)) - {NoneType}
    if kinds <= {str}:
        alike = {cell: work(cell) for cell in set(cells)}
        return list(map(alike.__getitem__, cells))
    keys: list[Hashable] = [None if cell != cell else (type(cell), cell) for cell in cells]
    done = {key: work(None if key is None else key[1]) for key in set(keys)}  # type: ignore[index]
    return [done[key] for key in keys]


def _check_rows(rows: pd.DataFrame, long: FileTable, records: Records) -> None:
    """Raise InputError for the first row that no trial, or not this one, can keep."""
    known, marks, recorded = quantities(records.trial), frozenset(records.coupons["coupon"]), outcomes(records)
    measured = rows["beyond"] != Beyond.NOT_MEASURABLE.value

    def check(field: str, coupon: str, value: float | None, taken: bool, **place: Any) -> None:
        if field not in known:
            hint = nearest(field, list(known))
            raise InputError("unknown field", found=field, allowed=", ".join(known), do=hint, **place)
        check_coupon(coupon, marks, **place)
        check_was_cut(coupon, recorded, **place)
        if taken:
            check_value(value, known[field], **place)

    wrong = ~rows["coupon"].isin([mark for mark in marks if recorded.get(mark) == "cut"]) | ~rows["field"].isin(known)
    for field, quantity in known.items():
        mine = measured & (rows["field"] == field)
        wrong |= mine & ~rows["value"].isin([value for value in rows["value"][mine].unique() if _fits(value, quantity)])
    if wrong.any():
        at = int(np.argmax(wrong.to_numpy()))
        row = rows_of(rows.iloc[[at]])[0]
        check(row["field"], row["coupon"], row["value"], bool(measured[at]), **long.place(long.frame.index[at]))


def _fits(value: float, quantity: Quantity) -> bool:
    try:
        check_value(value, quantity)
    except InputError:
        return False
    return True


def _places_in(rows: pd.DataFrame, stored: pd.DataFrame) -> np.ndarray:
    """Where each reading is on record, -1 where it is not."""
    if not len(stored):
        return np.full(len(rows), -1)
    where = {key: at for at, key in enumerate(zip(*(stored[name] for name in PLACE), strict=True))}
    return np.array([where.get(key, -1) for key in zip(*(rows[name] for name in PLACE), strict=True)], dtype=int)


def _same(rows: pd.DataFrame, stored: pd.DataFrame) -> np.ndarray:
    """Whether each row says what is on record, the end of a life included."""
    here, there = rows["value"].to_numpy(float), stored["value"].to_numpy(float)
    none = np.isnan(here) & np.isnan(there) & (stored["beyond"] == Beyond.NOT_MEASURABLE.value).to_numpy()
    beyond = rows["beyond"].to_numpy() == stored["beyond"].to_numpy()
    ended = rows["ended"].to_numpy()
    same: np.ndarray = ((here == there) | none) & beyond & ((ended == "") | (ended == stored["ended"].to_numpy()))
    return same


_Key = tuple[str, int, int, str]


def _key(row: dict[str, Any]) -> _Key:
    return row["coupon"], int(row["reading"]), int(row["repeat"]), row["field"]


@dataclass(frozen=True)
class _Rest:
    """Readings that need a second look: on record with something else, corrected since, or twice in the file.

    stored: the row that stands; earlier: values that a correction replaced; ends: how the life ended, as first typed to
    as it stands now; records: which tell how the bench names a reading.
    """

    records: Records

    stored: dict[_Key, dict[str, Any]]
    earlier: dict[_Key, set[float]]
    ends: dict[_Key, list[str]]

    @classmethod
    def of(cls, rows: pd.DataFrame, records: Records) -> _Rest:
        """What is on record of the coupons of these rows."""
        kept = records.all_readings
        mine = kept[kept["coupon"].isin(rows["coupon"])]
        replaced = set(mine["replaces"].dropna())
        found = cls(records, {}, {}, {})
        for row in rows_of(mine):
            key = _key(row)
            found.ends.setdefault(key, []).append(row["ended"] or "")
            if row["id"] not in replaced:
                found.stored[key] = row
            elif row["value"] is not None:
                found.earlier.setdefault(key, set()).add(row["value"])
        return found

    def judged(self, row: dict[str, Any], place: dict[str, Any]) -> Finding | bool:
        """True for a new reading, False for one that is known, a finding for one that is overruled."""
        key = _key(row)
        old, earlier = self.stored.get(key), self.earlier.get(key, set())
        if same_reading(row, old):
            _check_end(self._at_the_bench(row), self.ends.get(key, []), place)
            return False
        if (old is None or old["value"] is None) and row["value"] not in earlier:
            self.stored[key] = row
            return True
        return _overruled(self._at_the_bench(row), old or {}, earlier, place)

    def _at_the_bench(self, row: dict[str, Any]) -> dict[str, Any]:
        mark, repeat = at_the_bench(row["coupon"], row["repeat"], self.records)
        return row | {"coupon": mark, "repeat": repeat}


def _check_end(row: dict[str, Any], ends: list[str], place: dict[str, Any]) -> None:
    """Raise where a file says of a known life that it ended otherwise than was ever on record."""
    if row["ended"] and ends and row["ended"] not in ends:
        raise InputError(
            f"coupon {row['coupon']}, reading {row['reading']} is on record as {ends[-1] or 'ended without a cause'}",
            column="ended",
            found=row["ended"],
            do="Put that into the cell, or state who and why with `trials correct`.",
            **place,
        )


def _overruled(row: dict[str, Any], old: dict[str, Any], earlier: set[float], place: dict[str, Any]) -> Finding:
    """The finding that a decision stands against an older file; raises where the value was never on record."""
    kept = old.get("value")
    if row["value"] in earlier:
        facts: dict[str, Fact] = {"mark": row["coupon"], "reading": row["reading"], "column": row["field"]}
        facts |= {"repeat": row["repeat"], "found": row["value"], "kept": kept}
        facts |= {"file": place.get("file", ""), "row": place.get("row")}
        return Finding(RecordKind.WITHDRAWAL_STANDS if kept is None else RecordKind.CORRECTION_STANDS, facts=facts)
    repeat = f", repeat {row['repeat']}" if row["repeat"] else ""
    where = f"coupon {row['coupon']}, reading {row['reading']}{repeat}"
    raise InputError(
        f"{where} is on record with {as_typed(old)}",
        column=row["field"],
        found=as_typed(row) if row["beyond"] or row["value"] is None else row["value"],
        do="Readings are never overwritten: put that into the cell, or state who and why with `trials correct`.",
        **place,
    )
