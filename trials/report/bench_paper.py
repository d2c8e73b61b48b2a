"""Run sheet, bench card and labels as plain data for their templates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pandas as pd

from trials import standards
from trials.bench.squareness import delta_a_of
from trials.frozen import freeze_hash
from trials.grade.dross import SCALE
from trials.grade.iso9013 import limit_table
from trials.nozzles import cautions
from trials.plan.sheet_map import sheet_map
from trials.report import blocks as b
from trials.report.figures.bench import dross_drawing, edge_figure
from trials.report.figures.planning import sheet_figure
from trials.report.typeset import day_words
from trials.report.verdict import caution_lines, held_rows, program, requirement_sentence
from trials.trial import Trial
from trials.units import shown

STOP_RULES = (
    "Not severed: stop the cut, write “not severed”, leave the coupon in the sheet, go on with the next. Three in a "
    "row with one mount: stop and tell the engineer.",
    "Burning or self-sustained fire in the kerf: stop the beam and the oxygen, let it go out, write “aborted”.",
    "Head contact or tip-up: stop the machine. Check the nozzle, centre and calibrate, write it in as a new mount.",
    "Anything else that is not as planned (another setting, another order, a refitted nozzle): cut safely first, then "
    "write down what was really done.",
)

BENCH_STEPS = (
    ("Let it cool", "Measure cold coupons only, at the temperature of the bench. Work in the order of the workbook."),
    ("Dross first", "Grade the lower edge before anything is taken off. The worst spot of the edge counts."),
    (
        "Take the dross off",
        "Scraper, then a brush for loose oxide. Never grind, file or blast: the edge is what is judged.",
    ),
    ("Squareness u", "Find the marked edge. Keep clear of lead-in, joint, corners and slat marks."),
    ("Roughness Rz5", "Along the edge at the stated depth, at the same places each time, across no slat mark or bead."),
    (
        "Write it down",
        "Every reading as shown by the instrument, with side and inspector. A doubtful value is measured "
        "again as a repeat; nothing is rubbed out.",
    ),
)


def run_sheet_data(
    trial: Trial, coupons: pd.DataFrame, mounts: pd.DataFrame, sheets: pd.DataFrame, said: Sequence[str], made_on: date
) -> dict[str, Any]:
    """Everything on the run sheet: what is held, stop rules, mounts with their coupons, and maps of the sheets."""
    job = trial.application
    known = cautions(trial.nozzles, job.gas, job.material)
    return _common(trial, made_on) | {
        "title": f"Run sheet: {trial.trial.title}",
        "question": trial.trial.question,
        "job": requirement_sentence(trial),
        "hash": freeze_hash(trial),
        "held": [f"{name}: {value}" for name, value in held_rows(trial)],
        "varied": [_varied(trial, name) for name in trial.factors],
        "limits": [limit.words() for limit in trial.plan.limits],
        "stop_rules": list(STOP_RULES),
        "said": [line for line in said if line not in known],
        "nozzle_cautions": known,
        "cautions": caution_lines(),
        "sheets": [_sheet_row(row) for row in sheets.to_dict("records")],
        "mounts": [_mount(trial, coupons, row) for row in mounts.sort_values("order").to_dict("records")],
        "coupon_head": ["No.", "Coupon", *_factor_heads(trial), "Edge"],
        "maps": _maps(trial, coupons),
    }


def _common(trial: Trial, made_on: date) -> dict[str, Any]:
    return {"engineer": trial.trial.engineer, "made_on": day_words(made_on), "program": program()}


def _factor_heads(trial: Trial) -> list[str]:
    return [b.setting(name, f.unit) for name, f in trial.factors.items()]


def _varied(trial: Trial, name: str) -> str:
    asked = trial.factors[name]
    levels = ", ".join(_value(level) for level in asked.levels)
    today = f" (today {_value(trial.today_settings[name])})"
    return f"{b.setting(name, '')}: {levels} {shown(asked.unit)}".rstrip() + today


def _places(levels: Sequence[object]) -> int:
    """Decimals that show every level of a factor."""
    return max(len(f"{level:g}".partition(".")[2]) for level in levels if isinstance(level, (int, float)))


def _value(value: object, places: int | None = None) -> str:
    if value is None or value != value:
        return ""
    if places is not None and round(float(str(value)), places) == value:
        return f"{value:.{places}f}"
    return f"{value:g}" if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value)


def _sheet_row(row: dict[str, Any]) -> list[str]:
    return [_value(row.get(key, "")) for key in ("sheet", "heat_lot", "surface", "gas_purity")]


def _mount(trial: Trial, coupons: pd.DataFrame, row: dict[str, Any]) -> dict[str, Any]:
    own = coupons[coupons["mount"] == row["mount"]].sort_values("order")
    columns = ["order", "coupon", *(trial.factor_column(name) for name in trial.factors), "edge"]
    columns = [column for column in columns if column in own]
    known = next(n for n in trial.nozzles if n.type == row["nozzle"])
    places = {trial.factor_column(name): _places(f.levels) for name, f in trial.factors.items() if not f.is_text}
    return {
        "mount": _value(row["mount"]),
        "order": _value(row["order"]),
        "sheet": _value(row["sheet"]),
        "nozzle": row["nozzle"],
        "specimen": _value(row["specimen"]),
        "bore": known.described(),
        "coupons": [
            [_value(cell, places.get(column)) for column, cell in zip(columns, line, strict=True)]
            for line in own[columns].itertuples(index=False)
        ],
    }


def _maps(trial: Trial, coupons: pd.DataFrame) -> list[dict[str, Any]]:
    if not {"x_mm", "y_mm", "edge", "cut_direction"} <= set(coupons.columns) or coupons["x_mm"].isna().any():
        return []
    found = []
    for sheet in coupons["sheet"].drop_duplicates().sort_values():
        place = sheet_map(trial, coupons, sheet)
        alt = f"Map of sheet {sheet}: {len(place.coupons)} coupons with mark, order and measured edge."
        found.append({"title": f"Sheet {sheet}", "said": list(place.said), "svg": sheet_figure(place), "alt": alt})
    return found


def bench_card_data(trial: Trial, made_on: date) -> dict[str, Any]:
    """The bench card: order of work, where to measure, the dross scale with drawings, limits of the ranges."""
    thickness = trial.application.thickness_mm
    varies = any("thickness" in name for name in trial.factors)
    fixed = None if varies else thickness
    return _common(trial, made_on) | {
        "title": "Bench card",
        "steps": [list(step) for step in BENCH_STEPS],
        "where": _where(trial, fixed),
        "edge": _edge(trial, fixed),
        "scale": [
            {
                "grade": str(step.grade),
                "name": step.name,
                "definition": step.definition,
                "svg": dross_drawing(step.grade),
                "alt": f"Drawing of dross grade {step.grade}: {step.name}.",
            }
            for step in SCALE
        ],
        "limits": _limits(fixed),
        "limits_head": ["", "range 1", "range 2", "range 3", "range 4", "range 5"],
        "limits_title": f"Upper limits of {standards.edition()} at {fixed:g} mm" if fixed else "",
        "unsure": "A value ten times its neighbours is mostly a slip of the point or the unit: measure again before it "
        "is sent. A coupon that cannot be measured stays empty, with a note why.",
    }


def _where(trial: Trial, thickness: float | None) -> list[str]:
    cutoff = trial.bench.cutoff_mm
    readings = {name: trial.responses[name].readings for name in trial.responses}
    parts = [f"{trial.quantity(name).label}: {n} on each coupon" for name, n in readings.items()]
    lines = [
        f"Readings: {'; '.join(parts)}.",
        "Measure the edge that the workbook names, always at the same places.",
    ]
    lines.append(
        f"Rz5: cut-off {cutoff:g} mm, five lengths and half a cut-off at each end, so {6 * cutoff:g} mm of clean edge."
    )
    if thickness is None:
        return [*lines, "Depths depend on the thickness of the coupon: ask the engineer for them."]
    depth, out = _depths(thickness)
    lines.append(f"Rz5: {depth:g} mm below the top face ({thickness:g} mm thick); write the depth down if it differs.")
    lines.append(f"u: from {out:g} mm below the top face to {out:g} mm above the lower one; leave the rest out.")
    return lines


def _edge(trial: Trial, thickness: float | None) -> dict[str, str]:
    count = trial.responses["squareness"].readings if "squareness" in trial.responses else 3
    words = "The cut edge from the side: ends and corners left out, depths for u and Rz5, a slat mark to keep clear of."
    return {"svg": edge_figure(count, thickness, *_depths(thickness)), "alt": words}


def _depths(thickness: float | None) -> tuple[float, float]:
    """Depth of the Rz5 trace and depth left out of u at each edge, mm; zeros where the thickness is not one figure."""
    return (standards.roughness_depth_mm(thickness), delta_a_of(thickness)) if thickness else (0.0, 0.0)


def _limits(thickness: float | None) -> list[list[str]]:
    if thickness is None:
        return []
    row = limit_table([thickness])[0]
    u = [f"{row[f'u_range_{k}']:.3f}" for k in range(1, 6)]
    rz5 = [f"{row[f'rz5_range_{k}']:.1f}" for k in range(1, 5)]
    return [["u, mm", *u], ["Rz5, µm", *rz5, "–"]]


def labels_data(coupons: pd.DataFrame, made_on: date) -> dict[str, Any]:
    """One label per coupon, the mark and nothing else, sorted by mark so that the order tells nothing either."""
    return {
        "title": "Coupon labels",
        "engineer": "",
        "made_on": day_words(made_on),
        "program": program(),
        "marks": sorted(coupons["coupon"].astype(str)),
    }
