"""What more specimens would show of a chance, if the estimates are the truth."""

from __future__ import annotations

from dataclasses import dataclass

from trials.infer.chance.next_edge import (
    MOST_SPECIMENS,
    Chance,
    NextEdge,
    Rule,
    chance,
    grown,
    specimens_to_show,
)

MULTIPLES = (2, 4)  # how many times the specimens of today; further out the estimate itself is the weaker guess


@dataclass(frozen=True)
class Reach:
    """Why a bound lies below a chance that people ask about, and what more specimens would do.

    Attributes:
        target: the chance asked about.
        specimens: per type, in the trial.
        needed: specimens per type whose bound would reach the target; None where the estimate does not reach it.
        more_than: as many specimens would not do, though the estimate lies above the target.
        shown: (specimens per type, what the chance would be at least) where the estimate does not reach the target.
    """

    target: float
    specimens: int
    needed: int | None
    more_than: int | None
    shown: tuple[tuple[int, float], ...]


def find_reach(
    edge: NextEdge, rule: Rule, found: Chance, target: float, specimens: int, types: int = 1, seed: int = 0
) -> Reach | None:
    """What would lift the lower bound of `found` towards `target`; None where it reaches it.

    The estimates are taken for the truth: specimens, coupons and readings grow together, sheets stay. Lost cuts are
    left aside.
    """
    if found.low >= target:
        return None
    if found.estimate <= target:
        shown = [(n, _low_with(edge, rule, specimens, n, types, found.confidence, seed)) for n in _more(specimens)]
        return Reach(target, specimens, None, None, tuple(shown))
    needed = specimens_to_show(edge, rule, target, specimens, types, found.confidence, seed)
    return Reach(target, specimens, needed, MOST_SPECIMENS if needed is None else None, ())


def _more(specimens: int) -> tuple[int, ...]:
    return tuple(times * specimens for times in MULTIPLES)


def _low_with(edge: NextEdge, rule: Rule, now: int, count: int, types: int, confidence: float, seed: int) -> float:
    return chance(grown(edge, now, count, types), rule, confidence, draws=4_096, seed=seed).low
