"""The checks of a response in groups: what each group is called, and which checks stand in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trials.decide.kinds import StudyKind
from trials.findings import Finding, Weight
from trials.words.language import text


@dataclass(frozen=True)
class CheckGroup:
    """Checks that weigh alike; calm: nothing was found in them."""

    title: str
    checks: tuple[Finding, ...]
    calm: bool = False


def check_groups(checks: Iterable[Finding]) -> list[CheckGroup]:
    """Groups that hold a check, the gravest first."""
    found = tuple(checks)
    again = tuple(c for c in found if c.kind == StudyKind.SHUFFLED_SPECIMENS)
    others = [c for c in found if c not in again]

    def of(weight: Weight) -> tuple[Finding, ...]:
        return tuple(c for c in others if c.weight == weight)

    groups = [
        CheckGroup(text("Could change the answer"), of(Weight.COULD_CHANGE)),
        CheckGroup(text("Look at"), of(Weight.LOOK_AT)),
        CheckGroup(text("Likely, but not sure (of twenty checks one looks so by chance)"), of(Weight.NOT_SURE)),
        CheckGroup(text("The nozzle test once more, without assuming a distribution"), again),
        CheckGroup(text("Without objection"), of(Weight.NOTHING_FOUND), calm=True),
        CheckGroup(text("Could not be checked"), of(Weight.PLAIN)),
    ]
    return [group for group in groups if group.checks]
