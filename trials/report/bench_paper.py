"""Run sheet, bench card and labels as plain data for their templates."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import Any

import pandas as pd

from trials import standards
from trials.bench.squareness import delta_a_of
from trials.findings import Finding
from trials.frozen import freeze_hash
from trials.grade.dross import SCALE
from trials.grade.iso9013 import limit_table
from trials.plan.cautions import nozzle_cautions
from trials.plan.sheet_map import sheet_map
from trials.report import blocks as b
from trials.report.figures.bench import dross_drawing, edge_figure
from trials.report.figures.planning import sheet_figure
from trials.report.record_pages import held_rows, program
from trials.trial import Factor, Trial
from trials.words import sheet as words
from trials.words.cautions import caution_lines
from trials.words.findings import say
from trials.words.grade import dross_definition, dross_name
from trials.words.language import word
from trials.words.numbers import bare, fixed, point
from trials.words.page_frame import day_words
from trials.words.plan import described, limit_words, map_notes
from trials.words.requirement import job_and_requirement, job_words
from trials.words.system import inches, scale_in_use, shown_unit

TITLE_LENGTH = 80
"""So many characters of a title fit beside the number of the page."""


def run_sheet_data(
    trial: Trial,
    coupons: pd.DataFrame,
    mounts: pd.DataFrame,
    sheets: pd.DataFrame,
    said: Sequence[Finding],
    made_on: date,
) -> dict[str, Any]:
    """Everything on the run sheet: what is held, stop rules, mounts with their coupons, and maps of the sheets."""
    cautions = nozzle_cautions(trial)
    return _with_footer(
        _common(trial, made_on)
        | {
            "title": words.run_sheet_title(trial.trial.title),
            "words": words.run_sheet_words(),
            "question": trial.trial.question,
            "job": job_and_requirement(trial.application),
            "hash": freeze_hash(trial),
            "held": [f"{name}: {value}" for name, value in held_rows(trial)],
            "varied": [_varied(trial, name) for name in trial.factors],
            "limits": words.not_allowed([limit_words(limit, trial.units) for limit in trial.plan.limits])
            if trial.plan.limits
            else "",
            "stop_rules": words.stop_rules(),
            "said": [say(finding) for finding in said if finding not in cautions],
            "nozzle_cautions": [say(finding) for finding in cautions],
            "cautions": caution_lines(),
            "sheets": [_sheet_row(row) for row in _records(sheets)],
            "mounts": [_mount(trial, coupons, row) for row in _records(mounts.sort_values("order"))],
            "coupon_head": words.coupon_heads(_factor_heads(trial)),
            "maps": _maps(trial, coupons),
        }
    )


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _common(trial: Trial, made_on: date) -> dict[str, Any]:
    return {"engineer": trial.trial.engineer, "made_on": day_words(made_on), "program": program()}


def _with_footer(data: dict[str, Any]) -> dict[str, Any]:
    """The data of a paper with its foot, which names the title cut short."""
    title = data["title"] if len(data["title"]) <= TITLE_LENGTH else f"{data['title'][: TITLE_LENGTH - 1]}…"
    return data | {"footer": words.footer(title, data["made_on"], data["program"])}


def _factor_heads(trial: Trial) -> list[str]:
    return [b.setting(name, f.unit) for name, f in trial.factors.items()]


def _varied(trial: Trial, name: str) -> str:
    asked = trial.factors[name]
    levels = [bare(level, asked.unit) for level in asked.levels]
    today = bare(trial.today_settings[name], asked.unit)
    return words.varied(b.setting(name, ""), levels, shown_unit(asked.unit), today)


def _level(value: object, asked: Factor) -> str:
    """A setting in the unit in use, with the decimals that show every level of its factor."""
    if not isinstance(value, (int, float)) or value != value:
        return _value(value)
    places = max(len(f"{float(level):g}".partition(".")[2]) for level in asked.levels)
    whole = scale_in_use(asked.unit) == 1.0 and round(float(value), places) == value
    return fixed(float(value), places) if whole else bare(float(value), asked.unit)


def _value(value: object) -> str:
    if value is None or value != value:
        return ""
    return point(f"{value:g}") if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value)


def _sheet_row(row: dict[str, Any]) -> list[str]:
    return [_value(row.get(key, "")) for key in ("sheet", "heat_lot", "surface", "gas_purity")]


def _mount(trial: Trial, coupons: pd.DataFrame, row: dict[str, Any]) -> dict[str, Any]:
    own = coupons[coupons["mount"] == row["mount"]].sort_values("order")
    columns = ["order", "coupon", *(trial.factor_column(name) for name in trial.factors), "edge"]
    columns = [column for column in columns if column in own]
    known = next(n for n in trial.nozzles if n.type == row["nozzle"])
    measured = {trial.factor_column(name): f for name, f in trial.factors.items() if not f.is_text}
    return {
        "title": words.mount_title(*(_value(row[key]) for key in ("mount", "nozzle", "specimen", "sheet"))),
        "mount": _value(row["mount"]),
        "order": _value(row["order"]),
        "sheet": _value(row["sheet"]),
        "nozzle": row["nozzle"],
        "specimen": _value(row["specimen"]),
        "bore": described(known),
        "coupons": [
            [
                _level(cell, measured[column])
                if column in measured
                else word(_value(cell))
                if column == "edge"
                else _value(cell)
                for column, cell in zip(columns, line, strict=True)
            ]
            for line in own[columns].itertuples(index=False)
        ],
    }


def _maps(trial: Trial, coupons: pd.DataFrame) -> list[dict[str, Any]]:
    if not {"x_mm", "y_mm", "edge", "cut_direction"} <= set(coupons.columns) or coupons["x_mm"].isna().any():
        return []
    found = []
    for sheet in coupons["sheet"].drop_duplicates().sort_values():
        place = sheet_map(trial, coupons, sheet)
        alt = words.map_alt(sheet, len(place.coupons))
        title = words.map_title(sheet)
        found.append({"title": title, "said": map_notes(place), "svg": sheet_figure(place), "alt": alt})
    return found


def bench_card_data(
    trial: Trial, made_on: date, coupons: Sequence[tuple[str, str]] = (), repeats: Sequence[tuple[str, str]] = ()
) -> dict[str, Any]:
    """The bench card: order of work, where to measure, the dross scale with drawings, limits of the ranges, and each
    coupon with the edge to measure.

    coupons, repeats: (mark, edge) in the order of measuring.
    """
    thickness = trial.application.thickness_mm
    varies = any("thickness" in name for name in trial.factors)
    fixed = None if varies else thickness
    return _with_footer(
        _common(trial, made_on)
        | {
            "title": words.bench_card_title(),
            "words": words.bench_card_words(),
            "steps": words.bench_steps(trial.responses),
            "where": _where(trial, fixed),
            "edge": _edge(trial, fixed),
            "scale": []
            if "dross" not in trial.responses
            else [
                {
                    "grade": str(step.grade),
                    "name": dross_name(step.grade),
                    "definition": dross_definition(step.grade),
                    "svg": dross_drawing(step.grade),
                    "alt": words.dross_alt(step.grade, dross_name(step.grade)),
                }
                for step in SCALE
            ],
            "lists": [_edge_list(words.coupon_list(), coupons), _edge_list(words.repeat_list(), repeats)],
            "list_head": words.list_heads(),
            "limits": _limits(fixed, trial.responses),
            "limits_head": words.limits_head(),
            "limits_title": words.limits_title(standards.edition(), fixed) if fixed else "",
        }
    )


def _edge_list(said: tuple[str, str], rows: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """One list of the bench card: title, what to know, and rows of place, mark and edge."""
    listed = [[str(place), mark, word(edge)] for place, (mark, edge) in enumerate(rows, 1)]
    return {"title": said[0], "said": said[1], "rows": listed}


def _where(trial: Trial, thickness: float | None) -> list[str]:
    readings = {trial.quantity(name).label: asked.readings for name, asked in trial.responses.items()}
    rough, square = "roughness" in trial.responses, "squareness" in trial.responses
    lines = words.where(readings, trial.bench.cutoff_mm if rough else None)
    if thickness is None:
        return [*lines, words.depths_unknown()] if rough or square else lines
    depth, left_out = _depths(thickness)
    lines += [words.rz5_depth(thickness, depth)] if rough else []
    return [*lines, *([words.u_depths(left_out)] if square else [])]


def _edge(trial: Trial, thickness: float | None) -> dict[str, str]:
    """The drawing of the edge; empty where neither u nor Rz5 is measured."""
    if not {"roughness", "squareness"} & set(trial.responses):
        return {"svg": "", "alt": ""}
    count = trial.responses["squareness"].readings if "squareness" in trial.responses else 3
    return {"svg": edge_figure(count, thickness, *_depths(thickness)), "alt": words.edge_alt()}


def _depths(thickness: float | None) -> tuple[float, float]:
    """Depth of the Rz5 trace and depth left out of u at each edge, mm; zeros where the thickness is not one figure."""
    return (standards.roughness_depth_mm(thickness), delta_a_of(thickness)) if thickness else (0.0, 0.0)


def _limits(thickness: float | None, measured: Collection[str]) -> list[list[str]]:
    """Limits of the ranges of what the trial measures; none where the thickness is not one figure."""
    if thickness is None:
        return []
    row = limit_table([thickness])[0]
    square, rough = scale_in_use("mm"), scale_in_use("um")
    u = [b.setting("u", "mm"), *(fixed(row[f"u_range_{k}"] * square, 4 if inches() else 3) for k in range(1, 6))]
    rz5 = [b.setting("Rz5", "um"), *(fixed(row[f"rz5_range_{k}"] * rough, 0 if inches() else 1) for k in range(1, 5))]
    rz5.append("–")
    return [*([u] if "squareness" in measured else []), *([rz5] if "roughness" in measured else [])]


def labels_data(trial: Trial, marks: Sequence[tuple[str, int]], made_on: date) -> dict[str, Any]:
    """One label per coupon: its mark, the name of the trial, its place in the order of measuring, and nothing else.

    marks: (mark, place) in the order of measuring, which tells nothing of nozzle or setting.
    """
    shown = _blind_title(trial)
    title = words.labels_title(shown)
    return {
        "title": title,
        "footer": words.labels_footer(title, len(marks)),
        "engineer": "",
        "made_on": day_words(made_on),
        "program": program(),
        "trial": shown,
        "marks": [[mark, words.label_place(place)] for mark, place in marks],
    }


def _blind_title(trial: Trial) -> str:
    """The title of the trial, or what is cut where the title names a nozzle type."""
    title = trial.trial.title
    if not any(kind.casefold() in title.casefold() for kind in trial.types):
        return title
    return job_words(trial.application)


def repeat_labels_data(trial: Trial, pairs: Sequence[tuple[str, str]], made_on: date) -> dict[str, Any]:
    """The labels of the blind repeats, each beside the coupon whose mark it covers; pairs: (second mark, coupon)."""
    return _with_footer(
        _common(trial, made_on)
        | {
            "title": words.repeat_labels_title(trial.trial.title),
            "said": words.repeat_labels_said(),
            "pairs": [[mark, words.covers(coupon)] for mark, coupon in pairs],
        }
    )
