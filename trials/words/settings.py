"""Settings, places and sources of spread in words."""

from __future__ import annotations

from collections.abc import Mapping

from trials.findings import Place, PlaceKind
from trials.words.language import plural, text, word
from trials.words.numbers import plain


def setting_words(settings: Mapping[str, float | str], units: Mapping[str, str]) -> str:
    """One set of settings: `pressure 0.7 bar, standoff 1 mm`; units by factor."""
    parts = [f"{factor_name(name)} {plain(level, units.get(name, ''))}" for name, level in settings.items()]
    return ", ".join(parts) or text("the settings that were cut")


def place_words(place: Place) -> str:
    """Where something holds: its settings, or what is averaged over."""
    if place.kind == PlaceKind.AVERAGE:
        return plural(
            "average over the {n} setting that every type was allowed",
            "average over the {n} settings that every type was allowed",
            len(place.settings),
        )
    return setting_words(place.settings[0], place.units)


def at_place(place: Place, start: bool = False) -> str:
    """Where something holds, inside a sentence or at its start: `at pressure 0.7 bar`, `on average over 9 settings`."""
    if place.kind == PlaceKind.AVERAGE:
        return text("On {place}" if start else "on {place}", place=place_words(place))
    return text("At {place}" if start else "at {place}", place=place_words(place))


def factor_name(name: str) -> str:
    """A factor as printed; its name is the user's own, put into the language where it is a usual one."""
    return word(name.replace("_", " "))


def term_words(parts: tuple[str, ...]) -> str:
    """A term of the model as people read it: `nozzle × pressure squared`."""
    named = []
    for part in dict.fromkeys(parts):
        name = text("nozzle") if part == "nozzle" else factor_name(part)
        named.append(text("{factor} squared", factor=name) if parts.count(part) > 1 else name)
    return " × ".join(named)


def source_words(source: str, block: str = "sheet") -> str:
    """A source of spread and what differs there; block: how a sheet is called."""
    if source == "sheet" and block == "block":
        return text("from one block to the next")
    known = {
        "sheet": text("from one sheet to the next"),
        "specimen": text("from one nozzle of a type to the next"),
        "mount": text("from one fitting of a nozzle to the next"),
        "coupon": text("from coupon to coupon at one setting"),
        "reading": text("from reading to reading on one coupon"),
    }
    return known.get(source, source)


def layer_words(source: str, n: int, block: str = "sheet") -> str:
    """So many of a layer of the trial: `12 specimens`, `one sheet`."""
    name = block if source == "sheet" else source
    known = {
        "sheet": ("one sheet", "{n} sheets"),
        "block": ("one block", "{n} blocks"),
        "specimen": ("one specimen", "{n} specimens"),
        "mount": ("one mount", "{n} mounts"),
        "coupon": ("one coupon", "{n} coupons"),
        "reading": ("one reading", "{n} readings"),
    }
    return plural(*known[name], n)


def between(source: str, block: str = "sheet") -> str:
    """Between which things a spread lies: `between specimens`; block: how a sheet is called."""
    name = block if source == "sheet" else source
    known = {
        "sheet": text("between sheets"),
        "block": text("between blocks"),
        "specimen": text("between specimens"),
        "mount": text("between mounts"),
        "coupon": text("between coupons"),
        "reading": text("between readings"),
    }
    return known.get(name, name)


def layer_name(source: str, block: str = "sheet", several: bool = False) -> str:
    """The name of a layer of the trial, one of it or several."""
    name = block if source == "sheet" else source
    known = {
        "sheet": ("sheet", "sheets"),
        "block": ("block", "blocks"),
        "specimen": ("specimen", "specimens"),
        "mount": ("mount", "mounts"),
        "coupon": ("coupon", "coupons"),
        "reading": ("reading", "readings"),
    }
    return text(known[name][several]) if name in known else name
