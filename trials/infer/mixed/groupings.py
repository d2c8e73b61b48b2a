"""Random groupings: labels to codes, who nests in whom, and the plain mistakes that make a grouping meaningless."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape

RESIDUAL = "reading"
Labels = Sequence[Any] | NDArray[Any]


@dataclass(frozen=True)
class Grouping:
    """One random grouping of n rows: its name, the code of each row (n,) in 0..levels-1, and the number of levels."""

    name: str
    codes: np.ndarray
    levels: int

    def nests_in(self, other: Grouping) -> bool:
        """Whether every level of this grouping lies inside one level of the other."""
        if self.levels < other.levels:
            return False
        first = np.empty(self.levels, dtype=np.intp)
        first[self.codes] = other.codes
        return bool(np.array_equal(first[self.codes], other.codes))


def finest_codes(groupings: Sequence[Grouping]) -> np.ndarray | None:
    """Codes (n,) of the grouping with most levels, None without groupings."""
    return max(groupings, key=lambda g: g.levels).codes if groupings else None


def numbers(values: object, what: str) -> np.ndarray:
    """Values as an array of floats.

    Raises
    ------
    NotFinite
        If a value is text.
    """
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError) as problem:
        raise NotFinite(f"{what} holds something that is not a number ({problem}); give numbers only") from problem


def read_groupings(groups: Mapping[str, Labels], n: int) -> list[Grouping]:
    """Code the labels of each grouping and refuse those that cannot carry a variance.

    Args:
        groups: name -> labels (n,); a label means the same thing wherever it stands.
        n: number of readings.

    Raises
    ------
    WrongShape
        If a grouping is not one label per reading.
    WrongArgument
        If a grouping uses the reserved name "reading".
    NotFinite
        If a label is missing.
    NotIdentifiable
        If a grouping has one level only or one row per level, or two of them split the rows alike.
    """
    found: list[Grouping] = []
    for name, labels in groups.items():
        grouping = _coded(str(name), labels, n)
        for earlier in found:
            if earlier.levels == grouping.levels and grouping.nests_in(earlier):
                raise NotIdentifiable(
                    f"grouping {grouping.name!r} splits the readings exactly as {earlier.name!r} does, "
                    "so their variances cannot be told apart; leave one of them out"
                )
        found.append(grouping)
    return found


def _coded(name: str, labels: Labels, n: int) -> Grouping:
    if name == RESIDUAL:
        raise WrongArgument(f"{RESIDUAL!r} names the spread between readings itself; give the grouping another name")
    values = np.asarray(labels)
    if values.shape != (n,):
        raise WrongShape(f"grouping {name!r} has shape {values.shape}, expected ({n},); give one label per reading")
    codes, uniques = pd.factorize(values)
    if (codes < 0).any():
        row = int(np.argmax(codes < 0)) + 1
        raise NotFinite(f"grouping {name!r} has no label at row {row}; fill it in or leave the row out")
    levels = len(uniques)
    if levels == 1:
        raise NotIdentifiable(f"grouping {name!r} has one level only, so it shows no spread; leave it out")
    if levels == n:
        raise NotIdentifiable(
            f"grouping {name!r} has one row per level, so it is the spread between readings itself; leave it out"
        )
    return Grouping(name, codes.astype(np.intp), levels)
