"""The plan on paper: what it asks, what it can and cannot show, where more work pays, what it costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from trials.findings import Finding, each_once
from trials.frozen import freeze_hash
from trials.plan.assess import Assessment, Detectable
from trials.plan.assess.prediction_map import PredictionMap
from trials.plan.cautions import nozzle_cautions
from trials.plan.choose import Plan
from trials.plan.kinds import PlanKind
from trials.report import blocks as b
from trials.report.figures.planning import detectable_figure, prediction_figure
from trials.report.record_pages import program
from trials.report.typeset import pdf
from trials.responses import Quantity, Scale
from trials.trial import Factor, Trial, worthwhile_on_scale
from trials.words.cautions import caution_lines
from trials.words.findings import say
from trials.words.language import text
from trials.words.numbers import bare, number, percent
from trials.words.page_frame import day_words
from trials.words.plan import described, limit_words
from trials.words.plan_chances import (
    counts_alt,
    counts_caption,
    degrees,
    difference_words,
    effort_words,
    next_hour_words,
    not_estimated_words,
    part_words,
    pattern_words,
    prediction_alt,
    prediction_caption,
    settled_words,
    subject_words,
)
from trials.words.requirement import job_and_requirement
from trials.words.system import scale_in_use, shown_unit
from trials.words.worthwhile import planned_sentences

SHOWN_COUNTS = (1, 2, 3, 4, 6, 8, 12)
"""Counts of the curve that its table prints; the plan's own are always there."""

FAR = 4.0
"""Detectable differences beyond so many times that of the plan stand in the table, not in the picture."""


@dataclass(frozen=True)
class PlanPaper:
    """What the paper of a plan is made of.

    plan: with what the planner found; map_: prediction error to draw, None where there is none.
    """

    trial: Trial
    plan: Plan
    found: Assessment
    map_: PredictionMap | None


def plan_pdf(paper: PlanPaper, made_on: date) -> bytes:
    """The plan as PDF."""
    heading = paper.trial.trial
    return pdf("plan_paper.typ", plan_data(paper, made_on), made_on, heading.invented, heading.paper)


def plan_data(paper: PlanPaper, made_on: date) -> dict[str, Any]:
    """Everything on the paper of the plan, as plain data."""
    trial, found, coupons = paper.trial, paper.found, paper.plan.coupons
    known = nozzle_cautions(trial)
    sections = [
        b.section(_cut_title(coupons), _to_cut(trial, coupons)),
        b.section(text("What this plan can show"), _can_show(paper)),
        b.section(text("What this plan cannot show"), [b.listed(_cannot(paper))]),
        *(_curve(trial, name, curve, found) for name, curve in found.curves.items()),
        *_prediction(paper),
        b.section(text("How the plan was made"), [b.listed(map(say, _how_made(paper, known)))]),
        b.section(
            text("Work and material"),
            [b.words(effort_words(found.effort)), b.listed(map(say, found.effort.assumptions()))],
        ),
        b.section(text("Nozzles in this trial (common practice, no source)"), [b.listed(map(say, known))]),
        b.section(text("Cautions"), [b.columns(caution_lines())]),
    ]
    return {
        "title": text("Plan: {title}", title=trial.trial.title),
        "engineer": trial.trial.engineer,
        "made_on": day_words(made_on),
        "program": program(),
        "question": trial.trial.question,
        "job": job_and_requirement(trial.application),
        "hash": freeze_hash(trial),
        "footer": text("made on {day} · {program}", day=day_words(made_on), program=program()),
        "frozen": text("Frozen settings:"),
        "sections": [part for part in sections if part["blocks"]],
    }


def _aliases(plan: Plan) -> list[Finding]:
    return [finding for finding in plan.found if finding.kind is PlanKind.ALIASES]


def _how_made(paper: PlanPaper, known: Sequence[Finding]) -> list[Finding]:
    """What the planner found, less what stands in sections of its own, and what of the assessment needs no table."""
    elsewhere = [*known, *paper.found.confounded, *_aliases(paper.plan)]
    made = [finding for finding in paper.plan.found if finding not in elsewhere]
    return [*made, *_beside(paper)] if paper.found.detectable else made


def _beside(paper: PlanPaper) -> list[Finding]:
    return [finding for finding in paper.found.found if finding.kind is not PlanKind.NOT_ESTIMATED]


def _cut_title(coupons: pd.DataFrame) -> str:
    several = "block" in coupons and coupons["block"].nunique() > 1
    return text("What was and is to be cut, all blocks together") if several else text("What is to be cut")


def _to_cut(trial: Trial, coupons: pd.DataFrame) -> list[b.Block]:
    rows = []
    for nozzle in trial.nozzles:
        own = coupons[coupons["nozzle"] == nozzle.type]
        counts = [str(own[name].nunique()) for name in ("specimen", "mount", "sheet", "coupon")]
        name = text("{nozzle} (today)", nozzle=nozzle.type) if nozzle.today else nozzle.type
        rows.append([name, described(nozzle), *counts])
    head = _heads("nozzle type", "what it is", "specimens", "mounts", "sheets", "coupons")
    parts = [b.table(head, rows, right=range(2, 6), widths=(1.8, 3.2, 1.0, 0.9, 0.8, 0.9))]
    if trial.factors:
        rows = [_factor_row(trial, name, factor) for name, factor in trial.factors.items()]
        parts.append(b.table(_heads("varied", "levels", "today"), rows, widths=(2.0, 4.0, 1.2)))
    limits = [text("Not allowed: {limit}.", limit=limit_words(limit, trial.units)) for limit in trial.plan.limits]
    return [*parts, b.listed(limits)]


def _heads(*names: str) -> list[str]:
    return [text(name) for name in names]


def _factor_row(trial: Trial, name: str, factor: Factor) -> list[str]:
    levels = ", ".join(bare(level, factor.unit) for level in factor.levels)
    return [b.setting(name, factor.unit), levels, bare(trial.today_settings[name], factor.unit)]


def _can_show(paper: PlanPaper) -> list[b.Block]:
    found = paper.found
    if not found.detectable:
        return [b.listed([*(say(question.finding) for question in found.questions), *map(say, _beside(paper))])]
    several = len({line.response for line in found.detectable}) > 1
    rows = [detectable_row(paper.trial, line, several) for line in found.detectable]
    head = _heads("question", "differences", "seen with 80 %", "df", "chance if worthwhile")
    return [
        b.words(
            text(
                "The smallest true difference that comes out with a chance of 80 % (test at 0.05), at the spreads "
                "expected in the trial file, and the chance that the worthwhile difference comes out. "
                "≈: approximation."
            )
        ),
        b.table(head, rows, right=(2, 3, 4), widths=(3.0, 3.2, 1.3, 1.0, 1.2)),
        b.listed(
            [*planned_sentences(paper.trial), *(settled_words(name, needed) for name, needed in found.settle.items())]
        ),
    ]


def detectable_row(trial: Trial, line: Detectable, several: bool) -> list[str]:
    """One detectable difference as cells: question, pattern, size, degrees of freedom, chance at the worthwhile one."""
    question = subject_words(line.subject)
    size = difference_words(trial.quantity(line.response), line.size)
    return [
        text("{response}, {question}", response=line.response, question=question) if several else question,
        pattern_words(line.subject, line.pattern),
        size if line.exact else f"≈ {size}",
        f"{line.df}, {degrees(line.den_df)}",
        "–" if line.chance_at_worthwhile is None else percent(line.chance_at_worthwhile),
    ]


def _cannot(paper: PlanPaper) -> list[str]:
    lines = [say(finding) for finding in each_once([*paper.found.confounded, *_aliases(paper.plan)])]
    lines += [not_estimated_words(paper.found)] if paper.found.dropped else []
    return lines or [text("Nothing about the nozzle types is confounded by this plan.")]


def _curve(trial: Trial, name: str, curve: pd.DataFrame, found: Assessment) -> dict[str, Any]:
    """Detectable difference of the nearest balanced plan against each count, as picture and table."""
    quantity = trial.quantity(name)
    as_share = quantity.scale is Scale.LOG
    scale = scale_in_use(quantity.unit)
    drawn = curve.assign(detectable=100 * np.expm1(curve["detectable"]) if as_share else scale * curve["detectable"])
    worthwhile = worthwhile_on_scale(trial, name)
    if worthwhile is not None:
        worthwhile = 100 * math.expm1(worthwhile) if as_share else scale * worthwhile
    unit = "%" if as_share else shown_unit(quantity.unit)
    near = drawn[drawn["detectable"] <= FAR * drawn.loc[drawn["planned"], "detectable"].min()]
    svg = detectable_figure(near, unit, worthwhile)
    hour = next_hour_words(found.next_steps.get(name, ()))
    label = f"{quantity.label[0].upper()}{quantity.label[1:]}"
    return b.section(
        text("{response}: detectable difference against counts", response=label),
        [
            b.figure(svg, counts_alt(name, hour), counts_caption()),
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
        rows.append([part_words(str(varied)), *(cells.get(count, "–") for count in counts)])
    head = [text("detectable, {unit}", unit=unit) if unit else text("detectable"), *(f"{count:g}" for count in counts)]
    return b.table(head, rows, right=range(1, len(head)), widths=(2.4, *(1.0 for _ in counts)))


def _cell(value: float, planned: bool) -> str:
    return f"[{number(value)}]" if planned else number(value)


def _prediction(paper: PlanPaper) -> list[dict[str, Any]]:
    """Map of the prediction error for today's type, and the range for every type."""
    trial, map_ = paper.trial, paper.map_
    if map_ is None:
        return []
    quantity = trial.quantity(map_.response)
    as_share = quantity.scale is Scale.LOG
    errors = 100 * np.expm1(map_.errors) if as_share else scale_in_use(quantity.unit) * map_.errors
    unit = "%" if as_share else shown_unit(quantity.unit)
    columns, coupons = [trial.factor_column(name) for name in (map_.across, map_.up)], paper.plan.coupons
    cut = coupons.loc[coupons["nozzle"] == map_.nozzle, columns].drop_duplicates().to_numpy(float)
    units = [trial.factors[name].unit for name in (map_.across, map_.up)]
    across, up = map(b.setting, (map_.across, map_.up), units)
    wide, tall = map(scale_in_use, units)
    places = (cut * (wide, tall)).tolist()
    svg = prediction_figure((wide * map_.x).tolist(), (tall * map_.y).tolist(), errors, across, up, places)
    alt, caption = prediction_alt(map_, across, up, unit), prediction_caption(trial, map_, unit)
    said = [_range_words(paper.found.prediction, quantity, kind) for kind in trial.types]
    picture = b.figure(svg, alt, caption) | {"share": 62}
    lines = b.listed([line for line in said if line])
    return [b.section(text("How well settings are predicted"), [picture, lines])]


def _range_words(prediction: pd.DataFrame, quantity: Quantity, nozzle: str) -> str:
    as_share = quantity.scale is Scale.LOG
    own = prediction[(prediction["response"] == quantity.name) & (prediction["nozzle"] == nozzle)]["se"].to_numpy(float)
    if not len(own):
        return ""
    ends = (float(own.min()), float(own.max()))
    low, high = (100 * math.expm1(e) if as_share else e * scale_in_use(quantity.unit) for e in ends)
    return text(
        "{nozzle}: {low} to {high} {unit} at the levels of the trial.",
        nozzle=nozzle,
        low=number(low),
        high=number(high),
        unit="%" if as_share else shown_unit(quantity.unit),
    )
