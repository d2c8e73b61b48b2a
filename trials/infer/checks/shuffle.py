"""Shuffle test: how often would another allotment of the types to the same units look as different?

Units (whole specimens) keep their values and blocks (sheets); the type labels move over the slots within each block,
as the plan randomised them. Nothing is assumed of the values (Fisher 1935; Edgington and Onghena 2007,
Randomization Tests).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import factorial, prod

import numpy as np

from trials.errors import NotFinite, NotIdentifiable, WrongShape

MOST_LISTED = 50_000
DRAWS = 20_000  # up to 200 units
FEWEST_DRAWS = 4_000
LABELS = 4_000_000  # moved in all, where that still leaves the fewest draws
CELLS = 4_000_000  # of so many arrangements at once sums are made: 32 MB
LEVELS = (0.05, 0.01, 0.001)
SAME = 1e-9

Measure = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Shuffle:
    """Result of `shuffle_test`.

    Attributes:
        statistic: of the arrangement that was cut.
        p: share of arrangements at least as extreme, the one cut included.
        smallest_p: the smallest p that any outcome with these values could give.
        arrangements: number of distinct arrangements.
        listed: True where all were listed, False where draws stand for them.
        out_of_reach: levels out of 0.05, 0.01, 0.001 that no outcome could reach.
    """

    statistic: float
    p: float
    smallest_p: float
    arrangements: int
    listed: bool
    out_of_reach: tuple[float, ...]


def shuffle_test(
    values: np.ndarray,
    types: np.ndarray,
    blocks: np.ndarray | None = None,
    statistic: Callable[[np.ndarray, np.ndarray], float] | None = None,
    seed: int = 0,
) -> Shuffle:
    """Shuffle type labels over units within blocks.

    Args:
        values: (m,) one number per unit, say the specimen's mean at equal settings.
        types: (m,) type of each unit.
        blocks: (m,) sheet of each unit; None for one block.
        statistic: function of (values, types) that grows with the difference; None for the F statistic of types
            adjusted for blocks.
        seed: of the draws, used above 50,000 arrangements.

    Raises
    ------
    NotFinite
        If a value is NaN or infinite.
    WrongShape
        If lengths differ.
    NotIdentifiable
        If there is one type only, or no block holds two types.
    """
    values = np.asarray(values, dtype=float)
    types = np.asarray(types).astype(str)
    blocks = (
        np.zeros(len(values), int)
        if blocks is None
        else np.unique(np.asarray(blocks).astype(str), return_inverse=True)[1]
    )
    _check(values, types, blocks)
    names, codes = np.unique(types, return_inverse=True)
    places = _places(blocks)
    count = prod(_count(codes[at]) for at in places)
    if count == 1:
        raise NotIdentifiable("No sheet holds two types, so nothing can be shuffled; judge by the model instead.")
    listed = count <= MOST_LISTED
    every = _list_all(codes, places) if listed else _draw(tuple(codes.tolist()), tuple(blocks.tolist()), seed)
    measure = (
        _f_statistic(values, codes, blocks, len(names)) if statistic is None else _by_hand(values, names, statistic)
    )
    observed, found = measure(codes[None, :])[0], measure(every)
    slack = SAME * max(1.0, float(np.max(np.abs(found[np.isfinite(found)]), initial=0.0)))
    extreme, best = np.sum(found >= observed - slack), np.sum(found >= max(found.max(), observed) - slack)
    if listed:
        p, smallest = extreme / count, best / count
    else:
        p, smallest = (extreme + 1) / (len(every) + 1), 1 / (len(every) + 1)
    out = tuple(level for level in LEVELS if smallest > level * (1 + SAME))
    return Shuffle(float(observed), float(p), float(smallest), count, listed, out)


def _places(blocks: np.ndarray) -> list[np.ndarray]:
    """Units of each block."""
    return [np.flatnonzero(blocks == b) for b in range(blocks.max() + 1)]


def _count(codes: np.ndarray) -> int:
    """Distinct arrangements of one block."""
    return factorial(len(codes)) // prod(factorial(int(c)) for c in np.bincount(codes))


def _list_all(codes: np.ndarray, places: list[np.ndarray]) -> np.ndarray:
    """Every distinct arrangement (count, m)."""
    out = codes[None, :].copy()
    for at in places:
        own = _arrangements(tuple(int(c) for c in np.bincount(codes[at])))
        out = np.repeat(out, len(own), axis=0)
        out[:, at] = np.tile(own, (len(out) // len(own), 1))
    return out


@lru_cache(maxsize=4096)
def _arrangements(counts: tuple[int, ...]) -> np.ndarray:
    """Distinct arrangements of one block that holds kind t counts[t] times, by placing each kind first in turn."""
    if not any(counts):
        return np.zeros((1, 0), int)
    parts = []
    for kind, left in enumerate(counts):
        if left:
            rest = _arrangements(counts[:kind] + (left - 1,) + counts[kind + 1 :])
            parts.append(np.column_stack([np.full(len(rest), kind), rest]))
    return np.vstack(parts)


@lru_cache(maxsize=2)
def _draw(codes: tuple[int, ...], blocks: tuple[int, ...], seed: int) -> np.ndarray:
    """Random arrangements (d, m), read-only; the same for every response of a trial.

    d: fewer for many units, so that time grows no faster than they do.
    """
    out = np.tile(np.array(codes, np.int16), (min(DRAWS, max(FEWEST_DRAWS, LABELS // len(codes))), 1))
    rng = np.random.default_rng(seed)
    for at in _places(np.array(blocks)):
        out[:, at] = rng.permuted(out[:, at], axis=1)
    out.flags.writeable = False
    return out


def _f_statistic(values: np.ndarray, codes: np.ndarray, blocks: np.ndarray, kinds: int) -> Measure:
    """F of types adjusted for blocks; the design matrix of types within blocks is the same for every arrangement."""
    sizes = np.bincount(blocks)
    rest = values - (np.bincount(blocks, values) / sizes)[blocks]
    table = np.zeros((len(sizes), kinds))
    np.add.at(table, (blocks, codes), 1.0)
    inverse = np.linalg.pinv(np.diag(table.sum(axis=0)) - table.T @ (table / sizes[:, None]), hermitian=True)
    total, df = float(rest @ rest), int(np.linalg.matrix_rank(inverse, hermitian=True))
    den_df = len(values) - len(sizes) - df

    def measure(every: np.ndarray) -> np.ndarray:
        few = max(1, CELLS // len(rest))  # arrangements at a time
        pieces = [every[at : at + few] for at in range(0, len(every), few)]
        sums = np.stack([np.concatenate([(piece == t) @ rest for piece in pieces]) for t in range(kinds)], axis=1)
        between: np.ndarray = np.einsum("at,tu,au->a", sums, inverse, sums)
        if den_df < 1 or total <= 0:
            return between
        left = total - between
        sure = left > SAME * total
        # Beyond a share of 1 - 1e-9 the F value is cut off, so that rounding cannot order perfect fits.
        result: np.ndarray = (between / df) / (np.where(sure, left, SAME * total) / den_df)
        return result

    return measure


def _by_hand(values: np.ndarray, names: np.ndarray, statistic: Callable[[np.ndarray, np.ndarray], float]) -> Measure:
    def measure(every: np.ndarray) -> np.ndarray:
        found = np.array([float(statistic(values, names[row])) for row in every])
        if not np.all(np.isfinite(found)):
            raise NotFinite("The statistic is NaN or infinite for some arrangement; use one that is always a number.")
        return found

    return measure


def _check(values: np.ndarray, types: np.ndarray, blocks: np.ndarray) -> None:
    if values.ndim != 1 or types.shape != values.shape or blocks.shape != values.shape or not len(values):
        raise WrongShape("Values, types and blocks must have one row per unit; check their lengths.")
    if not np.all(np.isfinite(values)):
        raise NotFinite("A unit has no finite value; leave it out.")
    if len(set(types)) < 2:
        raise NotIdentifiable("There is one nozzle type only, so there is nothing to compare; add a second type.")
