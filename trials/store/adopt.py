"""A table that was cut without this tool becomes a trial folder: question written, coupons, cuts and readings kept.

Nothing is claimed about the order in which it was cut: the journal says that it is not known to be random.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert

from trials.errors import InputError
from trials.responses import QUANTITIES
from trials.store import schema
from trials.store.core import TOML, database_path, load, write_journal
from trials.store.database import create
from trials.store.records import Records
from trials.store.rules import check_value
from trials.store.settings import nearest
from trials.store.tables import number_in, read_table, text_in
from trials.trial import Trial, parse
from trials.units import column as column_name
from trials.units import factor, match_header, suffix

JOIN = " / "
UNKNOWN_ORDER = "Adopted table: the order of cutting is not known to be random."


@dataclass(frozen=True)
class AdoptedResponse:
    """One response of an adopted table: its column, and what the column name does not say.

    name: a known response (roughness, squareness, ...) or one of the user's own; worthwhile as in trial.toml.
    """

    name: str
    column: str
    unit: str = ""
    scale: str | None = None
    primary: bool = True
    worthwhile: str | None = None
    level: float | None = None
    resolution: float | None = None
    higher_is_better: bool = False


@dataclass(frozen=True)
class Keys:
    """Columns of the table by the part they play; several columns form one key, joined by ` / `."""

    nozzle: tuple[str, ...]
    specimen: tuple[str, ...] = ()
    mount: tuple[str, ...] = ()
    coupon: tuple[str, ...] = ()
    block: tuple[str, ...] = ()


def adopt(
    folder: Path | str,
    table_path: Path | str,
    *,
    nozzle: str | Sequence[str],
    today: str,
    responses: Sequence[AdoptedResponse],
    specimen: str | Sequence[str] = (),
    mount: str | Sequence[str] = (),
    coupon: str | Sequence[str] = (),
    block: str | Sequence[str] = (),
    factors: Mapping[str, bool] | None = None,
    title: str = "",
    question: str = "",
    material: str = "not given",
    thickness_mm: float | None = None,
    gas: str = "",
    cut: str | None = None,
    who: str = "",
    sheet: str | None = None,
    at: datetime | None = None,
) -> Records:
    """Make a trial folder from a table with one row per reading.

    factors: column -> whether its levels are text; a unit at the end of the name is understood (`pressure_bar`).
    block columns become the sheets of the trial. Without coupon columns each row is a coupon of its own.

    Raises
    ------
    InputError
        If a column is missing, a cell of a key is empty, a coupon mixes nozzles, blocks or settings, a value cannot
        be used, or the folder holds a trial already. Nothing is written then.
    """
    folder = Path(folder)
    keys = Keys(*(_tuple(part) for part in (nozzle, specimen, mount, coupon, block)))
    factors = dict(factors or {})
    _refuse_occupied(folder)
    table = read_table(table_path, sheet)
    _check_columns(table, keys, factors, responses)
    rows = [_row(table, number, cells, keys, factors, responses) for number, cells in _cells(table)]
    if not rows:
        raise InputError("the table has no rows below its header", file=table.attrs["file"], do="Add the readings.")
    _check_today(today, rows, table.attrs["file"])
    coupons = _coupons(rows, keys, table.attrs["file"])
    heading = {"title": title or f"Adopted from {Path(str(table_path)).name}", "question": question}
    application = {"material": material, "thickness_mm": thickness_mm, "gas": gas, "cut": cut}
    text = _toml(heading, application, rows, today, factors, responses, table.attrs["file"])
    trial = parse(text, str(folder / TOML))
    _write(folder, trial, text, rows, coupons, keys, who, at, Path(str(table_path)).name)
    return load(folder)


def _tuple(columns: str | Sequence[str]) -> tuple[str, ...]:
    return (columns,) if isinstance(columns, str) and columns else tuple(columns)


def _refuse_occupied(folder: Path) -> None:
    if (folder / TOML).exists() or database_path(folder).exists():
        raise InputError("holds a trial already", file=str(folder), do="Name a new folder.")
    if folder.exists() and not folder.is_dir():
        raise InputError("is a file, not a folder", file=str(folder), do="Name a new folder.")


def _check_columns(table: pd.DataFrame, keys: Keys, factors: Mapping[str, bool], responses) -> None:
    if not keys.nozzle or not responses:
        raise InputError("which nozzle and which response?", do="Name the column of the nozzle type and of a response.")
    wanted = [*(name for part in vars(keys).values() for name in part), *factors, *(r.column for r in responses)]
    have = [str(name) for name in table.columns]
    for name in wanted:
        if name not in have:
            raise InputError(
                "no such column",
                file=table.attrs["file"],
                row=table.attrs["header_row"],
                found=name,
                allowed=", ".join(have),
                do=nearest(name, have) or "Name one of these.",
            )


def _cells(table: pd.DataFrame) -> Iterable[tuple[int, dict[str, Any]]]:
    names = [str(name) for name in table.columns]
    for number, row in zip(table.index, table.itertuples(index=False, name=None), strict=True):
        yield int(number), dict(zip(names, row, strict=True))


def _row(table: pd.DataFrame, number: int, cells: dict[str, Any], keys: Keys, factors, responses) -> dict[str, Any]:
    """One row of the table in the words of a trial: keys joined, settings and values as numbers."""
    place = {"file": table.attrs["file"], "row": number}
    comma = table.attrs["decimal_comma"]
    row: dict[str, Any] = {"row": number}
    for part, columns in vars(keys).items():
        row[part] = JOIN.join(_key_cell(cells, name, place) for name in columns)
    row["settings"] = {}
    for name, is_text in factors.items():
        word = _key_cell(cells, name, place)
        row["settings"][name] = word if is_text else number_in(cells[name], decimal_comma=comma, column=name, **place)
    row["values"] = {}
    for r in responses:
        value = number_in(cells[r.column], decimal_comma=comma, column=r.column, **place)
        if value is not None:
            row["values"][r.name] = value * _onto_kept_unit(r, table.attrs["file"])
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
        scale = factor(response.unit, kept)
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


def _coupons(rows: list[dict[str, Any]], keys: Keys, file: str) -> list[dict[str, Any]]:
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


def _factor_parts(name: str) -> tuple[str, str]:
    """`pressure_bar` -> (`pressure`, `bar`); a name without a known unit stays whole."""
    for unit in ("m_min", "mm", "um", "bar", "kw"):
        stem = name[: -len(unit) - 1]
        if stem and name == column_name(stem, unit):
            return stem, unit
    return name, ""


def _toml(heading, application, rows, today: str, factors, responses, file: str) -> str:
    """The text of the trial file."""
    lines = [f"# Written from {json.dumps(Path(file).name)}; details that are missing may be added.", "", "[trial]"]
    question = heading["question"] or f"Which nozzle type gives the better edge, compared with {today}?"
    lines += [f"title = {_quoted(heading['title'])}", f"question = {_quoted(question)}", "", "[application]"]
    lines += [f"{key} = {_value(value)}" for key, value in application.items() if value not in (None, "")]
    types = list(dict.fromkeys(row["nozzle"] for row in rows))
    for kind in sorted(types, key=lambda name: name != today):
        pieces = dict.fromkeys(row["specimen"] for row in rows if row["nozzle"] == kind and row["specimen"])
        lines += ["", "[[nozzles]]", f"type = {_quoted(kind)}"]
        lines += [f"specimens = {_value(list(pieces))}"] if pieces else []
        lines += ["today = true"] if kind == today else []
    for name in factors:
        stem, unit = _factor_parts(name)
        levels = dict.fromkeys(row["settings"][name] for row in rows)
        ordered = list(levels) if factors[name] else sorted(levels)
        lines += ["", f"[factors.{_quoted(stem)}]", f"unit = {_quoted(unit)}", f"levels = {_value(ordered)}"]
    blocks = len({row["block"] for row in rows if row["block"]})
    lines += ["", "[plan]", 'method = "adopted"', f"sheets = {max(blocks, 1)}"]
    for response in responses:
        lines += _response_lines(response, rows, file)
    return "\n".join(lines) + "\n"


def _response_lines(response: AdoptedResponse, rows: list[dict[str, Any]], file: str) -> list[str]:
    per_coupon: dict[str, int] = {}
    for row in rows:
        if response.name in row["values"]:
            per_coupon[row["coupon"]] = per_coupon.get(row["coupon"], 0) + 1
    if not per_coupon:
        raise InputError("no value in the whole column", file=file, column=response.column, do="Name another column.")
    lines = ["", f"[responses.{_quoted(response.name)}]", f"readings = {max(per_coupon.values())}"]
    known = QUANTITIES.get(response.name)
    scale = response.scale or (known.scale if known else "as measured")
    stated = {
        "primary": response.primary or None,
        "worthwhile": response.worthwhile or ("15 %" if response.primary and scale != "grade" else None),
        "scale": response.scale,
        "column": None if known else response.column,
        "unit": None if known else response.unit or None,
        "resolution": response.resolution,
        "higher_is_better": response.higher_is_better or None,
    }
    lines += [f"{key} = {_value(value)}" for key, value in stated.items() if value is not None]
    level = response.level
    if level is None and scale == "as measured" and str(stated["worthwhile"]).endswith("%"):
        values = [row["values"][response.name] for row in rows if response.name in row["values"]]
        level = float(f"{pd.Series(values).median():.4g}")
    if level is not None:
        lines += [f"[responses.{_quoted(response.name)}.expected]", f"level = {_value(level)}"]
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _value(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


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


def _write(folder, trial: Trial, text: str, rows, coupons, keys: Keys, who: str, at, name: str) -> None:
    plan = _plan_tables(coupons, keys)

    def fill(connection: Connection, moment: str) -> None:
        write_journal(connection, moment, who, "adopted", f"{name}: {len(rows)} rows, {len(coupons)} coupons")
        entry = {"who": who.strip(), "why": "", "entered_at": moment}
        connection.execute(insert(schema.cuts), [{**_cut(c, i), **entry} for i, c in enumerate(coupons, 1)])
        connection.execute(insert(schema.readings), [{**r, **entry} for r in readings])

    readings = _readings(rows, trial, name)
    made = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    try:
        create(folder, trial, text, plan, [UNKNOWN_ORDER], at, fill)
        (folder / TOML).write_text(text, encoding="utf-8")
    except BaseException:
        database_path(folder).unlink(missing_ok=True)
        if made:
            folder.rmdir()
        raise


def _plan_tables(coupons: list[dict[str, Any]], keys: Keys) -> dict[str, pd.DataFrame]:
    frame = pd.DataFrame(
        [
            {
                "coupon": c["coupon"],
                "order": place,
                "sheet": c["block"],
                "mount": c["mount"],
                "nozzle": c["nozzle"],
                "specimen": c["specimen"],
                **{column_name(*_factor_parts(name)): value for name, value in c["settings"].items()},
                "block": 1,
            }
            for place, c in enumerate(coupons, 1)
        ]
    )
    plan = {"coupons": frame}
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
