"""Every figure of a trial by name, for a slide or a page of one's own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import pandas as pd

from trials.decide.results import ResponseResult, Study
from trials.plan.sheet_map import sheet_map
from trials.report import blocks as b
from trials.report.dross_page import shares_picture
from trials.report.extras import VerdictExtras
from trials.report.figures.edges import spread_figure
from trials.report.figures.planning import sheet_figure
from trials.report.ladder_page import ladder_picture
from trials.report.ranges import response_picture
from trials.report.response_pages import against_settings, by_side, in_order
from trials.responses import Scale
from trials.trial import Trial
from trials.words.in_use import study_in_use, tables_in_use
from trials.words.sheet import map_alt

Maker = Callable[[], b.Block]


def study_gallery(study: Study, trial: Trial, extras: VerdictExtras) -> Mapping[str, Maker]:
    """Figures of a study by name, each drawn when it is called for."""
    extras = replace(extras, tables=tables_in_use(extras.tables, study))
    study = study_in_use(study)
    found: dict[str, Maker] = {}
    for result in study.results:
        found |= _of_response(result, trial, extras)
    spread = [result for result in study.results if result.spread]
    if spread:
        found["spread"] = lambda: b.figure(spread_figure(spread), "")
    if study.ladder is not None and study.ladder.types:
        found["ladder"] = partial(ladder_picture, study.ladder)
    return found


def _of_response(result: ResponseResult, trial: Trial, extras: VerdictExtras) -> dict[str, Maker]:
    name, table = result.response, extras.tables.get(result.response)
    found: dict[str, Maker] = {}
    if result.means:
        found[f"edges-{name}"] = partial(response_picture, result, trial, extras)
    if table is None or table.empty:
        return found
    if result.scale == Scale.GRADE:
        found[f"shares-{name}"] = partial(shares_picture, table, trial.types)
    makers = {"settings": against_settings, "order": in_order, "sides": by_side}
    return found | {
        f"{kind}-{name}": partial(_first_picture, parts)
        for kind, make in makers.items()
        if (parts := make(result, trial, table))
    }


def _first_picture(parts: list[b.Block]) -> b.Block:
    return next(part for part in parts if part["kind"] == "figure")


def sheet_gallery(trial: Trial, coupons: pd.DataFrame) -> Mapping[str, Maker]:
    """Maps of the sheets of a plan by name; none for plans without positions."""
    if "x_mm" not in coupons or coupons["x_mm"].isna().any():
        return {}
    return {f"sheet-{sheet}": partial(_map, trial, coupons, sheet) for sheet in coupons["sheet"].drop_duplicates()}


def _map(trial: Trial, coupons: pd.DataFrame, sheet: str) -> b.Block:
    place = sheet_map(trial, coupons, sheet)
    return b.figure(sheet_figure(place), map_alt(sheet, len(place.coupons)))
