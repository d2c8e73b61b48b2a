"""The plan on paper: what it asks, what it can and cannot show, where more work pays, what it costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from trials.frozen import freeze_hash
from trials.nozzles import cautions
from trials.plan.assess import Assessment, Detectable
from trials.plan.assess.prediction_map import PredictionMap
from trials.report import blocks as b
from trials.report.figures.planning import detectable_figure, prediction_figure
from trials.report.record_pages import caution_lines, program
from trials.report.typeset import day_words, pdf
from trials.trial import Factor, Trial, worthwhile_on_scale
from trials.units import shown
from trials.words.requirement import job_and_requirement

SHOWN_COUNTS = (1, 2, 3, 4, 6, 8, 12)
"""Counts of the curve that its table prints; the plan's own are always there."""

FAR = 4.0
"""Detectable differences beyond so many times that of the plan stand in the table, not in the picture."""

ALIAS = "cannot be told apart from"
NOT_ESTIMATED = "Not estimated from this plan"


def plan_pdf(
    trial: Trial,
    coupons: pd.DataFrame,
    found: Assessment,
    map_: PredictionMap | None,
    plan_said: Sequence[str],
    said: Sequence[str],
    made_on: date,
) -> bytes:
    """The plan as PDF.

    coupons: planned, with `coupon, mount, nozzle, specimen, sheet` and factor columns; map_: prediction error to draw;
    plan_said: what the planner had to say (aliases, repeats, places); said: sentences of the assessment beside its
    tables.
    """
    return pdf("plan_paper.typ", plan_data(trial, coupons, found, map_, plan_said, said, made_on), made_on)


def plan_data(
    trial: Trial,
    coupons: pd.DataFrame,
    found: Assessment,
    map_: PredictionMap | None,
    plan_said: Sequence[str],
    said: Sequence[str],
    made_on: date,
) -> dict[str, Any]:
    """Everything on the paper of the plan, as plain data."""
    known = cautions(trial.nozzles, trial.application.gas, trial.application.material)
    apart = set(found.confounded)
    aliases = [line for line in plan_said if ALIAS in line and line not in apart]
    planner = [line for line in plan_said if line not in known and line not in apart and line not in aliases]
    beside = [line for line in said if not line.startswith(NOT_ESTIMATED)]
    if found.detectable:
        planner, beside = [*planner, *beside], []
    sections = [
        b.section(_cut_title(coupons), _to_cut(trial, coupons)),
        b.section("What this plan can show", _can_show(trial, found, beside)),
        b.section("What this plan cannot show", [b.listed(_cannot(found, aliases))]),
        *(_curve(trial, name, curve, found) for name, curve in found.curves.items()),
        *_prediction(trial, found, map_, coupons),
        b.section("How the plan was made", [b.listed(planner)]),
        b.section("Work and material", [b.words(found.effort.sentence), b.listed(found.effort.assumptions)]),
        b.section("Nozzles in this trial (common practice, no source)", [b.listed(known)]),
        b.section("Cautions", [b.listed(caution_lines()) | {"kind": "columns"}]),
    ]
    return {
        "title": f"Plan: {trial.trial.title}",
        "engineer": trial.trial.engineer,
        "made_on": day_words(made_on),
        "program": program(),
        "question": trial.trial.question,
        "job": job_and_requirement(trial.application),
        "hash": freeze_hash(trial),
        "sections": [part for part in sections if part["blocks"]],
    }


def _cut_title(coupons: pd.DataFrame) -> str:
    several = "block" in coupons and coupons["block"].nunique() > 1
    return "What was and is to be cut, all blocks together" if several else "What is to be cut"


def _to_cut(trial: Trial, coupons: pd.DataFrame) -> list[b.Block]:
    rows = []
    for nozzle in trial.nozzles:
        own = coupons[coupons["nozzle"] == nozzle.type]
        counts = [str(own[name].nunique()) for name in ("specimen", "mount", "sheet", "coupon")]
        rows.append([f"{nozzle.type} (today)" if nozzle.today else nozzle.type, nozzle.described(), *counts])
    head = ["nozzle type", "what it is", "specimens", "mounts", "sheets", "coupons"]
    parts = [b.table(head, rows, right=range(2, 6), widths=(1.8, 3.2, 1.0, 0.9, 0.8, 0.9))]
    if trial.factors:
        rows = [_factor_row(trial, name, factor) for name, factor in trial.factors.items()]
        parts.append(b.table(["varied", "levels", "today"], rows, widths=(2.0, 4.0, 1.2)))
    limits = [f"Not allowed: {limit.words()}." for limit in trial.plan.limits]
    return [*parts, b.listed(limits)]


def _factor_row(trial: Trial, name: str, factor: Factor) -> list[str]:
    levels = ", ".join(_level(level) for level in factor.levels)
    return [b.setting(name, factor.unit), levels, _level(trial.today_settings[name])]


def _level(level: object) -> str:
    return f"{level:g}" if isinstance(level, (int, float)) else str(level)


def _can_show(trial: Trial, found: Assessment, said: Sequence[str]) -> list[b.Block]:
    if not found.detectable:
        return [b.listed([*(question.sentence for question in found.questions), *said])]
    degrees = {question.name: question.df for question in found.questions}
    several = len({line.response for line in found.detectable}) > 1
    rows = [detectable_row(line, degrees[line.question], several) for line in found.detectable]
    head = ["question", "differences", "seen with 80 %", "df", "chance if worthwhile"]
    return [
        b.words(
            "The smallest true difference that comes out with a chance of 80 % (test at 0.05), at the spreads expected "
            "in the trial file, and the chance that the worthwhile difference comes out. ≈: approximation."
        ),
        b.table(head, rows, right=(2, 3, 4), widths=(3.0, 3.2, 1.3, 1.0, 1.2)),
        b.listed([settled_words(name, needed) for name, needed in found.settle.items()]),
    ]


def detectable_row(line: Detectable, df: int, several: bool) -> list[str]:
    """One detectable difference as cells: question, pattern, size, degrees of freedom, chance at the worthwhile one."""
    question = f"{line.response}, {line.question}" if several else line.question
    size = line.words if line.exact else f"≈ {line.words}"
    chance = "–" if line.chance_at_worthwhile is None else b.percent(line.chance_at_worthwhile)
    return [question, line.pattern, size, f"{df}, {line.den_df:.3g}", chance]


def settled_words(name: str, needed: Any) -> str:
    """Chance of a settled answer for one response, and what would bring it to 80 %."""
    return (
        f"{name}: chance of a settled answer for one type against today's {b.percent(needed.chance_at_worthwhile)} if "
        f"it truly differs by the worthwhile difference, {b.percent(needed.chance_at_zero)} if it does not differ. "
        f"{needed.sentence}"
    )


def _cannot(found: Assessment, aliases: Sequence[str]) -> list[str]:
    lines = list(dict.fromkeys([*found.confounded, *aliases]))
    if found.dropped:
        lines.append(f"{NOT_ESTIMATED}: {', '.join(found.dropped)}.")
    return lines or ["Nothing about the nozzle types is confounded by this plan."]


def _curve(trial: Trial, name: str, curve: pd.DataFrame, found: Assessment) -> dict[str, Any]:
    """Detectable difference of the nearest balanced plan against each count, as picture and table."""
    quantity = trial.quantity(name)
    as_share = quantity.scale == "log"
    drawn = curve.assign(detectable=100 * np.expm1(curve["detectable"])) if as_share else curve
    worthwhile = worthwhile_on_scale(trial, name)
    if as_share and worthwhile is not None:
        worthwhile = 100 * math.expm1(worthwhile)
    unit = "%" if as_share else shown(quantity.unit)
    near = drawn[drawn["detectable"] <= FAR * drawn.loc[drawn["planned"], "detectable"].min()]
    svg = detectable_figure(near, unit, worthwhile)
    hour = found.next_hour.get(name, "")
    alt = f"Detectable difference in {name} against specimens, mounts, coupons and readings. {hour}"
    return b.section(
        f"{quantity.label[0].upper()}{quantity.label[1:]}: detectable difference against counts",
        [
            b.figure(svg, alt, "One count varied at a time; least favourable pattern of nozzle means, 80 % chance."),
            curve_table(drawn, unit),
            b.words(hour),
        ],
    )


def curve_table(curve: pd.DataFrame, unit: str) -> b.Block:
    """One row for each part that is varied, one column for each count; the plan as it is stands in brackets."""
    planned = set(curve.loc[curve["planned"], "count"])
    counts = [c for c in sorted(curve["count"].unique()) if c in SHOWN_COUNTS or c in planned]
    rows = []
    for varied, part in curve.groupby("varied", sort=False):
        cells = dict(zip(part["count"], map(_cell, part["detectable"], part["planned"]), strict=True))
        rows.append([varied, *(cells.get(count, "–") for count in counts)])
    head = [f"detectable, {unit}" if unit else "detectable", *(f"{count:g}" for count in counts)]
    return b.table(head, rows, right=range(1, len(head)), widths=(2.4, *(1.0 for _ in counts)))


def _cell(value: float, planned: bool) -> str:
    return f"[{b.num(value)}]" if planned else b.num(value)


def _prediction(trial: Trial, found: Assessment, map_: PredictionMap | None, coupons: pd.DataFrame) -> list[dict]:
    """Map of the prediction error for today's type, and the range for every type."""
    if map_ is None:
        return []
    quantity = trial.quantity(map_.response)
    as_share = quantity.scale == "log"
    errors = 100 * np.expm1(map_.errors) if as_share else map_.errors
    unit = "%" if as_share else shown(quantity.unit)
    columns = [trial.factor_column(name) for name in (map_.across, map_.up)]
    cut = coupons.loc[coupons["nozzle"] == map_.nozzle, columns].drop_duplicates().to_numpy(float)
    words = [b.setting(name, trial.factors[name].unit) for name in (map_.across, map_.up)]
    svg = prediction_figure(map_.x.tolist(), map_.y.tolist(), errors, *words, cut.tolist())
    held = [f"{n.replace('_', ' ')} {_level(v)} {shown(trial.factors[n].unit)}".rstrip() for n, v in map_.held.items()]
    at = f", at {', '.join(held)}" if held else ""
    alt = f"Standard error of the predicted {map_.response} of {map_.nozzle} over {words[0]} and {words[1]}, {unit}."
    caption = (
        f"Standard error of the typical {map_.response} of {map_.nozzle}, {unit}{at}. Crosses: settings to be cut."
    )
    said = [_range_words(found.prediction, map_.response, kind, as_share, unit) for kind in trial.types]
    picture = b.figure(svg, alt, caption) | {"share": 62}
    return [b.section("How well settings are predicted", [picture, b.listed([line for line in said if line])])]


def _range_words(prediction: pd.DataFrame, name: str, nozzle: str, as_share: bool, unit: str) -> str:
    own = prediction[(prediction["response"] == name) & (prediction["nozzle"] == nozzle)]["se"].to_numpy(float)
    if not len(own):
        return ""
    low, high = 100 * np.expm1([own.min(), own.max()]) if as_share else (own.min(), own.max())
    return f"{nozzle}: {b.num(float(low))} to {b.num(float(high))} {unit} at the levels of the trial."
