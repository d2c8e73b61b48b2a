"""What was found, as values: a kind, what it is about, its facts, and whether it could change the answer.

Findings are made on every floor and turned into sentences only by `trials.words`. No code reads a sentence back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Weight(StrEnum):
    """How much a finding weighs: it could change the answer, deserves a look, points somewhere without being sure, or
    nothing stands out."""

    COULD_CHANGE = "could change the answer"
    LOOK_AT = "look at"
    NOT_SURE = "not sure"
    NOTHING_FOUND = "nothing found"
    PLAIN = "for information"


class PlaceKind(StrEnum):
    """At which settings nozzle types are compared: today's, averaged over several, or others that were stated."""

    TODAY = "today"
    AVERAGE = "average"
    STATED = "stated"


@dataclass(frozen=True)
class Place:
    """The settings of a mean or a comparison: one set of them, or several that are averaged over; units by factor."""

    kind: PlaceKind
    settings: tuple[Mapping[str, float | str], ...]
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Amount:
    """A number with the unit it is kept in (`um`, `mm`, `bar`, `%`; empty for a bare number)."""

    value: float
    unit: str = ""


Fact = bool | int | float | str | None | Amount | Place | tuple["Fact", ...]


@dataclass(frozen=True)
class About:
    """What a finding is about; empty parts do not apply."""

    response: str = ""
    nozzle: str = ""
    against: str = ""
    place: Place | None = None
    source: str = ""
    mount: str = ""
    coupons: tuple[str, ...] = ()
    nozzles: tuple[str, ...] = ()


@dataclass(frozen=True)
class Finding:
    """One thing that was found.

    kind: a member of one floor's own enumeration of kinds; facts: what the sentence needs, by name.
    """

    kind: StrEnum
    about: About = About()
    facts: Mapping[str, Fact] = field(default_factory=dict)
    weight: Weight = Weight.PLAIN


def each_once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings in their order, repeated ones left out."""
    kept: list[Finding] = []
    for finding in findings:
        if finding not in kept:
            kept.append(finding)
    return tuple(kept)
