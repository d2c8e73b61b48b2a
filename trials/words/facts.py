"""The facts of a finding, each as the type that its sentence needs; another type is a fault of the program."""

from __future__ import annotations

from trials.findings import Amount, Fact, Finding, Place


def figure(finding: Finding, name: str) -> float:
    """A number."""
    return as_figure(finding.facts[name])


def as_figure(value: Fact) -> float:
    """The same of a fact at hand."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TypeError(f"{value!r} is no number")
    return float(value)


def whole(finding: Finding, name: str) -> int:
    """A count."""
    return round(figure(finding, name))


def word(finding: Finding, name: str) -> str:
    """A name or another text that is passed on as it is; empty where there is none."""
    value = finding.facts.get(name)
    return "" if value is None else str(value)


def amount(finding: Finding, name: str) -> Amount:
    """A number with its unit."""
    return as_amount(finding.facts[name])


def as_amount(value: Fact) -> Amount:
    """The same of a fact at hand."""
    if not isinstance(value, Amount):
        raise TypeError(f"{value!r} is no amount")
    return value


def several(finding: Finding, name: str) -> tuple[Fact, ...]:
    """A row of facts; empty where there are none."""
    return as_row(finding.facts.get(name, ()))


def as_row(value: Fact) -> tuple[Fact, ...]:
    """The same of a fact at hand."""
    if not isinstance(value, tuple):
        raise TypeError(f"{value!r} is no row of facts")
    return value


def place(finding: Finding) -> Place:
    """Where a finding holds."""
    if finding.about.place is None:
        raise TypeError(f"{finding.kind} names no place")
    return finding.about.place
