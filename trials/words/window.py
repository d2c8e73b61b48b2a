"""The operating window in words: how much of what was cut is safe, the best settings, today's setting, what is open."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from trials.asked import BestBy
from trials.units import shown
from trials.words.answer import word_of
from trials.words.chances import at_least, likely
from trials.words.language import plural, text
from trials.words.names import person
from trials.words.numbers import bare, fixed, listed, number, percent, plain, signed, with_unit
from trials.words.settings import factor_name, setting_words

if TYPE_CHECKING:
    from trials.decide.window_result import BestComparison, Gain, TypeWindow, WindowStudy


def sentences(found: WindowStudy) -> tuple[str, ...]:
    """What is said of each type in turn, the answer to the question first."""
    types = (line for each in found.types for line in type_sentences(each, found))
    return (answer(found), *types, *comparison_sentences(found), *elsewhere_sentences(found))


def answer(found: WindowStudy) -> str:
    """Which type is safe over most of what was cut, in one sentence."""
    widest, wanted = found.widest, percent(found.wanted)
    names = {"nozzle": widest.nozzle, "wanted": wanted, "best": _at(widest.best.settings, found)}
    if found.shown:
        return text(
            "{nozzle} is shown to meet the whole requirement with a chance of {wanted} over {share} of the settings "
            "that were cut with it, best at {best}.",
            **names,
            share=percent(widest.share_bound),
        )
    if found.likely:
        return text(
            "No setting of any type is shown to meet the whole requirement with a chance of {wanted}; {nozzle} is "
            "estimated to do so over {share} of the settings that were cut with it, best at {best}.",
            **names,
            share=percent(widest.share_estimate),
        )
    return text(
        "No setting of any type meets the whole requirement with a chance of {wanted}; {nozzle} comes nearest with "
        "{chance} at {best}.",
        **names,
        chance=likely(widest.best.chance),
    )


def beside_today(found: WindowStudy) -> str:
    """How the bests go with a first page that speaks of today's setting; empty where they are the same setting."""
    moved = [each for each in found.types if each.best.gain is not None]
    if found.asked or not moved:
        return ""
    proved = [each.nozzle for each in moved if each.best.gain is not None and each.best.gain.shown]
    names = {"place": _at(found.today, found), "nozzles": listed([each.nozzle for each in moved])}
    if not proved:
        return text(
            "The first page compares at today's setting ({place}). The best of {nozzles} lies elsewhere, but is not "
            "shown to be better there, so that page does not move the setting.",
            **names,
        )
    return text(
        "The first page compares at today's setting ({place}). The best of {nozzles} lies elsewhere; a typical edge "
        "that differs there is shown for {proved}.",
        **names,
        proved=listed(proved),
    )


def place_of_best(each: TypeWindow, found: WindowStudy) -> str:
    """`at pressure 14.5 bar, standoff 0.7 mm`, where a type is at its best."""
    return text("at {place}", place=_at(each.best.settings, found))


def sure_words(each: TypeWindow, found: WindowStudy) -> str:
    """How sure a type meets the requirement at its best, and over how much of what was cut."""
    names = {
        "share": percent(each.share_bound),
        "chance": _of_hundred(each.best.chance),
        "low": _at_least(each.best.chance_low),
        "wanted": percent(found.wanted),
    }
    if each.share_bound > 0:
        sure = text(
            "There {chance} edges meet the drawing, surely {low}. A chance of {wanted} is shown over {share} of the "
            "settings that were cut.",
            **names,
        )
        return f"{sure} {between}" if (between := _between(each, found)) else sure
    if each.share_estimate > 0:
        return text(
            "There {chance} edges meet the drawing, but only {low} is sure: the {wanted} asked for is shown nowhere "
            "yet.",
            **names,
        )
    return text("Even there only {chance} edges meet the drawing; {wanted} is reached nowhere.", **names)


def _between(each: TypeWindow, found: WindowStudy) -> str:
    """That the best lies between the settings that were cut; empty where it was cut."""
    best = tuple(float(each.best.settings[name]) for name in found.across)
    if any(math.dist(best, place) < 1e-9 for place in each.cut):
        return ""
    return text("It lies between the settings that were cut: confirm it before changing over.")


def nearest_words(each: TypeWindow, found: WindowStudy) -> str:
    """The type that comes nearest where nothing is shown, how near, and what would show it."""
    where = text("{nozzle} comes nearest, {place}.", nozzle=person(each.nozzle), place=place_of_best(each, found))
    return " ".join(filter(None, (where, sure_words(each, found), _open(each))))


def other_types(but: str, found: WindowStudy) -> str:
    """The other types: over how much of what was cut they are safe, and where they are best."""
    others = [_other(each, found) for each in found.types if each.nozzle != but]
    return " ".join(others) or text("No other type was in the trial.")


def _other(each: TypeWindow, found: WindowStudy) -> str:
    names = {
        "nozzle": person(each.nozzle),
        "place": _at(each.best.settings, found),
        "chance": _of_hundred(each.best.chance),
    }
    if each.share_bound > 0:
        return text("{nozzle}: shown over {share}, best at {place}.", **names, share=percent(each.share_bound))
    if each.share_estimate > 0:
        share = percent(each.share_estimate)
        return text("{nozzle}: likely over {share}, shown nowhere; best at {place}.", **names, share=share)
    return text("{nozzle}: nowhere; nearest at {place} with {chance} edges that meet.", **names)


def figures_words(each: TypeWindow, found: WindowStudy) -> str:
    """The typical edge at the best of a type, with its interval; empty where there is none."""
    best = each.best
    if best.edge is None or best.edge_low is None or best.edge_high is None:
        return ""
    low, high = number(best.edge_low), number(best.edge_high)
    return text(
        "typical edge there {edge}, interval {low} to {high}", edge=with_unit(best.edge, found.unit), low=low, high=high
    )


def _of_hundred(chance: float) -> str:
    n = round(100 * chance)
    return text("nearly all") if n >= 100 else text("about {n} of 100", n=n)


def _at_least(chance: float) -> str:
    n = min(math.floor(100 * chance + 1e-9), 99)
    return text("{n} of 100 or more", n=n)


def best_head(found: WindowStudy) -> list[str]:
    """Heads of the table of bests."""
    return [
        text("nozzle"),
        text("typical edge at its best"),
        text("against today's setting"),
        text("as good within"),
        text("to confirm"),
    ]


def best_cells(each: TypeWindow, found: WindowStudy) -> list[str]:
    """The best of one type under `best_head`."""
    best = each.best
    edge = "–"
    if best.edge is not None and best.edge_low is not None and best.edge_high is not None:
        low, high = number(best.edge_low), number(best.edge_high)
        edge = text("{edge} ({low} to {high})", edge=with_unit(best.edge, found.unit), low=low, high=high)
    gain = "–" if best.gain is None else text("{size} ({low} to {high})", **_gain_sizes(best.gain, found))
    confirm = "–"
    if best.confirm is not None:
        low, high = number(best.confirm.low), with_unit(best.confirm.high, found.unit)
        confirm = text("{n} coupons between {low} and {high}", n=best.confirm.coupons, low=low, high=high)
    return [each.nozzle, edge, gain, ", ".join(_ranges(each, found)) or "–", confirm]


def bests_note(found: WindowStudy) -> str:
    """How the table of bests is read."""
    return text(
        "The best is {aim}. Intervals hold though it was picked, and what a picked best flatters itself by is taken "
        "off the gain. As good: settings whose typical edge cannot be told from that at the best. To confirm: coupons "
        "at the best, one of each nozzle; their typical edge must fall between the limits.",
        aim=_aim(found.best_by),
    )


def place_sentences(each: TypeWindow, found: WindowStudy) -> tuple[str, ...]:
    """What is said of a type beside the figures of the tables."""
    return tuple(line for line in (_border(each, found), _open(each)) if line)


def type_sentences(each: TypeWindow, found: WindowStudy) -> tuple[str, ...]:
    """Everything said of one type."""
    lines = (_shares(each, found), *best_sentences(each, found), _today(each, found), _open(each))
    return tuple(line for line in lines if line)


def _at(settings: Mapping[str, float | str], found: WindowStudy) -> str:
    """A place: the factors of the map and those over which a best was sought."""
    names = [name for name in settings if name in found.across or name in found.searched]
    return setting_words({name: _rounded(settings[name]) for name in names}, found.units)


def _rounded(level: float | str) -> float | str:
    """A place of the grid with the digits that a setting is dialled in."""
    return level if isinstance(level, str) else float(f"{level:.4g}")


def _shares(each: TypeWindow, found: WindowStudy) -> str:
    return text(
        "{nozzle}: the next edge meets the whole requirement with a chance of {wanted} or more over {estimate} of the "
        "settings that were cut by estimate, over {bound} with 95 % confidence in all of them together.",
        nozzle=each.nozzle,
        wanted=percent(found.wanted),
        estimate=percent(each.share_estimate),
        bound=percent(each.share_bound),
    )


def best_sentences(each: TypeWindow, found: WindowStudy) -> tuple[str, ...]:
    """The best of a type: where, how good, what it gains, what is as good, what would confirm it."""
    return tuple(
        line for line in (_best(each, found), _alike(each, found), _gain(each, found), _confirm(each, found)) if line
    )


def _best(each: TypeWindow, found: WindowStudy) -> str:
    best = each.best
    names = {
        "nozzle": each.nozzle,
        "place": _at(best.settings, found),
        "chance": likely(best.chance),
        "low": at_least(best.chance_low),
        "aim": _aim(found.best_by),
    }
    if best.edge is None or best.edge_low is None or best.edge_high is None:
        return text("{nozzle} is best at {place} ({aim}): chance {chance}, at least {low}.", **names)
    return text(
        "{nozzle} is best at {place} ({aim}): chance {chance}, at least {low}; typical edge {edge}, interval {from_} "
        "to {to} though the best was picked.",
        **names,
        edge=with_unit(best.edge, found.unit),
        from_=number(best.edge_low),
        to=number(best.edge_high),
    )


def _aim(aim: BestBy) -> str:
    return {
        BestBy.CHANCE: text("where the requirement is met most surely"),
        BestBy.EDGE: text("where the typical edge is best"),
        BestBy.SPEED: text("the fastest that meets the requirement"),
        BestBy.COST: text("the cheapest metre of good edge that meets the requirement"),
    }[aim]


def _ranges(each: TypeWindow, found: WindowStudy) -> list[str]:
    """How far settings reach that cannot be told from the best, by factor."""
    return [_range(name, each, found) for name in (found.searched if each.best.alike else ())]


def _range(name: str, each: TypeWindow, found: WindowStudy) -> str:
    levels = [float(place[name]) for place in each.best.alike]
    unit = found.units.get(name, "")
    low, high = bare(_rounded(min(levels)), unit), plain(_rounded(max(levels)), unit)
    if min(levels) == max(levels):
        return text("{factor} {level}", factor=factor_name(name), level=high)
    return text("{factor} {low} to {high}", factor=factor_name(name), low=low, high=high)


def _alike(each: TypeWindow, found: WindowStudy) -> str:
    if len(each.best.alike) < 2:
        return ""
    return text(
        "Settings whose typical edge cannot be told from that at the best lie within {ranges}.",
        ranges=listed(_ranges(each, found)),
    )


def _gain(each: TypeWindow, found: WindowStudy) -> str:
    if each.best.gain is None:
        return ""
    return text(
        "{nozzle} at its best against today's setting: typical edge {size}, interval {low} to {high}; what a picked "
        "best flatters itself by is taken off.",
        nozzle=each.nozzle,
        **_gain_sizes(each.best.gain, found),
    )


def _gain_sizes(gain: Gain, found: WindowStudy) -> dict[str, str]:
    """Size and ends of a gain; ratios in per cent."""
    return _sizes_of(gain.kind, (gain.value, gain.low, gain.high), found)


def _confirm(each: TypeWindow, found: WindowStudy) -> str:
    wanted = each.best.confirm
    if wanted is None:
        return ""
    return plural(
        "To confirm: {n} coupon of {nozzle} at {place}; its typical edge must fall between {low} and {high}.",
        "To confirm: {n} coupons of {nozzle} at {place}, one of each nozzle; their typical edge must fall between "
        "{low} and {high}.",
        wanted.coupons,
        nozzle=each.nozzle,
        place=_at(wanted.settings, found),
        low=number(wanted.low),
        high=with_unit(wanted.high, found.unit),
    )


def comparison_sentences(found: WindowStudy) -> tuple[str, ...]:
    """Each type at its own best against today's type at its own."""
    return tuple(
        text(
            "Each at its best: {nozzle} against {today}: {answer} ({size}, interval {low} to {high}, though both bests "
            "were picked).",
            nozzle=one.nozzle,
            today=one.against,
            answer=word_of(one.answer, one.answer_adds),
            **_sizes(one, found),
        )
        for one in found.comparisons
    )


def _sizes(one: BestComparison, found: WindowStudy) -> dict[str, str]:
    """Size and ends of a comparison; ratios in per cent."""
    return _sizes_of(one.kind, (one.value, one.low, one.high), found)


def _sizes_of(kind: str, figures: tuple[float, float, float], found: WindowStudy) -> dict[str, str]:
    if kind == "ratio":
        value, low, high = (x - 1.0 for x in figures)
        ends = {"low": fixed(100.0 * low, 0, sign=True), "high": percent(high, sign=True)}
        return {"size": percent(value, sign=True), **ends}
    unit = shown(found.unit)
    value, low, high = figures
    return {"size": f"{signed(value)} {unit}", "low": signed(low), "high": f"{signed(high)} {unit}"}


def elsewhere_sentences(found: WindowStudy) -> tuple[str, ...]:
    """What becomes of the maps with a further factor at its ends."""
    return tuple(
        text(
            "With {factor} {level} the same map is safe over {shares} by estimate (shown).",
            factor=factor_name(at.factor),
            level=plain(_rounded(at.level), found.units.get(at.factor, "")),
            shares=listed(
                [
                    text(
                        "{nozzle} {estimate} ({bound})",
                        nozzle=nozzle,
                        estimate=percent(share),
                        bound=percent(at.share_bound[nozzle]),
                    )
                    for nozzle, share in at.share_estimate.items()
                ]
            ),
        )
        for at in found.elsewhere
    )


def _today(each: TypeWindow, found: WindowStudy) -> str:
    if each.today_chance is None or each.today_low is None:
        return text("{nozzle} was not cut around today's setting.", nozzle=each.nozzle)
    said = text(
        "Today's setting with {nozzle}: chance {chance}, at least {low}.",
        nozzle=each.nozzle,
        chance=likely(each.today_chance),
        low=at_least(each.today_low),
    )
    border = _border(each, found)
    return f"{said} {border}" if border else said


def _border(each: TypeWindow, found: WindowStudy) -> str:
    """How far today's setting stands from the border of the window."""
    if each.border is None:
        return ""
    by_bound = each.share_bound > 0
    at = each.settings.index(each.border)
    safe = (each.low if by_bound else each.chance)[at] >= found.wanted
    place = setting_words({name: _rounded(each.border[name]) for name in found.across}, found.units)
    names = {"nozzle": each.nozzle, "place": place, "steps": _steps(each.border, found)}
    if safe:
        return text("From today's setting the nearest safe one with {nozzle} is {place} ({steps}).", **names)
    return text("From today's setting the nearest that is no longer safe with {nozzle} is {place} ({steps}).", **names)


def _steps(border: Mapping[str, float | str], found: WindowStudy) -> str:
    """How far away a setting is, factor by factor."""
    parts = []
    for name in found.across:
        away = float(border[name]) - float(found.today[name])
        if abs(away) > 1e-9:
            sign = "+" if away > 0 else "-"
            parts.append(f"{factor_name(name)} {sign}{with_unit(abs(away), found.units.get(name, ''), 2)}")
    return ", ".join(parts) or text("beside it")


def _open(each: TypeWindow) -> str:
    """What would show a window that is not shown."""
    reach = each.reach
    if reach is None:
        return ""
    names = {"nozzle": person(each.nozzle), "target": percent(reach.target)}
    if reach.needed is not None:
        return plural(
            "To show {target} for {nozzle} at its best, about {n} specimen of it is needed ({now} now), if the "
            "estimates are the truth and the other types grow alike.",
            "To show {target} for {nozzle} at its best, about {n} specimens of it are needed ({now} now), if the "
            "estimates are the truth and the other types grow alike.",
            reach.needed,
            **names,
            now=reach.specimens,
        )
    if reach.more_than is not None:
        return text("Not even {n} specimens would show {target} for {nozzle}.", **names, n=reach.more_than)
    return text(
        "More specimens would not show {target} for {nozzle}: its chance is estimated below that everywhere; other "
        "settings or another type are needed.",
        **names,
    )


def table_head(found: WindowStudy) -> list[str]:
    """Heads of the table of types."""
    return [
        text("nozzle"),
        text("safe, likely"),
        text("safe, shown"),
        text("best at"),
        text("chance there"),
        text("at least"),
        text("today's chance"),
        text("at least"),
    ]


def how_to_read(found: WindowStudy) -> str:
    """What the columns of the table mean."""
    return text(
        "Safe: the next edge meets everything asked with a chance of {wanted} or more; share of the settings that were "
        "cut. Shown: with 95 % confidence in all settings together, so that any of them may be picked. Today's chance "
        "has a bound of its own.",
        wanted=percent(found.wanted),
    )


def table_cells(each: TypeWindow, found: WindowStudy) -> list[str]:
    """One type under `table_head`."""
    today = ["–", "–"]
    if each.today_chance is not None and each.today_low is not None:
        today = [likely(each.today_chance), at_least(each.today_low)]
    return [
        each.nozzle,
        percent(each.share_estimate),
        percent(each.share_bound),
        _at(each.best.settings, found),
        likely(each.best.chance),
        at_least(each.best.chance_low),
        *today,
    ]


def comparison_head() -> list[str]:
    """Heads of the table of types at their own bests."""
    return [text("nozzle"), text("against"), text("typical edge"), text("interval"), text("answer")]


def comparison_cells(one: BestComparison, found: WindowStudy) -> list[str]:
    """One comparison under `comparison_head`."""
    sizes = _sizes(one, found)
    against = text("{nozzle} at its best", nozzle=one.against)
    span = text("{low} to {high}", low=sizes["low"], high=sizes["high"])
    return [one.nozzle, against, sizes["size"], span, word_of(one.answer, one.answer_adds)]


def others_words(found: WindowStudy) -> str:
    """Settings that are the same all over the maps; empty where there are none."""
    return setting_words(found.others, found.units) if found.others else ""
