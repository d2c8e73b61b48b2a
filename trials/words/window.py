"""The operating window in words: how much of what was cut is safe, the best settings, today's setting, what is open."""

from __future__ import annotations

from collections.abc import Mapping

from trials.decide.window import TypeWindow, WindowStudy
from trials.words.language import plural, text
from trials.words.numbers import number, percent, with_unit
from trials.words.settings import factor_name, setting_words


def sentences(found: WindowStudy) -> tuple[str, ...]:
    """What is said of each type in turn, the answer to the question first."""
    return (answer(found), *(line for each in found.types for line in type_sentences(each, found)))


def answer(found: WindowStudy) -> str:
    """Which type is safe over most of what was cut, in one sentence."""
    shown = [each for each in found.types if each.share_bound > 0]
    likely = [each for each in found.types if each.share_estimate > 0]
    wanted = percent(found.wanted)
    if shown:
        widest = max(shown, key=lambda each: each.share_bound)
        return text(
            "{nozzle} is shown to meet the whole requirement with a chance of {wanted} over {share} of the settings "
            "that were cut with it, best at {best}.",
            nozzle=widest.nozzle,
            wanted=wanted,
            share=percent(widest.share_bound),
            best=_at(widest.best.settings, found),
        )
    if likely:
        widest = max(likely, key=lambda each: each.share_estimate)
        return text(
            "No setting of any type is shown to meet the whole requirement with a chance of {wanted}; {nozzle} is "
            "estimated to do so over {share} of the settings that were cut with it, best at {best}.",
            nozzle=widest.nozzle,
            wanted=wanted,
            share=percent(widest.share_estimate),
            best=_at(widest.best.settings, found),
        )
    nearest = max(found.types, key=lambda each: each.best.chance)
    return text(
        "No setting of any type meets the whole requirement with a chance of {wanted}; {nozzle} comes nearest with "
        "{chance} at {best}.",
        nozzle=nearest.nozzle,
        wanted=wanted,
        chance=percent(nearest.best.chance),
        best=_at(nearest.best.settings, found),
    )


def type_sentences(each: TypeWindow, found: WindowStudy) -> tuple[str, ...]:
    """Everything said of one type."""
    lines = (_shares(each, found), _best(each, found), _today(each, found), _open(each))
    return tuple(line for line in lines if line)


def _at(settings: Mapping[str, float | str], found: WindowStudy) -> str:
    return setting_words({name: _rounded(settings[name]) for name in found.across}, found.units)


def _rounded(level: float | str) -> float | str:
    """A place of the grid with the digits that a setting is dialled in."""
    return level if isinstance(level, str) else float(f"{level:.3g}")


def _shares(each: TypeWindow, found: WindowStudy) -> str:
    return text(
        "{nozzle}: the next edge meets the whole requirement with a chance of {wanted} or more over {estimate} of the "
        "settings that were cut by estimate, over {bound} with 95 % confidence at each.",
        nozzle=each.nozzle,
        wanted=percent(found.wanted),
        estimate=percent(each.share_estimate),
        bound=percent(each.share_bound),
    )


def _best(each: TypeWindow, found: WindowStudy) -> str:
    best = each.best
    names = {
        "nozzle": each.nozzle,
        "place": _at(best.settings, found),
        "chance": percent(best.chance),
        "low": percent(best.chance_low),
    }
    if best.edge is None or best.edge_low is None or best.edge_high is None:
        return text("{nozzle} is best at {place}: chance {chance}, at least {low}.", **names)
    return text(
        "{nozzle} is best at {place}: chance {chance}, at least {low}; typical edge {edge}, interval {from_} to {to} "
        "though the best was picked.",
        **names,
        edge=with_unit(best.edge, found.unit),
        from_=number(best.edge_low),
        to=number(best.edge_high),
    )


def _today(each: TypeWindow, found: WindowStudy) -> str:
    if each.today_chance is None or each.today_low is None:
        return text("{nozzle} was not cut around today's setting.", nozzle=each.nozzle)
    said = text(
        "Today's setting with {nozzle}: chance {chance}, at least {low}.",
        nozzle=each.nozzle,
        chance=percent(each.today_chance),
        low=percent(each.today_low),
    )
    if each.border is None:
        return said
    by_bound = each.share_bound > 0
    safe = (each.today_low if by_bound else each.today_chance) >= found.wanted
    names = {"said": said, "place": _at(each.border, found), "steps": _steps(each.border, found)}
    if safe:
        return text("{said} The nearest setting that is no longer safe is {place} ({steps}).", **names)
    return text("{said} The nearest safe setting is {place} ({steps}).", **names)


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
    names = {"nozzle": each.nozzle, "target": percent(reach.target)}
    if reach.needed is not None:
        return plural(
            "To show {target} for {nozzle} at its best, about {n} specimen of each type is needed ({now} now), if "
            "the estimates are the truth.",
            "To show {target} for {nozzle} at its best, about {n} specimens of each type are needed ({now} now), if "
            "the estimates are the truth.",
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
    best = text("best at {factors}", factors=", ".join(map(factor_name, found.across)))
    return [
        text("nozzle"),
        text("safe, estimate"),
        text("safe, shown"),
        best,
        text("chance there"),
        text("at least"),
        text("today's chance"),
        text("at least"),
    ]


def table_cells(each: TypeWindow, found: WindowStudy) -> list[str]:
    """One type under `table_head`."""
    today = [each.today_chance, each.today_low]
    return [
        each.nozzle,
        percent(each.share_estimate),
        percent(each.share_bound),
        _at(each.best.settings, found),
        percent(each.best.chance),
        percent(each.best.chance_low),
        *("–" if share is None else percent(share) for share in today),
    ]


def others_words(found: WindowStudy) -> str:
    """Settings that are the same all over the maps; empty where there are none."""
    return setting_words(found.others, found.units) if found.others else ""
