"""The engineer's pages of one response, as plain data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from trials.decide.checking import off_centre, sides_looked_at
from trials.decide.kinds import StudyKind
from trials.decide.results import Comparison, ResponseResult, TermTest
from trials.findings import Place, PlaceKind, Weight
from trials.report import blocks as b
from trials.report.dross_page import IN_TABLE, odds_table
from trials.report.figures.checks import SIDES_IN, drift_figure, sides_figure
from trials.report.figures.edges import Setting, by_factor_figure, coupon_means, spread_figure
from trials.report.figures.look import WIDTH_IN
from trials.responses import Scale
from trials.trial import Method, Trial
from trials.units import shown
from trials.words import captions
from trials.words.answer import word_of
from trials.words.check_groups import check_groups
from trials.words.checks import check_name
from trials.words.findings import say
from trials.words.language import plural, text
from trials.words.names import start
from trials.words.numbers import beside, confidence, fixed, p_value
from trials.words.settings import at_place, place_words, term_words
from trials.words.study import basis_words, beside_headline, in_share, label, named, remarks

BESIDE_SHARE = 75
"""Per cent of the line that the picture of a secondary response takes; its letters keep 6 points."""
DRIFTS = (StudyKind.DRIFT, StudyKind.WEAR_IN_A_MOUNT)


def response_section(
    result: ResponseResult,
    trial: Trial,
    table: pd.DataFrame | None,
    picture: dict[str, Any] | None,
    of_those_cut: str = "",
) -> dict[str, Any]:
    """All blocks of a response: what the test rests on, tests, means, comparisons, checks, figures.

    Sides of mounts are drawn only where the check of centring asks for a look. A secondary response is kept short: its
    tests in a line, no picture against the settings, none of the order of cutting unless a check asks.
    """
    one = text("One setting") if trial.plan.method == Method.ADOPTED else text("Today’s settings")
    parts: list[b.Block] = [_basis(result)]
    shown_at = {} if result.primary else {"share": BESIDE_SHARE}
    parts += [b.head(text("Each nozzle type")), picture | shown_at] if picture else []
    parts += _means(result, of_those_cut, one)
    if result.primary:
        parts += _comparisons(text("Compared with today’s nozzle"), result, result.comparisons)
    parts += odds_table(result) + _pairs(result) + (_terms(result) if result.primary else _terms_in_a_line(result))
    if result.more:
        parts += [b.head(text("How many more would settle it")), b.listed(map(say, result.more))]
    parts += _checks(result) + _pictures(result, trial, table)
    return b.section(_title(result), parts)


def _title(result: ResponseResult) -> str:
    name = label(result)
    title = f"{name[:1].upper()}{name[1:]}"
    return (
        text("{response} (decides)", response=title)
        if result.primary
        else text("{response} (beside it)", response=title)
    )


def _basis(result: ResponseResult) -> b.Block:
    readings = plural("{n} reading", "{n} readings", result.n_readings)
    coupons = plural("{n} coupon", "{n} coupons", result.n_coupons)
    counts = text("{readings} on {coupons}.", readings=readings, coupons=coupons)
    rests = text("The test of nozzle types rests on: {units}.", units=basis_words(result))
    return b.words(" ".join([counts, rests, _scale_words(result), *map(start, remarks(result, IN_TABLE))]))


def _scale_words(result: ResponseResult) -> str:
    if result.scale == Scale.LOG:
        return text("Analysed on the log scale, reported back as ratios and as the typical (median) edge.")
    if result.scale == Scale.GRADE:
        return text("The worst grade of each coupon, taken as a number for the test.")
    return text("Analysed as measured.")


def _terms(result: ResponseResult) -> list[b.Block]:
    if not result.terms:
        return []
    beside = any(t.F_classical is not None for t in result.terms)
    names = [text("What was varied"), "F", text("df"), "p"]
    names += [text("F by strata"), text("df"), "p"] if beside else []
    widths = (2.6, 0.8, 1.1, 1.1, *((0.9, 1.1, 1.1) if beside else ()))
    note = [text("p: how often chance alone would show a difference at least as large, if there were none.")]
    if beside:
        note.append(text("By strata: the classical test of a balanced trial, beside the Kenward-Roger one."))
    kenward_roger = beside_headline(result)
    note += [kenward_roger] if kenward_roger else []
    note += [_which_counts()] if any(c.answer for c in result.comparisons) else []
    rows = [_term_row(t, beside) for t in result.terms]
    return [
        b.head(text("Does it matter?")),
        b.table(names, rows, range(1, len(names)), widths),
        b.words(" ".join(note)),
    ]


def _which_counts() -> str:
    """Which of several p-values of one comparison counts, and why the others are there."""
    return text(
        "The answer goes by the comparison with today’s nozzle alone, its interval and its p; the tests here ask over "
        "all settings or rest on other assumptions, and change no word."
    )


def _terms_in_a_line(result: ResponseResult) -> list[b.Block]:
    """The tests of a secondary response without their table."""
    found = [
        text("{what} {p} ({df})", what=term_words(t.parts), p=p_value(t.p), df=_df(t.df, t.den_df, 1))
        for t in result.terms
    ]
    line = text("p of each term, in brackets on which degrees of freedom: {terms}.", terms="; ".join(found))
    return [b.head(text("Does it matter?")), b.words(line)] if found else []


def _term_row(t: TermTest, beside: bool) -> list[str]:
    row = [term_words(t.parts), b.f_value(t.F), _df(t.df, t.den_df, 1), p_value(t.p)]
    if not beside:
        return row
    if t.F_classical is None or t.den_df_classical is None:
        return [*row, "–", "–", "–"]
    return [*row, b.f_value(t.F_classical), _df(t.df, t.den_df_classical, 0), p_value(t.p_classical)]


def _df(df: int, den_df: float, places: int) -> str:
    return text("{df} and {den_df}", df=df, den_df=fixed(den_df, places))


def spread_section(results: Sequence[ResponseResult]) -> dict[str, Any]:
    """How much each source varies, one chart for all responses."""
    known = [result for result in results if result.spread]
    if not known:
        return b.section(text("Where the spread comes from"), [])
    picture = b.figure(spread_figure(known), captions.spread_alt(known), captions.spread_caption())
    return b.section(text("Where the spread comes from"), [picture])


def _means(result: ResponseResult, of_those_cut: str, one: str) -> list[b.Block]:
    """One row per nozzle type, a value and its interval for each of the places where types are compared.

    Of a secondary response the comparison with today's type stands in the same row. one: what the place with a single
    setting is called.
    """
    if not result.means:
        return []
    groups = [rows for rows in (result.means, result.other_means) if rows]
    names = [text("Nozzle type")]
    for rows in groups:
        place = _place_name(rows[0].settings, one)
        names += [f"{place}, {shown(result.unit)}" if result.unit else place, text("95 % interval")]
    digits = iter(b.alike(*(size for rows in groups for m in rows for size in (m.mean, m.low, m.high))))
    cells = [{m.nozzle: (next(digits), b.span(next(digits), next(digits))) for m in rows} for rows in groups]
    nozzles = dict.fromkeys(m.nozzle for rows in groups for m in rows)
    table = [
        [named(nozzle, result), *(cell for own in cells for cell in own.get(nozzle, ("–", "–")))] for nozzle in nozzles
    ]
    title = text("Mean grades") if result.scale == Scale.GRADE else text("Typical edges")
    said = " ".join(_place_words(rows[0].settings, one) for rows in groups)
    covers = text("Each interval of this table holds by itself.")
    widths: tuple[float, ...] = (1.8, *(width for _ in groups for width in (1.3, 1.5)))
    if not result.primary and result.comparisons:
        more, cells_of, covers = _beside(result)
        names += more
        table = [[*row, *cells_of.get(nozzle, ("–", "–", "–"))] for row, nozzle in zip(table, nozzles, strict=True)]
        widths = (1.5, *widths[1:], 1.15, 1.5, 1.3)
    return [
        b.head(title),
        b.table(names, table, range(1, len(names)), widths),
        b.words(f"{said} {covers}", of_those_cut),
    ]


def _beside(result: ResponseResult) -> tuple[list[str], dict[str, tuple[str, str, str]], str]:
    """Heads, cells by type and the note of the comparisons of a secondary response with today's type."""
    first = result.comparisons[0]
    heads = [_difference(first, result), text("{level} interval", level=confidence(first.confidence)), "p"]
    cells = {c.nozzle: _size_cells(c) for c in result.comparisons}
    note = text(
        "Last columns: against {nozzle}, {place}; these intervals hold together and p allows for their number, the "
        "others hold by themselves.",
        nozzle=named(first.against, result),
        place=at_place(first.settings),
    )
    return heads, cells, note


def _difference(c: Comparison, result: ResponseResult) -> str:
    """Head of a column of comparisons."""
    if c.kind == "ratio":
        return text("Ratio")
    if result.scale == Scale.GRADE:
        return text("Difference in grade")
    return text("Difference, {unit}", unit=shown(result.unit)) if result.unit else text("Difference")


def _size_cells(c: Comparison) -> tuple[str, str, str]:
    """Size, interval and p of a comparison."""
    sizes = in_share(c)
    two = c.kind in ("ratio", "share")
    value, low, high = (fixed(x, 2, sign=c.kind == "share") for x in sizes) if two else beside(*sizes[1:], *sizes)
    return value, "–" if math.isnan(c.low) else b.span(low, high), p_value(c.p)


def _place_name(place: Place, one: str) -> str:
    return text("Average over settings") if place.kind == PlaceKind.AVERAGE else one


def _place_words(place: Place, one: str) -> str:
    return text("{name}: {place}.", name=_place_name(place, one), place=place_words(place))


def _comparisons(title: str, result: ResponseResult, found: tuple[Comparison, ...]) -> list[b.Block]:
    if not found:
        return []
    ratio, unit = found[0].kind == "ratio", shown(result.unit)
    in_unit, worded = ratio and any(c.in_unit for c in found), any(c.answer for c in found)
    kind = text("Share of coupons") if found[0].kind == "share" else _difference(found[0], result)
    sure = text("{level} interval", level=confidence(found[0].confidence))
    names = [text("Nozzle type"), text("Against"), kind, sure, "p"]
    names += [text("In {unit}", unit=unit)] if in_unit else []
    names += [text("Answer")] if worded else []
    widths = (2, 2, 1.05, 1.7, 1.35, *((2.2,) if in_unit else ()), *((2.4,) if worded else ()))
    rows = [_comparison_row(c, result, in_unit, worded) for c in found]
    note = [f"{at_place(found[0].settings, start=True)}."]
    if found[0].kind == "share":
        note.append(text("Share of coupons at the required grade, less that of the type it stands against."))
    note.append(
        text(
            "The {level} intervals hold together for all comparisons of the table; p allows for their number.",
            level=confidence(found[0].confidence),
        )
    )
    return [b.head(title), b.table(names, rows, range(2, 6 if in_unit else 5), widths), b.words(" ".join(note))]


def _comparison_row(c: Comparison, result: ResponseResult, in_unit: bool, worded: bool) -> list[str]:
    known = not math.isnan(c.low)
    row = [named(c.nozzle, result), named(c.against, result), *_size_cells(c)]
    if in_unit:
        unit = beside(*c.in_unit[1:], *c.in_unit) if c.in_unit else ["–"]
        row.append(f"{unit[0]} ({b.span(unit[1], unit[2])})" if known and c.in_unit else unit[0])
    if worded:
        row.append(word_of(c.answer, c.answer_adds) or "–")
    return row


def _pairs(result: ResponseResult) -> list[b.Block]:
    """Every type against every other as a matrix, left out where today's nozzle is in each pair."""
    nozzles = [mean.nozzle for mean in result.means]
    if not result.pairs or len(nozzles) < 3:
        return []
    cells = {(c.nozzle, c.against): _pair_cell(c, False) for c in result.pairs}
    cells |= {(c.against, c.nozzle): _pair_cell(c, True) for c in result.pairs}
    rows = [
        [f"{k}  {named(nozzle, result)}", *(cells.get((nozzle, other), "–") for other in nozzles[:-1])]
        for k, nozzle in enumerate(nozzles, 1)
    ]
    rows = [[cell if j <= k else "" for j, cell in enumerate(row)] for k, row in enumerate(rows)][1:]
    first = result.pairs[0]
    note = text(
        "{what}, and its {level} interval; {place}. The intervals hold together for all pairs.",
        what=_pair_words(first, result),
        level=confidence(first.confidence),
        place=at_place(first.settings),
    )
    names = [text("Against"), *(f"{k}  {named(n, result)}" for k, n in enumerate(nozzles[:-1], 1))]
    table = b.table(names, rows, (), (1.4, *(1.0 for _ in nozzles[:-1])))
    return [b.head(text("Every pair")), table, b.words(note)]


def _pair_words(c: Comparison, result: ResponseResult) -> str:
    """What stands in a cell of the matrix of pairs."""
    if c.kind == "ratio":
        return text("Ratio of the type in the row to the type in the column")
    if result.scale == Scale.GRADE:
        return text("Difference in grade: type in the row less type in the column")
    if result.unit:
        return text("Difference in {unit}: type in the row less type in the column", unit=shown(result.unit))
    return text("Difference: type in the row less type in the column")


def _pair_cell(c: Comparison, turned: bool) -> str:
    """The size of a pair with its interval; turned: seen from the other type."""
    sizes = (c.value, c.low, c.high)
    if turned and c.kind == "ratio":
        sizes = (1 / c.value, 1 / c.high, 1 / c.low)
    elif turned:
        sizes = (-c.value, -c.high, -c.low)
    value, low, high = (fixed(x, 2) for x in sizes) if c.kind == "ratio" else beside(*sizes[1:], *sizes)
    return value if math.isnan(c.low) else text("{value} ({low} to {high})", value=value, low=low, high=high)


def _checks(result: ResponseResult) -> list[b.Block]:
    """Checks in groups; of a secondary response those in which nothing was found by name only."""
    parts: list[b.Block] = []
    for group in check_groups(result.checks):
        names = [check_name(check.kind) for check in group.checks] if group.calm and not result.primary else []
        known = list(dict.fromkeys(filter(None, names)))
        rest = [say(check) for check in group.checks if not names or not check_name(check.kind)]
        head = f"{group.title}: {'; '.join(known)}." if known else f"{group.title}:"
        lines = [b.columns(rest) if len(rest) > 3 else b.listed(rest)]
        parts += [b.lead(head), *lines] if rest else [b.words(head)]
    return [b.head(text("Checks")), *parts] if parts else []


def _asks_for_a_look(result: ResponseResult, *kinds: StudyKind) -> bool:
    return any(c.kind in kinds and c.weight in (Weight.COULD_CHANGE, Weight.LOOK_AT) for c in result.checks)


def _pictures(result: ResponseResult, trial: Trial, table: pd.DataFrame | None) -> list[b.Block]:
    if table is None or table.empty:
        return []
    found = against_settings(result, trial, table) if result.primary else []
    if result.primary or _asks_for_a_look(result, *DRIFTS):
        found += in_order(result, trial, table)
    return found + (by_side(result, trial, table) if _asks_for_a_look(result, StudyKind.CENTRING) else [])


def _settings(trial: Trial, table: pd.DataFrame) -> list[Setting]:
    """The factors that the table holds."""
    known = ((trial.factor_column(name), name, f) for name, f in trial.factors.items())
    return [Setting(column, b.setting(name, f.unit), f.levels, f.unit) for column, name, f in known if column in table]


def against_settings(result: ResponseResult, trial: Trial, table: pd.DataFrame) -> list[b.Block]:
    """Every coupon against each setting; nothing where no setting was varied."""
    coupons, settings = coupon_means(table, result.scale), _settings(trial, table)
    if not settings:
        return []
    alt = captions.settings_alt(result, [setting.words for setting in settings])
    drawn = by_factor_figure(result, coupons, settings, trial.types)
    return [b.head(text("Against each setting")), b.figure(drawn, alt, captions.settings_caption())]


def in_order(result: ResponseResult, trial: Trial, table: pd.DataFrame) -> list[b.Block]:
    """What is left over in the order of cutting; nothing where the order is not known."""
    coupons = coupon_means(table, result.scale)
    ordered = "cut_order" in table and bool(coupons["cut_order"].notna().all())
    if trial.plan.method == Method.ADOPTED or not ordered:
        return []
    columns = [setting.column for setting in _settings(trial, table)]
    drawn = drift_figure(result, coupons, trial.types, columns)
    return [
        b.head(text("In the order of cutting")),
        b.figure(drawn, captions.order_alt(result), captions.order_caption()),
    ]


def by_side(result: ResponseResult, trial: Trial, table: pd.DataFrame) -> list[b.Block]:
    """What is left on each side of a mount, as the check of centring compares them; nothing where it compares none."""
    means = [row for check in result.checks if check.kind == StudyKind.CENTRING for row in sides_looked_at(check)]
    if not means:
        return []
    flagged = flagged_mounts(result)
    drawn = sides_figure(result, means, flagged)
    picture = b.figure(drawn, captions.sides_alt(result, flagged), captions.sides_caption())
    return [b.head(text("One side against the other")), picture | {"share": round(100 * SIDES_IN / WIDTH_IN)}]


def flagged_mounts(result: ResponseResult) -> list[str]:
    """Mounts that the centring check names."""
    found = [mount for check in result.checks if check.kind == StudyKind.CENTRING for mount in off_centre(check)]
    return list(dict.fromkeys(found))
