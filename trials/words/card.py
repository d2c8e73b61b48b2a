"""The card for the machine in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.card import Card, CardKind, LookAlike, Safe, Setting, Span, Watch
from trials.words.chances import at_least, likely
from trials.words.chart import said_gains
from trials.words.facts import amount, figure, whole, word
from trials.words.language import text
from trials.words.lives import unit_words
from trials.words.numbers import bare, number, percent, plain, with_unit
from trials.words.page_frame import day_words
from trials.words.settings import factor_name

if TYPE_CHECKING:
    from trials.findings import Finding
    from trials.nozzles import Nozzle


def title(found: Card) -> str:
    """Title of the card: what to fit."""
    return text("Fit: {nozzle}", nozzle=found.nozzle.type)


def proved(found: Card) -> str:
    """What was shown of the type, and where that is written."""
    where = text("verdict {look} of {day}", look=found.look, day=day_words(found.day))
    if found.nozzle.type == found.today:
        return text("In use; no other type was shown to be better ({where}).", where=where)
    gains = ", ".join(said_gains(found.said)) or text("better")
    return text("Against {today}: {gains} ({where}).", today=found.today, gains=gains, where=where)


def setting_row(one: Setting, safe: Safe | None) -> list[str]:
    """A setting, its value, and how far it may go."""
    span = next((span for span in safe.spans if span.name == one.name), None) if safe else None
    return [factor_name(one.name), plain(one.value, one.unit), _span(span) if span else _no_span(safe)]


def _no_span(safe: Safe | None) -> str:
    return text("only this was compared") if safe is None else text("not shown")


def _span(span: Span) -> str:
    if span.low == span.high:
        return text("as it stands")
    return text("{low} to {high}", low=bare(round(span.low, 4), span.unit), high=plain(round(span.high, 4), span.unit))


def settings_head() -> list[str]:
    """Heads of the table of settings."""
    return [text("Setting"), text("Set to"), text("Shown to be safe")]


def safe_note(found: Card) -> str:
    """What 'shown to be safe' means here; empty where nothing was shown."""
    if found.safe is None or not found.safe.spans:
        return ""
    return text(
        "Safe: the next edge meets the whole requirement with a chance of {wanted} or more, by the lower bound, while "
        "one setting moves and the others stay as on this card. Two at once were not looked at here.",
        wanted=percent(found.safe.wanted),
    )


def differences(nozzle: Nozzle, one: LookAlike) -> str:
    """How to tell another type of the trial from this one."""
    if not one.differs:
        return text("{other}: no stated detail differs; go by the mark of the piece.", other=one.nozzle.type)
    parts = "; ".join(_difference(name, nozzle, one.nozzle) for name in one.differs)
    if one.same_orifice:
        return text(
            "{other}: the same orifice, so the number on it does not tell; {parts}.", other=one.nozzle.type, parts=parts
        )
    return text("{other}: {parts}.", other=one.nozzle.type, parts=parts)


def _difference(name: str, nozzle: Nozzle, other: Nozzle) -> str:
    """One detail: this one's, then the other's."""
    if name == "bore":
        return text(
            "look into the bore: {one} here, {two} there", one=_bore(nozzle.bore or ""), two=_bore(other.bore or "")
        )
    if name == "orifice_mm":
        one, two = plain(nozzle.orifice_mm or 0.0, "mm"), plain(other.orifice_mm or 0.0, "mm")
        return text("orifice {one} here, {two} there", one=one, two=two)
    here = {
        "wall": nozzle.wall == "double",
        "side_jets": nozzle.side_jets,
        "plated": nozzle.plated,
        "point": nozzle.point,
    }[name]
    detail = {
        "wall": text("double wall (a gap round the bore)"),
        "side_jets": text("side jets (small holes beside the bore)"),
        "plated": text("plating (another colour)"),
        "point": text("pointed body"),
    }[name]
    return text("{detail} here, not there", detail=detail) if here else text("{detail} there, not here", detail=detail)


def _bore(bore: str) -> str:
    return {
        "cylindrical": text("cylindrical"),
        "conical": text("conical"),
        "diverging": text("diverging"),
    }.get(bore, bore)


def watch_words(one: Watch) -> str:
    """What to look out for, and what to do then."""
    return {
        Watch.CENTRE: text("After each change: centre the nozzle, calibrate the height, cut a trial piece."),
        Watch.JETS: text("Side jets plug and the cut then fails fast: look through each hole at each fitting."),
        Watch.DOUBLE_WALL: text("Gap of the double wall: look that it is open all round and free of beads."),
        Watch.POINT: text(
            "Pointed body: the height sensor sees less of it; calibrate at each change and watch the standoff at edges "
            "and holes."
        ),
        Watch.PLATED: text("Plating: wipe, never scrape or brush with wire; where it has come off, change the nozzle."),
        Watch.SPATTER: text("Spatter on the face: take it off cold and look whether the orifice is still round."),
        Watch.TIP_UP: text(
            "Tip-up or contact with the head: stop; check the nozzle, centre and calibrate before going on."
        ),
        Watch.EDGE: text("Dross, drag lines or one side worse than the other: check centring first, then the nozzle."),
    }[one]


def maker_first() -> str:
    """What stands above all else."""
    return text(
        "The machine maker's instructions and local rules come first. Vent the gas and lock the laser before a nozzle "
        "is changed. This card is advice to a qualified person."
    )


def labels() -> dict[str, str]:
    """Headings of the card by the name that the page knows them by."""
    return {
        "job": text("Job"),
        "tell": text("Not to be taken for"),
        "settings": text("Settings"),
        "held": text("Held for the whole trial"),
        "watch": text("Watch (common practice)"),
        "change": text("When to change it"),
        "grounds": text("What was not shown"),
        "pieces": text("Pieces tried"),
    }


def life_line(found: Card) -> str:
    """When to change it."""
    kinds = (CardKind.NO_LIVES, CardKind.LIFE_STATED, CardKind.LIFE_NONE_FAILED, CardKind.LIFE_SEEN)
    return next(SENTENCES[one.kind](one) for one in found.grounds if one.kind in kinds)


def ground_lines(found: Card) -> list[str]:
    """What the card cannot promise."""
    kinds = (CardKind.ONLY_TODAY, CardKind.NOT_SHOWN_SAFE, CardKind.EXPLORATORY)
    return [SENTENCES[one.kind](one) for one in found.grounds if one.kind in kinds]


def _life(finding: Finding, name: str) -> str:
    known = amount(finding, name)
    return with_unit(known.value, unit_words(known.unit), 2)


def _not_shown(finding: Finding) -> str:
    low = finding.facts["low"]
    wanted = percent(figure(finding, "wanted"))
    if low is None:
        return text(
            "No setting beside these was shown to meet the requirement with a chance of {wanted}.", wanted=wanted
        )
    return text(
        "At these settings a chance of {wanted} is not shown: it is at least {low}. Check the first parts.",
        wanted=wanted,
        low=at_least(figure(finding, "low")),
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    CardKind.ONLY_TODAY: lambda f: text("Only these settings were compared; keep to them."),
    CardKind.NOT_SHOWN_SAFE: _not_shown,
    CardKind.EXPLORATORY: lambda f: text(
        "The verdict was an undeclared look at the data: confirm before relying on it."
    ),
    CardKind.NO_LIVES: lambda f: text(
        "No lives of {nozzle} are on record: change it when centring or the edge says so, and write down its pierces.",
        nozzle=f.about.nozzle,
    ),
    CardKind.LIFE_STATED: lambda f: text(
        "Typical life {life} ({source}); how much pieces differ is not known, so look at it well before.",
        life=_life(f, "life"),
        source=word(f, "source"),
    ),
    CardKind.LIFE_NONE_FAILED: lambda f: text(
        "None of {n} pieces failed in the life trial: look at it closely from {at_least} on; "
        "how long it lasts is not known.",
        n=whole(f, "n"),
        at_least=_life(f, "at_least"),
    ),
    CardKind.LIFE_SEEN: lambda f: text(
        "Look at it closely from {at_least} on, change it at {tenth}: nine in ten last so long ({n} pieces tried).",
        at_least=_life(f, "at_least"),
        tenth=_life(f, "tenth"),
        n=whole(f, "n"),
    ),
}


def chance_line(safe: Safe | None) -> str:
    """Chance at the card's settings; empty where none was reckoned."""
    if safe is None or safe.chance is None or safe.low is None:
        return ""
    return text(
        "Chance that the next edge meets the whole requirement here: {chance}, at least {low} (95 % confidence).",
        chance=likely(safe.chance),
        low=at_least(safe.low),
    )


def pieces(nozzle: Nozzle) -> str:
    """Marks of the pieces that were tried, and the lots they came from."""
    marks = ", ".join(nozzle.specimens)
    lots = ", ".join(dict.fromkeys(nozzle.lots))
    return text("{marks} (lot {lots})", marks=marks, lots=lots) if lots else marks


def area_line(nozzle: Nozzle) -> str:
    """Flow area where it is stated."""
    return text("flow area {area} mm²", area=number(nozzle.flow_area_mm2)) if nozzle.flow_area_mm2 else ""
