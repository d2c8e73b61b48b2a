"""The fastest clean cut in words: the answer of a ladder trial, speeds of types and mounts, what ladders leave open."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.ladder import LadderAnswer, LadderComparison, LadderKind, MountLadder
from trials.infer.answer import Added, Answer
from trials.units import shown
from trials.words.facts import amount, figure, several, whole, word
from trials.words.language import plural, text
from trials.words.names import person
from trials.words.numbers import confidence, fixed, listed, number, percent, point, signed, with_unit

if TYPE_CHECKING:
    from trials.decide.clean_speed import CleanSpeed
    from trials.findings import Finding

THICKNESS = "thickness"


def ladder_alt(found: LadderAnswer) -> str:
    """Mounts and types of a ladder."""
    values = "; ".join(
        text("{nozzle} {speed}", nozzle=each.nozzle, speed=speed_words(each.typical, found)) for each in found.types
    )
    return text("Where each mount stops cutting clean; typical limit of each nozzle type: {values}.", values=values)


def ladder_caption(found: LadderAnswer) -> str:
    """What each mark that is drawn means."""
    ended = [math.isfinite(each.low) and math.isfinite(each.high) for each in found.mounts]
    typical, safe = (
        any(math.isfinite(speed) for speed in speeds)
        for speeds in ([each.typical for each in found.types], [each.clean_95_low for each in found.types])
    )
    said = [text("Bar: from the last clean to the first unclean step of one mount.")] if any(ended) else []
    said += [] if all(ended) else [text("Arrow: the ladder gives no end on that side.")]
    said += [text("Diamond: typical limit of the type with its 95 % interval.")] if typical else []
    said += [text("Upright stroke: what 95 % of its mounts cut clean, at least.")] if safe else []
    return " ".join(said)


def answer_clause(found: LadderAnswer) -> str:
    """The answer of the ladders in one sentence, the types that differ first."""
    if not found.comparisons:
        return text("No answer yet: the clean cuts cannot be compared.")
    if found.worthwhile is None:
        sizes = "; ".join(
            text("{nozzle} {size}", nozzle=_named(c.nozzle, found), size=_size(c, found)) for c in found.comparisons
        )
        return text(
            "No word, since no worthwhile difference was declared; {limit}: {sizes}.",
            limit=limit_name(found),
            sizes=sizes,
        )
    sized = [c for wanted in (Answer.BETTER, Answer.WORSE) for c in found.comparisons if c.answer == wanted]
    said = [_sized(c, found) for c in sized]
    for wanted in (Answer.SAME, Answer.NOT_SETTLED):
        names = [_named(c.nozzle, found) for c in found.comparisons if c.answer == wanted]
        if names:
            against = _named(found.today, found, todays=True)
            said.append(
                text("{names} against {against}: {answer}", names=listed(names), against=against, answer=text(wanted))
            )
    level = confidence(found.comparisons[0].confidence)
    tail = text("{limit}; intervals {level}", limit=limit_name(found), level=level)
    return text("{clauses} ({tail}).", clauses="; ".join(said), tail=tail)


def limit_name(found: LadderAnswer) -> str:
    """What a ladder finds: the fastest, or the thickest, clean cut."""
    return text("thickest clean cut") if found.rising == THICKNESS else text("fastest clean cut")


def title(found: LadderAnswer) -> str:
    """The heading over a ladder's answer."""
    return text("Thickest clean cut") if found.rising == THICKNESS else text("Fastest clean cut")


def more_head(found: LadderAnswer) -> str:
    """Head of the column of differences."""
    return text("thicker by") if found.rising == THICKNESS else text("faster by")


def axis_name(found: LadderAnswer) -> str:
    """The factor that rises, with its unit."""
    if found.rising == THICKNESS:
        return text("thickness, {unit}", unit=shown(found.unit))
    return text("speed, {unit}", unit=shown(found.unit))


def _sized(c: LadderComparison, found: LadderAnswer) -> str:
    names = {
        "nozzle": _named(c.nozzle, found),
        "against": _named(c.against, found, todays=True),
        "speed": speed_words(_of(found, c.nozzle).typical, found),
        "other": speed_words(_of(found, c.against).typical, found),
        "size": _size(c, found),
    }
    if c.answer == Answer.WORSE:
        return text("{nozzle} is worse than {against}: clean up to {speed} against {other}, {size}", **names)
    if c.answer_adds == Added.BY_AT_LEAST:
        return text(
            "{nozzle} is better than {against} by at least the worthwhile difference: clean up to {speed} against "
            "{other}, {size}",
            **names,
        )
    return text(
        "{nozzle} is better than {against}, how much is open: clean up to {speed} against {other}, {size}", **names
    )


def faster_sentence(c: LadderComparison, found: LadderAnswer) -> str:
    """How far a type cuts clean beside the other: half its mounts up to 3.6 m/min, with the other 3.0 m/min, ..."""
    speed, other = (speed_words(_of(found, name).typical, found) for name in (c.nozzle, c.against))
    return text(
        "Half its mounts stay clean up to {speed}, with {against} up to {other}: {size}.",
        speed=speed,
        against=person(c.against),
        other=other,
        size=_size(c, found),
    )


def safe_words(nozzle: str, against: str, found: LadderAnswer) -> str:
    """What 95 % of the mounts of a type keep clean, beside the same of another; empty where either is not known."""
    safe = [_of(found, name).clean_95_low for name in (nozzle, against)]
    if not all(map(math.isfinite, safe)):
        return ""
    return text(
        "95 % of the mounts stay clean up to {speed} at least, with {against} up to {other}.",
        speed=speed_words(safe[0], found),
        against=person(against),
        other=speed_words(safe[1], found),
    )


def _of(found: LadderAnswer, nozzle: str) -> CleanSpeed:
    return next(each for each in found.types if each.nozzle == nozzle)


def _named(nozzle: str, found: LadderAnswer, todays: bool = False) -> str:
    """A type, or the one piece of it that the answer is about."""
    piece = found.pieces.get(nozzle)
    if piece:
        return text("nozzle {piece}", piece=piece)
    return text("today's {nozzle}", nozzle=nozzle) if todays else nozzle


def _size(c: LadderComparison, found: LadderAnswer) -> str:
    return text("{size}, interval {span}", size=size_words(c, found.unit), span=span_words(c, found.unit))


def size_words(c: LadderComparison, unit: str) -> str:
    """How much faster (plus) or slower a type cuts clean: `+0.75 m/min` or `+22 %`."""
    if not math.isfinite(c.value):
        return text("not known")
    return f"{signed(c.value)} {shown(unit)}".strip() if c.kind == "difference" else percent(c.value - 1.0, sign=True)


def span_words(c: LadderComparison, unit: str) -> str:
    """The interval of a comparison."""
    if c.kind == "difference":
        low, high = (signed(x) if math.isfinite(x) else text("no bound") for x in (c.low, c.high))
        return f"{text('{low} to {high}', low=low, high=high)} {shown(unit)}".strip()
    low, high = (
        fixed(100.0 * (x - 1.0), 0, sign=True) if math.isfinite(x) else text("no bound") for x in (c.low, c.high)
    )
    return text("{low} to {high} %", low=low, high=high)


def speed_words(speed: float, found: LadderAnswer) -> str:
    """A speed with its unit; where the ladder gives no bound, on which side of it."""
    if math.isfinite(speed):
        return with_unit(speed, found.unit)
    first, last = (with_unit(step, found.unit) for step in found.steps)
    return text("above {last}", last=last) if speed > 0 else text("below {first}", first=first)


def interval_words(each: CleanSpeed) -> str:
    """`3.40 to 3.80`; an end without bound says so."""
    return text("{low} to {high}", low=number(each.low), high=number(each.high))


def clean_head(found: LadderAnswer) -> list[str]:
    """Heads of the table of types."""
    return [
        text("nozzle"),
        limit_name(found),
        text("95 % interval"),
        text("95 % of mounts clean up to"),
        text("at least"),
        text("mounts"),
        text("specimens"),
    ]


def clean_cells(each: CleanSpeed, found: LadderAnswer) -> list[str]:
    """One type under `clean_head`."""
    return [
        each.nozzle,
        speed_words(each.typical, found),
        interval_words(each),
        speed_words(each.clean_95, found),
        speed_words(each.clean_95_low, found),
        str(each.n_mounts),
        str(each.n_specimens),
    ]


def mount_words(each: MountLadder, found: LadderAnswer) -> str:
    """Where the limit of one mount lies."""
    if math.isnan(each.high):
        return text("above {low}", low=with_unit(each.low, found.unit))
    if math.isnan(each.low):
        return text("below {high}", high=with_unit(each.high, found.unit))
    return text("{low} to {high}", low=number(each.low), high=with_unit(each.high, found.unit))


def table_note(found: LadderAnswer) -> str:
    """What the column of clean speeds on the first page means; empty where there is none."""
    if not found.types:
        return ""
    if found.rising == THICKNESS:
        return text(
            "“Half clean up to”: the thickness at which half of the mounts of a type stop cutting clean; in brackets "
            "the thickness at which 95 % of them still do, at least, with 95 % confidence."
        )
    return text(
        "“Half clean up to”: the speed at which half of the mounts of a type stop cutting clean; in brackets the speed "
        "at which 95 % of them still do, at least, with 95 % confidence."
    )


def cell_words(found: LadderAnswer, nozzle: str) -> str:
    """The cell of a type under “Half clean up to”."""
    own = [each for each in found.types if each.nozzle == nozzle]
    if not own:
        return "–"
    typical, safe = (
        number(speed) if math.isfinite(speed) else speed_words(speed, found)
        for speed in (own[0].typical, own[0].clean_95_low)
    )
    return text("{speed} ({safe})", speed=typical, safe=safe)


def cell_head(found: LadderAnswer) -> str:
    """Head of that column."""
    return text("Half clean up to, {unit}", unit=shown(found.unit))


def worthwhile_words(found: LadderAnswer) -> str:
    """The worthwhile difference as declared; empty where none was."""
    asked = found.worthwhile
    if asked is None:
        return ""
    return (
        percent(asked.value, 0 if round(100 * asked.value, 6).is_integer() else 1)
        if asked.kind == "ratio"
        else (with_unit(asked.value, found.unit))
    )


def _clean_means(f: Finding) -> str:
    grade = whole(f, "grade")
    if f.facts["stated"]:
        return text("Clean is a cut through the sheet whose dross grade is at most {grade}.", grade=grade)
    return text(
        "Clean is a cut through the sheet without dross (grade {grade}): the trial file states no grade.", grade=grade
    )


def _judged_by(f: Finding) -> str:
    n, names = whole(f, "n"), {"df": point(f"{figure(f, 'df'):.3g}")}
    if word(f, "unit") == "specimen":
        return plural(
            "Judged by {n} specimen ({df} degrees of freedom).",
            "Judged by {n} specimens ({df} degrees of freedom).",
            n,
            **names,
        )
    said = plural(
        "Judged by {n} mount ({df} degrees of freedom)", "Judged by {n} mounts ({df} degrees of freedom)", n, **names
    )
    if f.facts["pooled"]:
        return text("{said}: specimens show no spread beyond their mounts.", said=said)
    return text("{said}.", said=said)


def _mounts(f: Finding) -> str:
    return listed(several(f, "mounts"))


def _below(f: Finding) -> str:
    speed, first = amount(f, "speed"), amount(f, "first")
    return text(
        "The bound for 95 % of the mounts of {nozzle}, {speed}, lies below the first step that was cut ({first}): it "
        "is reckoned, not seen.",
        nozzle=word(f, "nozzle"),
        speed=with_unit(speed.value, speed.unit),
        first=with_unit(first.value, first.unit),
    )


def _consider(f: Finding) -> str:
    """What to do with a faster type; the safe speed only where it lies on the ladder."""
    safe, first = amount(f, "safe"), amount(f, "first")
    names = {"nozzle": person(f.about.nozzle), "price": _prices(f)}
    if not math.isfinite(safe.value) or safe.value < first.value:
        return text(
            "Consider {nozzle} for this job{price}; cut a few parts as you mean to run before changing over.",
            **names,
        )
    return text(
        "Consider {nozzle} for this job{price}: 95 % of its mounts cut clean up to at least {speed}; cut a few parts "
        "there before changing over.",
        **names,
        speed=with_unit(safe.value, safe.unit),
    )


def _prices(f: Finding) -> str:
    if f.facts["price"] is None or f.facts["today_price"] is None:
        return ""
    prices = {"price": fixed(figure(f, "price"), 2), "today": fixed(figure(f, "today_price"), 2)}
    return text(" ({price} against {today} {currency} a piece)", **prices, currency=word(f, "currency"))


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    LadderKind.CLEAN_MEANS: _clean_means,
    LadderKind.CLEAN_TO_THE_LAST: lambda f: text(
        "Clean to the last step in {mounts}: the limit there is higher; raise the ladder to find it.", mounts=_mounts(f)
    ),
    LadderKind.NOT_CLEAN_AT_ALL: lambda f: text(
        "Not clean at the first step in {mounts}: the limit there is lower; start lower to find it.", mounts=_mounts(f)
    ),
    LadderKind.SAYS_NOTHING: lambda f: text(
        "No step of {mounts} was cut and graded: it says nothing.", mounts=_mounts(f)
    ),
    LadderKind.ONE_STEP_WIDE: lambda f: text(
        "All mounts of a type stopped at one step: the spread between them is not seen, and the speed that 95 % of "
        "them keep rests on the width of the step; cut finer steps around it."
    ),
    LadderKind.BELOW_THE_LADDER: _below,
    LadderKind.JUDGED_BY: _judged_by,
    LadderKind.SPEEDS_RISE: lambda f: text(
        "Speeds rise in order inside a mount: warming and wear within a ladder look like an effect of speed."
    ),
    LadderKind.THICKNESS_RISES: lambda f: text(
        "Thickness rises in order inside a mount, each on a sheet of its own: wear within a ladder and what differs "
        "between the sheets look like an effect of thickness."
    ),
    LadderKind.NO_WORTHWHILE: lambda f: text(
        "No worthwhile difference was declared for the clean cut, so there are numbers and no word; declare one under "
        "[responses.clean_speed], or clean_thickness, before the next ladder."
    ),
    LadderKind.CONSIDER: _consider,
    LadderKind.NO_CHANCE_AT_ONE_STEP: lambda f: text(
        "How likely one edge is to meet the requirement at one step is not stated: each ladder stops at its first cut "
        "that is not clean, so its coupons tell where that is, not how often a step below fails."
    ),
    LadderKind.NOT_COMPARED: lambda f: text("The ladders cannot be compared: {why}", why=word(f, "text")),
}
