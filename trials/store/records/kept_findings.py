"""Findings as JSON text and back: what a plan had to say is kept as it was found, and said again when it is printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from enum import StrEnum
from typing import Any

from trials.findings import About, Amount, Fact, Finding, Place, PlaceKind, Weight
from trials.words.findings import ROOMS, sentences_of


def as_plain(finding: Finding) -> dict[str, Any]:
    """A finding as plain JSON values; the kind with the name of its enumeration."""
    about = {name: _plain(part) for name, part in vars(finding.about).items() if part not in ("", (), None)}
    return {
        "of": type(finding.kind).__name__,
        "kind": finding.kind.value,
        "about": about,
        "facts": {name: _plain(fact) for name, fact in finding.facts.items()},
        "weight": finding.weight.value,
    }


def _plain(fact: Any) -> Any:
    if isinstance(fact, tuple):
        return [_plain(part) for part in fact]
    if isinstance(fact, Amount):
        return asdict(fact)
    if isinstance(fact, Place):
        return {"place": fact.kind.value, "settings": [dict(each) for each in fact.settings], "units": dict(fact.units)}
    return fact.value if isinstance(fact, StrEnum) else fact


def revived(data: Mapping[str, Any]) -> Finding | None:
    """The finding that `as_plain` wrote; None where this version knows no such kind."""
    known = sentences_of(data["of"]) if data["of"] in ROOMS else {}
    kind = next((one for one in known if one.value == data["kind"]), None)
    if kind is None:
        return None
    about = About(**{name: _fact(part) for name, part in data["about"].items()})
    return Finding(kind, about, {name: _fact(fact) for name, fact in data["facts"].items()}, Weight(data["weight"]))


def _fact(data: Any) -> Any:
    if isinstance(data, list):
        return tuple(_fact(part) for part in data)
    if isinstance(data, dict) and "place" in data:
        return Place(PlaceKind(data["place"]), tuple(data["settings"]), data.get("units", {}))
    if isinstance(data, dict):
        return Amount(data["value"], data["unit"])
    kept: Fact = data
    return kept
