"""The workbook for the machine: what to cut in which order, and where to write what was really cut."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from trials import standards
from trials.plan.cautions import nozzle_cautions
from trials.store.records.changed_setting import parse_changed_setting
from trials.store.records.records import YES_NO_COLUMNS, Records, rows_of
from trials.store.records.rules import OUTCOMES
from trials.store.workbooks.book import Book, Column, between, choice, created_at, header_words
from trials.trial import Level, Trial
from trials.units import column
from trials.words import columns
from trials.words.findings import say
from trials.words.language import text, word
from trials.words.numbers import plain, point
from trials.words.plan import described, limit_words
from trials.words.system import setting_in_use, unit_in_use

SPARE_MOUNTS = 10
SPARE_SHEETS = 4
DATE = "yyyy-mm-dd hh:mm"


def steps() -> list[tuple[str, str]]:
    """How to fill it in, a step and what to do."""
    return [
        (
            text("before each mount"),
            text("Look into the bore: right type, right specimen mark, clean, round. Mark the piece."),
        ),
        (
            text("at each mount"),
            text("Centre the nozzle, calibrate the height, then fill in its row on the sheet `mounts`."),
        ),
        (
            text("cuts"),
            text("One row per coupon in the order to cut. Fill in the outcome; change only what went differently."),
        ),
        (
            text("outcome"),
            text("cut, not_severed (the coupon hangs on), aborted (stopped), scrapped (lost for another reason)."),
        ),
        (
            text("cut_order"),
            text("Stands as planned. Where the order was changed, write the order in which they were really cut."),
        ),
        (
            text("changed_setting"),
            text("Only where a setting differed: column=value, several parted by ;  (see the example)."),
        ),
        (
            text("nozzle fitted again"),
            text("Add a row on `mounts` with a new mark, and write that mark in the rows it cut."),
        ),
        (text("sheets"), text("Heat or lot, surface and gas purity of each sheet, once.")),
        (text("afterwards"), text("Save it and record it: trials cut FOLDER this-file.xlsx")),
    ]


def run_workbook(records: Records, created: datetime | None = None) -> bytes:
    """The run workbook: sheets `read first`, `cuts`, `mounts`, `sheets`, prefilled with what is known.

    Read back by `intake.read_cuts`, `read_mounts` and `read_sheets`. The same records and `created` (default: the
    moment of the freeze) give the same bytes.
    """
    heading = records.trial.trial
    book = Book(text("Run workbook"), created_at(records, created), heading.title, heading.paper)
    book.text_sheet("read first", _first_sheet(records.trial))
    cuts = book.filled_sheet("cuts", *_cuts(records), frozen=2, group="mount")
    book.filled_sheet("mounts", *_mounts(records), spare=SPARE_MOUNTS)
    book.filled_sheet("sheets", *_sheets(records), spare=SPARE_SHEETS)
    cuts.set_first_sheet()
    return book.data()


def _first_sheet(trial: Trial) -> list[tuple[str, str]]:
    lines = [(trial.trial.title, ""), (text("question"), trial.trial.question)]
    lines += [(text("engineer"), trial.trial.engineer)] if trial.trial.engineer else []
    lines += [
        (text("material"), _material(trial)),
        (text("How to fill it in"), ""),
        *steps(),
        (text("example"), _example(trial)),
    ]
    lines += (
        [(text("Kept constant"), ""), *(_held(name, value) for name, value in trial.held.items())] if trial.held else []
    )
    if trial.plan.limits:
        lines += [
            (text("Not to be cut"), ""),
            *((text("limit"), limit_words(limit, trial.units)) for limit in trial.plan.limits),
        ]
    lines += [(text("Nozzle types"), ""), *((nozzle.type, described(nozzle)) for nozzle in trial.nozzles)]
    found = [say(finding) for finding in nozzle_cautions(trial)]
    lines += [(text("Cautions"), ""), *((text(caution.hazard), text(caution.text)) for caution in standards.cautions())]
    return lines + [(text("nozzles"), sentence) for sentence in found]


def _material(trial: Trial) -> str:
    a = trial.application
    thickness = plain(a.thickness_mm, "mm") if a.thickness_mm else ""
    return ", ".join(part for part in (a.material, thickness, word(a.gas)) if part)


def _example(trial: Trial) -> str:
    parts = []
    for name, factor in list(trial.factors.items())[:2]:
        value = _planned_level(factor.levels[-1], trial, name)
        level = value if factor.is_text else point(format(value, "g"))
        parts.append(f"{columns.printed(_planned_column(name, trial))}={level}")
    return "; ".join(parts) or text("no setting is varied in this trial")


def _changed(settings: Mapping[str, Level]) -> str:
    """Changed settings as a person writes them, with every digit that is kept."""
    said = {name: level if isinstance(level, str) else point(str(level)) for name, level in settings.items()}
    return "; ".join(f"{columns.printed(name)}={level}" for name, level in said.items())


def _held(name: str, value: Any) -> tuple[str, str]:
    """`speed_m_min`, 1.1 -> (`speed`, `1.1 m/min`)."""
    return columns.split(name)[0], columns.amount(name, value)


def _cuts(records: Records) -> tuple[list[Column], list[list[Any]]]:
    planned = [_planned_column(name, records.trial) for name in records.trial.factors]
    place = text("Place in the order of cutting: 1, 2, 3, ... each once.")
    columns = [
        Column("cut_order", 9, rule=between(1, 100000, header_words("cut_order"), place, whole=True)),
        Column("coupon", 9, typed=False),
        *(Column(f"{name} (plan)", _width(name), typed=False) for name in ("nozzle", "specimen", *planned)),
        Column("mount", 9),
        Column("sheet", 9),
        Column(
            "outcome",
            13,
            rule=choice([text(one) for one in OUTCOMES], text("outcome"), text("What became of the coupon.")),
        ),
        Column("cut_at", 17, number_format=DATE),
        Column("changed_setting", 26, align="left"),
        Column("note", 34, align="left"),
    ]
    done = {row["coupon"]: row for row in rows_of(records.cuts)}
    rows = []
    for plan in rows_of(records.coupons):
        cut = done.get(plan["coupon"], {})
        rows.append(
            [
                cut.get("cut_order") or plan["order"],
                *(plan[name] for name in ("coupon", "nozzle", "specimen")),
                *(_planned_level(plan[column], records.trial, name) for name, column in records.factor_columns.items()),
                *(cut.get(name) or plan[name] for name in ("mount", "sheet")),
                text(cut["outcome"]) if cut.get("outcome") else "",
                cut.get("cut_at", ""),
                _changed(parse_changed_setting(cut.get("changed_setting", ""), records.trial)),
                cut.get("note", ""),
            ]
        )
    return columns, rows


def _planned_column(name: str, trial: Trial) -> str:
    """The column of a planned setting, in the unit in use."""
    return column(name, unit_in_use(trial.factors[name].unit))


def _planned_level(value: Any, trial: Trial, name: str) -> Any:
    return setting_in_use(value, trial.factors[name].unit) if isinstance(value, (int, float)) else value


def _width(name: str) -> float:
    return max(11.0, min(20.0, len(name) + 3.0))


def _mounts(records: Records) -> tuple[list[Column], list[list[Any]]]:
    def yes_no(name: str, message: str) -> Column:
        return Column(name, 18, rule=choice((text("yes"), text("no")), text(name), message))

    columns = [
        Column("mount", 9),
        Column("order", 8),
        Column("nozzle", 20),
        Column("specimen", 11),
        Column("sheet", 9),
        Column("fitted_at", 17, number_format=DATE),
        yes_no("centring_checked", text("Was the beam centred in the nozzle?")),
        yes_no("height_calibrated", text("Was the height control calibrated after fitting?")),
        Column(
            "pierces_before",
            15,
            rule=between(0, 1e6, header_words("pierces_before"), text("Pierces of this specimen so far."), True),
        ),
        yes_no("window_changed", text("Was the protective window changed during this mount?")),
    ]
    names = [column.header for column in columns]
    return columns, [[_in_words(name, row[name]) for name in names] for row in rows_of(records.mounts)]


def _in_words(name: str, value: Any) -> Any:
    """Yes and no in the words that their cells accept."""
    return text(value) if value and name in YES_NO_COLUMNS else value


def _sheets(records: Records) -> tuple[list[Column], list[list[Any]]]:
    columns = [Column("sheet", 9), Column("heat_lot", 20), Column("surface", 26), Column("gas_purity", 14)]
    return columns, [[row[column.header] for column in columns] for row in rows_of(records.sheets)]
