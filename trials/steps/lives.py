"""Lives of nozzles or lenses: from a plain table, or from the records of a life trial, to a study and its paper."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from trials.errors import InputError
from trials.steps.files import write_bytes
from trials.store.tables import FileTable, number_in, read_table, text_in, yes_no_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from trials.decide.lives import LifeStudy

UNITS = ("hours", "metres", "pierces")
STILL_GOOD = "still good"
"""Note on a reading of a life trial: the specimen had not failed when the trial ended."""


@dataclass(frozen=True)
class LifeColumns:
    """Names of the columns of a table of lives; life empty: the one column named after a unit (hours, life_hours)."""

    nozzle: str = "nozzle"
    specimen: str = "specimen"
    life: str = ""
    failed: str = "failed"


def read_lives(path: Path | str, columns: LifeColumns | None = None) -> pd.DataFrame:
    """A table of lives: nozzle, specimen, life, failed (bool); attrs hold `unit` and `file`.

    Raises
    ------
    InputError
        For a missing column, an empty cell, a life that is no number above zero, a specimen listed twice.
    """
    wanted = columns or LifeColumns()
    raw = read_table(path)
    file = raw.file
    life, unit = _life_column(raw, wanted.life)
    for name in (wanted.nozzle, wanted.failed):
        if name not in raw.frame:
            raise InputError(
                "missing column",
                file=file,
                row=raw.header_row,
                column=name,
                allowed=f"nozzle, specimen, {', '.join(UNITS)}, failed",
                do="Rename the column, or name it with an option (`trials life --help`).",
            )
    rows = [
        _row(raw, number, cells, wanted, life)
        for number, cells in zip(raw.frame.index, raw.frame.to_dict("records"), strict=True)
    ]
    if not rows:
        raise InputError("the table holds no lives", file=file, do="Add one row per specimen.")
    table = pd.DataFrame(rows, index=raw.frame.index)
    _each_once(table, file, wanted.specimen)
    table.attrs = {"unit": unit, "file": file}
    return table


def _life_column(raw: FileTable, named: str) -> tuple[str, str]:
    """Column of lives and its unit in words."""
    if named:
        if named not in raw.frame:
            raise InputError(
                "missing column", file=raw.file, column=named, allowed=", ".join(raw.frame.columns), do="Correct it."
            )
        unit = next((unit for unit in UNITS if named.lower().endswith(unit)), named.replace("_", " "))
        return named, unit
    found = [(c, u) for c in raw.frame.columns for u in UNITS if str(c).lower() in (u, f"life_{u}")]
    if len(found) != 1:
        problem = "several columns of lives" if found else "no column of lives"
        raise InputError(
            problem,
            file=raw.file,
            row=raw.header_row,
            allowed=", ".join(UNITS),
            do="Name the one to use with --life-column.",
        )
    return found[0]


def _row(raw: FileTable, number: int, cells: dict, wanted: LifeColumns, life: str) -> dict:
    place = {"file": raw.file, "row": int(number)}
    nozzle, specimen = text_in(cells[wanted.nozzle]), text_in(cells.get(wanted.specimen))
    if not nozzle:
        raise InputError("no nozzle type", column=wanted.nozzle, do="Fill it in.", **place)
    value = number_in(cells[life], decimal_comma=raw.decimal_comma, column=life, **place)
    if value is None:
        raise InputError("no life", column=life, do="Fill it in, or leave the row out.", **place)
    if value <= 0:
        raise InputError(
            "a life must be above zero",
            column=life,
            found=value,
            do="Leave out what never ran, or write the shortest step.",
            **place,
        )
    failed = yes_no_in(cells[wanted.failed], column=wanted.failed, **place)
    if not failed:
        raise InputError(
            "not said whether it failed", column=wanted.failed, allowed="yes, no", do="Fill it in.", **place
        )
    return {"nozzle": nozzle, "specimen": specimen, "life": value, "failed": failed == "yes"}


def _each_once(table: pd.DataFrame, file: str, column: str) -> None:
    named = table[table["specimen"] != ""]
    twice = named[named["specimen"].duplicated()]
    if len(twice):
        raise InputError(
            "a specimen has two lives",
            file=file,
            row=int(twice.index[0]),
            column=column,
            found=twice["specimen"].iloc[0],
            do="Keep one row per specimen: its whole life.",
        )


def recorded_lives(folder: Path | str) -> pd.DataFrame:
    """Lives of a trial planned for them, as `read_lives` gives them; a note `still good` means it had not failed.

    Raises
    ------
    InputError
        If the trial was not planned for lives, or none is recorded.
    """
    from trials.steps.way import load
    from trials.store.records.as_cut import coupon_table

    records = load(folder)
    if records.trial.plan.method != "life":
        raise InputError(
            "this trial was not planned for lives",
            file=str(folder),
            do="Give `trials life` a table of lives (nozzle, specimen, hours, failed).",
        )
    name = records.trial.primaries[0]
    quantity = records.trial.quantity(name)
    rows = records.readings[(records.readings["field"] == quantity.column) & (records.readings["repeat"] == 0)]
    if not len(rows):
        raise InputError("no lives are recorded yet", file=str(folder), do="Record them with `trials record`.")
    coupons = coupon_table(records).set_index("coupon")
    longest = rows.sort_values("value").drop_duplicates("coupon", keep="last")
    noted = longest["note"].astype(str).str.lower().str.contains(STILL_GOOD)
    table = pd.DataFrame(
        {
            "nozzle": coupons.loc[longest["coupon"], "nozzle"].to_numpy(),
            "specimen": coupons.loc[longest["coupon"], "specimen"].to_numpy(),
            "life": longest["value"].to_numpy(float),
            "failed": ~noted.to_numpy(bool),
        }
    )
    order = {nozzle: i for i, nozzle in enumerate(records.trial.types)}
    table = table.sort_values("nozzle", key=lambda column: column.map(order), kind="stable").reset_index(drop=True)
    table.attrs = {"unit": quantity.unit, "file": str(folder), "today": records.trial.today.type}
    return table


def study_table(
    table: pd.DataFrame, today: str = "", quantiles: Sequence[float] = (0.1, 0.5), shape: float | None = None
) -> LifeStudy:
    """Study a table from `read_lives` or `recorded_lives`; today's type is the first in the table unless named."""
    from trials.decide.lives import study_lives

    first = table.attrs.get("today") or table["nozzle"].iloc[0]
    return study_lives(
        table["life"].to_numpy(),
        table["failed"].to_numpy(),
        table["nozzle"].to_numpy(),
        today or first,
        table.attrs["unit"],
        quantiles,
        shape,
    )


def write_lives(table: pd.DataFrame, study: LifeStudy, path: Path, made_on: date) -> None:
    """Write the study as PDF, or only its picture where the name ends in .svg."""
    from trials.report.life_paper import life_pdf, life_picture

    if path.suffix.lower() == ".svg":
        write_bytes(path, life_picture(table, study).svg.encode())
        return
    if path.suffix.lower() != ".pdf":
        raise InputError("not a name for the paper", found=str(path), allowed=".pdf, .svg", do="Change the name.")
    write_bytes(path, life_pdf(table, study, made_on))
