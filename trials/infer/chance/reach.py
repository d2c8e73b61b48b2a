"""What more specimens would show of a chance, if the estimates are the truth."""

from __future__ import annotations

from dataclasses import dataclass

from trials.infer.chance.next_edge import (
    MOST_SPECIMENS,
    Chance,
    NextEdge,
    Rule,
    low_with,
    specimens_to_show,
)

MULTIPLES = (2, 4)  # how many times the specimens of today; further out the estimate itself is the weaker guess


@dataclass(frozen=True)
class Reach:
    """Why a bound lies below a chance that people ask about, and what more specimens would do.

    Attributes:
        target: the chance asked about.
        specimens: of the type, in the trial.
        needed: specimens of the type whose bound would reach the target; None where the estimate does not reach it.
        more_than: as many specimens would not do, though the estimate lies above the target.
        shown: (specimens of the type, what the chance would be at least) where the estimate does not reach the target.
    """

    target: float
    specimens: int
    needed: int | None
    more_than: int | None
    shown: tuple[tuple[int, float], ...]


def find_reach(
    edge: NextEdge, rule: Rule, found: Chance, target: float, specimens: int, types: float = 1, seed: int = 0
) -> Reach | None:
    """What would lift the lower bound of `found` towards `target`; None where it reaches it.

    The estimates are taken for the truth: specimens of all types, coupons, readings, cuts and lost cuts (those of
    `found`) grow together, sheets stay. specimens: of the type; types: all specimens as a multiple of them.
    """
    if found.low >= target:
        return None
    known = found.confidence, seed, found.cuts, found.lost
    if found.estimate <= target:
        shown = [(n, low_with(edge, rule, (specimens, n), types, *known)) for n in _more(specimens)]
        return Reach(target, specimens, None, None, tuple(shown))
    needed = specimens_to_show(edge, rule, target, specimens, types, *known)
    return Reach(target, specimens, needed, MOST_SPECIMENS if needed is None else None, ())


def _more(specimens: int) -> tuple[int, ...]:
    return tuple(times * specimens for times in MULTIPLES)
