"""An export: everything on record in open files that outlive this tool.

`records.json` holds every table cell by cell, with the question and the chain, and is what a trial is made again from;
the tables beside it (CSV, and one workbook) are for people and other programs, with a data dictionary.
"""

from __future__ import annotations

import base64
import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trials.errors import InputError
from trials.store.keeping.folders import Kept, new_folder
from trials.store.records import chain, schema
from trials.store.records.folder import Proved, check_belongs, read_trial, require_frozen
from trials.store.records.migrations import SCHEMA_VERSION, transaction
from trials.store.records.stored import Stored
from trials.words.dictionary import head, meaning

RECORDS = "records.json"
FORMAT = "nozzle-trials export"
LEFT_OUT = ("paper", "summary_json", "words_json")
"""Columns that only `records.json` holds."""
SHEET_ROWS = 1_048_575
"""Most rows of a workbook sheet below its header."""


@dataclass(frozen=True)
class ReadOut:
    """Everything on record: the question as it stands in its file, what the database says of itself, its tables."""

    question: str
    about: Mapping[str, str]
    tables: Mapping[str, Stored]
    head: str


def read_out(folder: Path | str) -> ReadOut:
    """The records of a trial at one moment, held against their chain.

    Raises
    ------
    InputError
        If no plan is frozen, or the records are damaged.
    """
    trial, text = read_trial(folder)
    place = require_frozen(folder)
    with transaction(place, writes=False) as connection:
        proved = Proved.of(connection, place)
        check_belongs(Path(folder), trial, proved)
        known = chain.about(connection)
    return ReadOut(text, known, {**proved.tables, schema.journal.name: proved.journal}, proved.head)


def export(folder: Path | str, out: Path | str) -> Kept:
    """Write everything on record to a new folder: `records.json`, `records.xlsx`, a CSV per table, `dictionary.csv`.

    Raises
    ------
    InputError
        As `read_out`; if the new folder is there already.
    """
    found = read_out(folder)
    tables = {name: _for_people(table) for name, table in found.tables.items()}
    if max(len(rows) for _, rows in tables.values()) > SHEET_ROWS:
        raise InputError("too many rows for a workbook", file=str(folder), do="Make a backup with `trials backup`.")
    with new_folder(Path(out)) as part:
        (part / RECORDS).write_bytes(_whole(found))
        (part / "question.toml").write_bytes(found.question.encode())
        tables["dictionary"] = _dictionary(tables)
        for name, (columns, rows) in tables.items():
            (part / f"{name}.csv").write_bytes(_csv(columns, rows))
        (part / "records.xlsx").write_bytes(_workbook(tables))
    return Kept(Path(out), found.head)


def _whole(found: ReadOut) -> bytes:
    tables = {
        name: {"columns": list(table.columns), "rows": [[_packed(cell) for cell in row] for row in table.of()]}
        for name, table in found.tables.items()
    }
    document = {"format": FORMAT, "schema": SCHEMA_VERSION, "about": dict(found.about), "question": found.question}
    return json.dumps({**document, "tables": tables}, ensure_ascii=False).encode()


def _packed(cell: Any) -> Any:
    return {"base64": base64.b64encode(cell).decode()} if isinstance(cell, bytes) else cell


_Table = tuple[Sequence[str], Sequence[Sequence[Any]]]


def _for_people(table: Stored) -> _Table:
    """A table with planned cells each in a column of its own, without papers."""
    if "cells" not in table.columns:
        names = [name for name in table.columns if name not in LEFT_OUT]
        return names, list(table.of(*names))
    rows = [json.loads(cells) for (cells,) in table.of("cells")]
    names = list(dict.fromkeys(name for row in rows for name in row))
    return names or ["coupon"], [[row.get(name) for name in names] for row in rows]


def _dictionary(tables: Mapping[str, _Table]) -> _Table:
    return head(), [
        [name, column, meaning(name, column)] for name, (columns, _) in tables.items() for column in columns
    ]


def _csv(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(_written(row) for row in rows)
    return text.getvalue().encode()


def _written(row: Sequence[Any]) -> Iterator[Any]:
    """Cells as typed; a number with every digit it is kept with."""
    return ("" if cell is None else repr(cell) if isinstance(cell, float) else cell for cell in row)


def _workbook(tables: Mapping[str, _Table]) -> bytes:
    import xlsxwriter

    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        for name in ("dictionary", *(name for name in tables if name != "dictionary")):
            columns, rows = tables[name]
            sheet = book.add_worksheet(name[:31])
            sheet.freeze_panes(1, 0)
            for number, row in enumerate((columns, *rows)):
                for place, cell in enumerate(row):
                    _write_cell(sheet, number, place, cell)
    return data.getvalue()


def _write_cell(sheet: Any, number: int, place: int, cell: Any) -> None:
    if isinstance(cell, (int, float)):
        sheet.write_number(number, place, cell)
    elif cell not in (None, ""):
        sheet.write_string(number, place, str(cell)[:32_767])
