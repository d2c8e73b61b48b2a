"""The engineer's pages of one response, as plain data."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from trials.decide.results import Comparison, ResponseResult, TermTest
from trials.report import blocks as b
from trials.report.figures.checks import drift_figure, flagged_mounts, sides_figure
from trials.report.figures.edges import Setting, by_factor_figure, coupon_means, spread_figure
from trials.trial import Trial
from trials.units import shown

SIDES_READ = (
    "A nozzle off centre shows as a long line: one side worse than the others. Coupons flagged as far are left out. "
    "Boxed: flagged by the centring check."
)

_SCALES = {
    "log": "Analysed on the log scale, reported back as ratios and as the typical (median) edge.",
    "as measured": "Analysed as measured.",
    "grade": "The worst grade of each coupon, taken as a number for the test.",
}


def response_section(
    result: ResponseResult,
    trial: Trial,
    table: pd.DataFrame | None,
    picture: dict[str, Any] | None,
    of_those_cut: str = "",
) -> dict[str, Any]:
    """All blocks of a response: what the test rests on, tests, spread, means, comparisons, checks, figures."""
    adopted = trial.plan.method == "adopted"
    one = "One setting" if adopted else "Today’s settings"
    role = "decides" if result.primary else "beside it"
    parts: list[b.Block] = [_basis(result)]
    parts += [picture] if picture else []
    parts += _terms(result) + _spread(result) + _means(result, of_those_cut, one)
    parts += _comparisons("Compared with today’s nozzle", result.comparisons, result.unit)
    parts += _comparisons("Every pair", result.pairs, result.unit)
    if result.more:
        parts += [b.head("How many more would settle it"), b.listed(result.more)]
    parts += _checks(result) + _pictures(result, trial, table)
    title = f"{result.label[:1].upper()}{result.label[1:]}"
    return b.section(f"{title} ({role})", parts) | {"page": True}


def _basis(result: ResponseResult) -> b.Block:
    counts = f"{result.n_readings} readings on {result.n_coupons} coupons."
    rests = f"The test of nozzle types rests on: {result.rests_on.rstrip('.')}." if result.rests_on else ""
    return b.words(" ".join(part for part in (counts, rests, _SCALES.get(result.scale, "")) if part), *result.said)


def _terms(result: ResponseResult) -> list[b.Block]:
    if not result.terms:
        return []
    beside = any(t.strata_F is not None for t in result.terms)
    shares = any(t.omega2 is not None for t in result.terms)
    names = ["What was varied", "F", "df", "p"] + (["Share explained"] if shares else [])
    names += ["F by strata", "df", "p"] if beside else []
    rows = [_term_row(t, shares, beside) for t in result.terms]
    widths = (2.6, 0.8, 1.1, 1.1, *((1,) if shares else ()), *((0.9, 1.1, 1.1) if beside else ()))
    note = "p: how often chance alone would show a difference as large, if there were none."
    if shares:
        note += " Share explained: part of the variation that this line explains, the other lines being known."
    if beside:
        note += " By strata: the classical test of a balanced trial, beside the Kenward-Roger one."
    return [b.head("Does it matter?"), b.table(names, rows, range(1, len(names)), widths), b.words(note)]


def _term_row(t: TermTest, shares: bool, beside: bool) -> list[str]:
    row = [term_words(t.term), b.f_value(t.F), f"{t.df} and {t.den_df:.1f}", b.chance(t.p)]
    row += [b.percent(t.omega2)] if shares else []
    if not beside:
        return row
    if t.strata_F is None or t.strata_den_df is None:
        return [*row, "–", "–", "–"]
    return [*row, b.f_value(t.strata_F), f"{t.df} and {t.strata_den_df:.0f}", b.chance(t.strata_p)]


def term_words(term: str) -> str:
    """A term of the model as people read it: `nozzle × pressure squared`."""
    return term.replace("_", " ").replace(" x ", " × ")


def _spread(result: ResponseResult) -> list[b.Block]:
    if not result.spread:
        return []
    alt = "; ".join(f"{part.source} {b.num(part.sd, 2)}" for part in result.spread)
    return [
        b.head("Where the spread comes from"),
        b.listed(part.words or f"{part.source}: {b.num(part.sd, 2)}" for part in result.spread),
        b.figure(spread_figure(result), f"Standard deviation by source on the model's scale: {alt}."),
    ]


def _means(result: ResponseResult, of_those_cut: str, one: str) -> list[b.Block]:
    """One row per nozzle type, a value and its interval for each of the places where types are compared.

    one: what the place with a single setting is called.
    """
    if not result.means:
        return []
    found = (*result.means, *result.other_means)
    places = list(dict.fromkeys(mean.settings for mean in found))
    unit = f", {shown(result.unit)}" if result.unit else ""
    names, rows = ["Nozzle type"], []
    for place in places:
        names += [f"{_place_name(place, one)}{unit}", "95 % interval"]
    digits = iter(b.alike(*(size for mean in found for size in (mean.mean, mean.low, mean.high))))
    cells = {(m.nozzle, m.settings): (next(digits), f"{next(digits)} to {next(digits)}") for m in found}
    for nozzle in dict.fromkeys(mean.nozzle for mean in found):
        rows.append([nozzle, *(cell for place in places for cell in cells.get((nozzle, place), ("–", "–")))])
    title = "Mean grades" if result.scale == "grade" else "Typical edges"
    said = " ".join(_place_words(place, one) for place in places if place)
    widths = (1.8, *(width for _ in places for width in (1.3, 1.5)))
    return [b.head(title), b.table(names, rows, range(1, len(names)), widths), b.words(said, of_those_cut)]


def _averaged(place: str) -> bool:
    return place.startswith("average")


def _place_name(place: str, one: str) -> str:
    return "Average over settings" if _averaged(place) else one


def _place_words(place: str, one: str) -> str:
    if _averaged(place):
        return f"Average over settings: {place.removeprefix('average over ')}."
    return f"{one}: {place}."


def _comparisons(title: str, found: tuple[Comparison, ...], unit: str) -> list[b.Block]:
    if not found:
        return []
    kind = {"ratio": "Ratio", "difference": f"Difference{', ' + shown(unit) if unit else ''}"}[found[0].kind]
    sure = f"{100 * found[0].confidence:.4g} % interval"
    names = ["Nozzle type", "Against", kind, sure, "p"]
    widths = [2, 2, 1.05, 1.7, 1.35]
    in_unit = any(c.in_unit for c in found) and found[0].kind == "ratio"
    worded = any(c.answer for c in found)
    names += [f"In {shown(unit)}"] if in_unit else []
    widths += [2.2] if in_unit else []
    names += ["Answer"] if worded else []
    widths += [2.4] if worded else []
    rows = [_comparison_row(c, in_unit, worded) for c in found]
    right = range(2, 6 if in_unit else 5)
    settings = "; ".join(dict.fromkeys(c.settings for c in found if c.settings))
    note = f"{at_words(settings)}. " if settings else ""
    note += "Intervals hold together for all comparisons of the table; p allows for their number."
    return [b.head(title), b.table(names, rows, right, widths), b.words(note)]


def at_words(settings: str) -> str:
    """Where something holds: `At pressure 0.7 bar`, or `On average over the 9 settings`."""
    return f"On {settings}" if _averaged(settings) else f"At {settings}"


def _comparison_row(c: Comparison, in_unit: bool, worded: bool) -> list[str]:
    sizes = (c.value, c.low, c.high)
    value, low, high = (f"{x:.2f}" for x in sizes) if c.kind == "ratio" else b.alike(*sizes)
    known = not math.isnan(c.low)
    row = [c.nozzle, c.against, value, f"{low} to {high}" if known else "–", b.chance(c.p)]
    if in_unit:
        unit = b.alike(*c.in_unit) if c.in_unit else ("–",)
        row.append(f"{unit[0]} ({unit[1]} to {unit[2]})" if known and c.in_unit else unit[0])
    if worded:
        row.append(", ".join(part for part in (c.answer or "–", c.answer_adds) if part))
    return row


def _checks(result: ResponseResult) -> list[b.Block]:
    if not result.checks:
        return []
    ordered = sorted(result.checks, key=lambda check: not check.flagged)
    lines = [f"{'LOOK AT THIS: ' if check.flagged else ''}{check.sentence}" for check in ordered]
    return [b.head("Checks"), b.listed(lines)]


def _pictures(result: ResponseResult, trial: Trial, table: pd.DataFrame | None) -> list[b.Block]:
    if table is None or table.empty:
        return []
    coupons = coupon_means(table, result.scale)
    settings = [
        Setting(trial.factor_column(name), b.setting(name, f.unit), f.levels)
        for name, f in trial.factors.items()
        if trial.factor_column(name) in coupons
    ]
    found = []
    if settings:
        said = ", ".join(setting.words for setting in settings)
        found += [
            b.head("Against each setting"),
            b.figure(
                by_factor_figure(result, coupons, settings, trial.types),
                f"{result.label} of every coupon against {said}, one strip per nozzle type, with level means.",
                "Small marks: coupons. Joined marks: their mean at each level, over all other settings.",
            ),
        ]
    if trial.plan.method != "adopted" and "cut_order" in table and coupons["cut_order"].notna().all():
        found += [
            b.head("In the order of cutting"),
            b.figure(
                drift_figure(result, coupons, trial.types, [setting.column for setting in settings]),
                f"What is left of {result.label} after nozzle type and settings, in the order of cutting.",
                "What is left after nozzle type and settings; a slope would be wear or lens heating.",
            ),
        ]
    if {"side", "mount"} <= set(table.columns) and table["side"].nunique() > 1:
        found += [
            b.head("One side against the other"),
            b.figure(
                sides_figure(result, table, [setting.column for setting in settings]),
                f"What is left of {result.label} after nozzle type and settings, side by side for each mount."
                f"{_flag_words(result)}",
                f"Mean of what is left on each side of a mount, after nozzle type and settings. {SIDES_READ}",
            ),
        ]
    return found


def _flag_words(result: ResponseResult) -> str:
    named = flagged_mounts(result)
    return f" Flagged by the centring check: {', '.join(named)}." if named else ""
