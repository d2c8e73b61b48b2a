"""A table that was cut without this tool becomes a trial folder: question written, coupons, cuts and readings kept.

Nothing is claimed about the order in which it was cut: the journal says that it is not known to be random.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert

from trials.errors import InputError, Problems
from trials.findings import Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.responses import QUANTITIES
from trials.store.intake.adopted_file import (
    AdoptedFactor,
    AdoptedResponse,
    AdoptedTrial,
    asked_response,
    column_and_unit,
    trial_text,
)
from trials.store.question import TOML
from trials.store.records import schema
from trials.store.records.changed_setting import nearest
from trials.store.records.database import NewTrial, create
from trials.store.records.folder import load, read_trial, write_question
from trials.store.records.journal import write_journal
from trials.store.records.place import database_path, with_identity
from trials.store.records.records import Records
from trials.store.records.rules import check_value
from trials.store.tables import FileTable, check_filled, number_in, read_table, text_in
from trials.trial import Trial, parse
from trials.units import column as column_name
from trials.units import factor as unit_factor
from trials.units import match_header, suffix

JOIN = " / "


@dataclass(frozen=True)
class Keys:
    """Columns of the table by the part they play; several columns form one key, joined by ` / `."""

    nozzle: tuple[str, ...]
    specimen: tuple[str, ...] = ()
    mount: tuple[str, ...] = ()
    coupon: tuple[str, ...] = ()
    block: tuple[str, ...] = ()


@dataclass(frozen=True)
class Adoption:
    """What is said about a table with one row per reading, so that it becomes a trial.

    keys: columns of nozzle, specimen, mount, coupon, block; block columns become the sheets of the trial, without
    coupon columns each row is a coupon of its own. today: type in use, as written in the table. responses: as
    `AdoptedResponse`, or `column:unit`, of which the first is primary; scale (`log` or `measured`) and worthwhile are
    for those. factors: column -> whether its levels are text; its unit stands at the end of the name (`pressure_bar`)
    or after a colon (`p:bar`). thickness in mm; sheet: of a workbook.
    """

    keys: Keys
    today: str
    responses: tuple[AdoptedResponse | str, ...]
    factors: Mapping[str, bool] = field(default_factory=dict)
    scale: str = ""
    worthwhile: str = ""
    title: str = ""
    question: str = ""
    material: str = "not given"
    thickness: float | None = None
    gas: str = ""
    cut: str | None = None
    sheet: str | None = None


def adopt(
    folder: Path | str, table_path: Path | str, said: Adoption, who: str = "", at: datetime | None = None
) -> Records:
    """Make a trial folder from a table with one row per reading.

    Raises
    ------
    InputError
        If a column is missing, a cell of a key is empty, a coupon mixes nozzles, blocks or settings, a value cannot
        be used, or the folder holds a trial already. Nothing is written then.
    """
    folder = Path(folder)
    settings = [AdoptedFactor(*column_and_unit(name), is_text) for name, is_text in said.factors.items()]
    asked = [asked_response(r, place, said.scale, said.worthwhile) for place, r in enumerate(said.responses)]
    _refuse_occupied(folder)
    cut_short = database_path(folder).exists()
    if said.thickness is not None and not 0 < said.thickness < math.inf:
        raise InputError("not a sheet thickness", found=said.thickness, allowed="above 0 mm", do="Correct it.")
    name = os.fsencode(Path(table_path).name).decode(errors="replace")
    table = read_table(table_path, said.sheet)
    _check_columns(table, said.keys, settings, asked)
    rows, problems = list[dict[str, Any]](), Problems()
    for number, cells in _cells(table):
        with problems.gathered():
            rows.append(_row(table, number, cells, said.keys, settings, asked))
    problems.tell()
    if not rows:
        raise InputError("the table has no rows below its header", file=table.file, do="Add the readings.")
    _check_today(said.today, rows, table.file)
    coupons = _coupons(rows, table.file)
    trial_file = AdoptedTrial(
        {"title": said.title or f"Adopted from {name}", "question": said.question},
        {"material": said.material, "thickness_mm": said.thickness, "gas": said.gas, "cut": said.cut},
        said.today,
        tuple(settings),
        tuple(asked),
    )
    text = trial_text(trial_file, rows, name)
    found = _Found(parse(text, str(folder / TOML)), text, rows, coupons, name)
    if not cut_short:
        _write(folder, found, settings, said.keys, who, at)
    elif _question_begun(folder) != text.strip():
        _refuse_occupied(folder)
    return load(folder)


@dataclass(frozen=True)
class _Found:
    """A table as it was understood: the question and its text, its rows, its coupons, the name of its file."""

    trial: Trial
    text: str
    rows: list[dict[str, Any]]
    coupons: list[dict[str, Any]]
    name: str


def _question_begun(folder: Path) -> str:
    """The question of an adoption that was cut short, which is put back, without the identity of its records."""
    return with_identity(read_trial(folder)[1], "").strip()


def _refuse_occupied(folder: Path) -> None:
    if (folder / TOML).exists():
        raise InputError("holds a trial already", file=str(folder), do="Name a new folder.")
    if folder.exists() and not folder.is_dir():
        raise InputError("is a file, not a folder", file=str(folder), do="Name a new folder.")


def _check_columns(
    table: FileTable, keys: Keys, factors: Sequence[AdoptedFactor], responses: Sequence[AdoptedResponse]
) -> None:
    if not keys.nozzle or not responses:
        raise InputError("which nozzle and which response?", do="Name the column of the nozzle type and of a response.")
    wanted = [
        *(name for part in vars(keys).values() for name in part),
        *(f.column for f in factors),
        *(r.column for r in responses),
    ]
    have = [str(name) for name in table.frame.columns]
    for name in wanted:
        if name not in have:
            raise InputError(
                "no such column",
                file=table.file,
                row=table.header_row,
                found=name,
                allowed=", ".join(have),
                do=nearest(name, have) or "Name one of these.",
            )
    check_filled(table, wanted)


def _cells(table: FileTable) -> Iterable[tuple[int, dict[str, Any]]]:
    names = [str(name) for name in table.frame.columns]
    for number, row in zip(table.frame.index, table.frame.itertuples(index=False, name=None), strict=True):
        yield int(number), dict(zip(names, row, strict=True))


def _row(
    table: FileTable,
    number: int,
    cells: dict[str, Any],
    keys: Keys,
    factors: Sequence[AdoptedFactor],
    responses: Sequence[AdoptedResponse],
) -> dict[str, Any]:
    """One row of the table in the words of a trial: keys joined, settings and values as numbers."""
    place: dict[str, Any] = {"file": table.file, "row": number}
    comma = table.decimal_comma
    row: dict[str, Any] = {"row": number}
    for part, columns in vars(keys).items():
        row[part] = JOIN.join(_key_cell(cells, name, place) for name in columns)
    row["settings"] = {}
    for name, is_text in ((factor.column, factor.is_text) for factor in factors):
        word = _key_cell(cells, name, place)
        row["settings"][name] = word if is_text else number_in(cells[name], decimal_comma=comma, column=name, **place)
    row["values"] = {}
    for r in responses:
        value = number_in(cells[r.column], decimal_comma=comma, column=r.column, **place)
        if value is not None:
            row["values"][r.name] = value * _onto_kept_unit(r, table.file)
    if not row["values"]:
        raise InputError("no value", column=responses[0].column, do="Fill it in or remove the row.", **place)
    return row


def _onto_kept_unit(response: AdoptedResponse, file: str) -> float:
    """Multiply a value of the table by this: a known response is kept in its own unit, others as they are."""
    known = QUANTITIES.get(response.name)
    if known is None:
        return 1.0
    kept = suffix(known.unit)
    if response.unit:
        scale = unit_factor(response.unit, kept)
    else:
        matched = match_header(response.column, {known.column: kept})
        scale = matched[1] if matched else None
    if scale is None:
        raise InputError(
            f"in which unit is {response.name} given?",
            file=file,
            column=response.column,
            found=response.unit or None,
            do=f"Say it: {known.unit} or another unit of the same kind.",
        )
    return scale


def _key_cell(cells: dict[str, Any], name: str, place: dict[str, Any]) -> str:
    text = text_in(cells[name])
    if not text:
        raise InputError("empty cell", column=name, do="Fill it in or remove the row.", **place)
    return text


def _coupons(rows: list[dict[str, Any]], file: str) -> list[dict[str, Any]]:
    """Coupons in the order in which they first appear; each row gets its coupon and its reading number."""
    found: dict[str, dict[str, Any]] = {}
    mounts: dict[str, dict[str, Any]] = {}
    for row in rows:
        row["coupon"] = row["coupon"] or f"row {row['row']}"
        first = found.setdefault(row["coupon"], {**row, "count": 0})
        _same(first, row, ("nozzle", "specimen", "mount", "block", "settings"), "coupon", file)
        if row["mount"]:
            _same(mounts.setdefault(row["mount"], row), row, ("nozzle", "specimen"), "mount", file)
        first["count"] += 1
        row["reading"] = first["count"]
    _specimens_of_one_type(rows, file)
    return list(found.values())


def _same(first: dict[str, Any], row: dict[str, Any], parts: tuple[str, ...], what: str, file: str) -> None:
    for part in parts:
        if first[part] != row[part]:
            word = "settings" if part == "settings" else f"{part}s"
            raise InputError(
                f"{what} {row[what]!r} mixes {word}: {_words(first[part])} in row {first['row']}, "
                f"{_words(row[part])} in row {row['row']}",
                file=file,
                do=f"Add a column to the {what} key so that each {what} has one.",
            )


def _specimens_of_one_type(rows: list[dict[str, Any]], file: str) -> None:
    owner: dict[str, dict[str, Any]] = {}
    for row in rows:
        if row["specimen"]:
            _same(owner.setdefault(row["specimen"], row), row, ("nozzle",), "specimen", file)


def _words(part: Any) -> str:
    if isinstance(part, dict):
        return ", ".join(f"{name} {value}" for name, value in part.items())
    return repr(part)


def _check_today(today: str, rows: list[dict[str, Any]], file: str) -> None:
    types = list(dict.fromkeys(row["nozzle"] for row in rows))
    if today not in types:
        raise InputError(
            "today's nozzle is not in the table",
            file=file,
            found=today,
            allowed=", ".join(types),
            do=nearest(today, types) or "Name one of these.",
        )


def _write(
    folder: Path, found: _Found, factors: Sequence[AdoptedFactor], keys: Keys, who: str, at: datetime | None
) -> None:
    plan = _plan_tables(found.coupons, factors, keys)
    readings = _readings(found.rows, found.trial, found.name)

    def fill(connection: Connection, moment: str) -> None:
        facts = {"file": found.name, "rows": len(found.rows), "coupons": len(found.coupons)}
        write_journal(connection, moment, who, JournalKind.ADOPTED, facts)
        entry = {"who": who.strip(), "why": "", "entered_at": moment}
        connection.execute(insert(schema.cuts), [{**_cut(c, i), **entry} for i, c in enumerate(found.coupons, 1)])
        connection.execute(insert(schema.readings), [{**r, **entry} for r in readings])

    said = (Finding(RecordKind.ORDER_NOT_RANDOM),)
    made = _made(folder)
    try:
        identity = create(folder, NewTrial(found.trial, found.text, plan, said), at, fill)
    except BaseException:
        if made:
            with suppress(OSError):  # another adoption is at work in it
                folder.rmdir()
        raise
    write_question(folder, with_identity(found.text, identity))


def _made(folder: Path) -> bool:
    """Make a folder; whether it was not there before.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    there = folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be made ({reason})", file=str(folder), do="Name another folder.") from None
    return not there


def _plan_tables(
    coupons: list[dict[str, Any]], factors: Sequence[AdoptedFactor], keys: Keys
) -> dict[str, pd.DataFrame]:
    frame = pd.DataFrame(
        [
            {
                "coupon": c["coupon"],
                "order": place,
                "sheet": c["block"],
                "mount": c["mount"],
                "nozzle": c["nozzle"],
                "specimen": c["specimen"],
                **{column_name(*factor.parts): c["settings"][factor.column] for factor in factors},
                "block": 1,
            }
            for place, c in enumerate(coupons, 1)
        ]
    )
    plan: dict[str, pd.DataFrame] = {"coupons": frame}
    if keys.block:
        plan["sheets"] = pd.DataFrame({"sheet": frame["sheet"].unique()})
    if keys.mount:
        first = frame.drop_duplicates("mount")
        plan["mounts"] = first[["mount", "nozzle", "specimen", "order", "sheet"]]
    return plan


def _cut(coupon: dict[str, Any], place: int) -> dict[str, Any]:
    blank = dict.fromkeys(("cut_at", "changed_setting", "note"), "")
    head = {"coupon": coupon["coupon"], "cut_order": place, "mount": coupon["mount"], "sheet": coupon["block"]}
    return {**head, "outcome": "cut", **blank}


def _readings(rows: list[dict[str, Any]], trial: Trial, file: str) -> list[dict[str, Any]]:
    blank = {"repeat": 0, "side": "", "inspector": "", "instrument": "", "measured_on": "", "note": ""}
    empty = {"cutoff_mm": None, "depth_mm": None}
    found = []
    for row in rows:
        for name, value in row["values"].items():
            quantity = trial.quantity(name)
            number = check_value(value, quantity, file=file, row=row["row"])
            head = {"coupon": row["coupon"], "reading": row["reading"], "field": quantity.column, "value": number}
            found.append({**head, **blank, **empty})
    return found
