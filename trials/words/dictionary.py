"""The data dictionary of an export: what each column of each table holds."""

from __future__ import annotations

from collections.abc import Callable

from trials.words.language import text


def head() -> list[str]:
    """Column titles of the dictionary."""
    return [text("table"), text("column"), text("meaning")]


def meaning(table: str, column: str) -> str:
    """What a column holds; one that is named in no list is a setting of the trial."""
    own = _own(table)
    known = own if column in own else _common()
    if column in known:
        return known[column]
    return text("setting of the factor of this name, in the unit at the end of the name")


def _common() -> dict[str, str]:
    return {
        **_marks(),
        "id": text("number of the row"),
        "at": text("moment of the entry, UTC"),
        "who": text("who made the entry"),
        "why": text("the reason given"),
        "entered_at": text("moment at which the row was written, UTC"),
        "replaces": text("number of the earlier row that this one corrects; empty for a first row"),
        "order": text("planned place in the cutting order; of a mount: its place among the mounts"),
        "block": text("which block of coupons: 1 as first planned, more for each extension"),
        "x_mm": text("near left corner of the coupon on its sheet, in mm"),
        "y_mm": text("near left corner of the coupon on its sheet, in mm"),
        "edge": text("edge of the coupon that is measured"),
        "cut_direction": text("direction in which that edge is cut"),
        "note": text("note as typed"),
        "journal_id": text("number of the journal entry it came with"),
    }


def _marks() -> dict[str, str]:
    return {
        "coupon": text("mark of the coupon"),
        "mount": text("mark of one fitting of a nozzle on the head"),
        "sheet": text("mark of the sheet"),
        "nozzle": text("nozzle type"),
        "specimen": text("mark of the single nozzle"),
    }


def _own(table: str) -> dict[str, str]:
    tables: dict[str, Callable[[], dict[str, str]]] = {
        "versions": _versions,
        "mounts": _mounts,
        "sheets": _sheets,
        "cuts": _cuts,
        "readings": _readings,
        "repeat_marks": _repeat_marks,
        "instruments": _instruments,
        "journal": _journal,
        "looks": _looks,
        "confirmed_slips": _confirmed_slips,
    }
    return tables[table]() if table in tables else {}


def _confirmed_slips() -> dict[str, str]:
    return {"reading_id": text("number of the reading whose suspected slip was confirmed")}


def _versions() -> dict[str, str]:
    return {
        "freeze_hash": text("hash of what was frozen"),
        "toml": text("the question, as frozen or amended, word for word"),
    }


def _mounts() -> dict[str, str]:
    return {
        "fitted_at": text("when it was fitted, as typed"),
        "centring_checked": text("whether the centring was checked: yes, no or empty"),
        "height_calibrated": text("whether the height was calibrated: yes, no or empty"),
        "pierces_before": text("pierces of the nozzle before this mount"),
        "window_changed": text("whether the protective window was changed: yes, no or empty"),
    }


def _sheets() -> dict[str, str]:
    return {
        "heat_lot": text("heat or lot of the sheet"),
        "surface": text("its surface, as typed"),
        "gas_purity": text("purity of the gas, as typed"),
    }


def _cuts() -> dict[str, str]:
    return {
        "cut_order": text("place in which it was really cut"),
        "cut_at": text("when it was cut, as typed"),
        "outcome": text("cut, not_severed, aborted, scrapped or not_cut"),
        "changed_setting": text("settings that were not as planned"),
    }


def _readings() -> dict[str, str]:
    return {
        "reading": text("number of the reading on its coupon"),
        "repeat": text("0 for the reading itself, 1 or more for a measurement of the same edge again"),
        "side": text("side of the cut, as typed"),
        "field": text("what was measured, its unit at the end of the name"),
        "value": text("the value in that unit; empty: withdrawn"),
        "inspector": text("who measured"),
        "instrument": text("with what it was measured"),
        "cutoff_mm": text("cut-off of the profile filter, in mm"),
        "depth_mm": text("depth below the top face, in mm"),
        "measured_on": text("when it was measured, as typed"),
        "ended": text("how the life of a nozzle ended"),
        "beyond": text("above or below: the value is a bound of the instrument; not_measurable: the note says why"),
        "measured_order": text("place in the order of measuring; empty: not known"),
    }


def _repeat_marks() -> dict[str, str]:
    return {
        "mark": text("second mark, under which a coupon is measured again"),
        "coupon": text("mark of the coupon behind it"),
    }


def _instruments() -> dict[str, str]:
    return {
        "instrument": text("name of the instrument"),
        "calibrated_on": text("day of its calibration"),
        "due_on": text("day on which the next one is due"),
        "uncertainty": text("U (k = 2) by column, as JSON"),
    }


def _journal() -> dict[str, str]:
    return {
        "kind": text("kind of the entry"),
        "what": text("what it says, in the words of its day"),
        "payload": text("its values, as JSON"),
        "covers": text("rows that came with it: first, last, columns and SHA-256 by table, as JSON"),
        "previous": text("hash of the entry before it"),
        "digest": text("its own hash (SHA-256)"),
    }


def _looks() -> dict[str, str]:
    return {
        "look": text("number of the look at the data"),
        "declared": text("1 where it was declared before cutting"),
        "fingerprint": text("hash of the question put to the records"),
        "fingerprint_version": text("version of the rule behind that hash"),
        "rule_version": text("version of the rule that gave the words"),
        "costs_json": text("prices as they stood, as JSON"),
        "lives_json": text("lives as they stood, as JSON"),
    }
