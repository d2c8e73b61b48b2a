"""Which candidates to look at first: a coarse sub-grid of the settings, and the neighbours of a plan."""

from __future__ import annotations

import numpy as np

MOST_SWAPS = 6
LEVELS = 60  # a model column with more levels than this is no setting


def _line_keys(level: np.ndarray, column: int) -> np.ndarray:
    """Return one whole number per candidate, equal for candidates that share all settings but one column."""
    key = np.zeros(len(level), dtype=np.int64)
    for j in range(level.shape[1]):
        if j != column:
            key = key * (level[:, j].max() + 1) + level[:, j]
            if key.max() > 2**31:  # renumber before the products grow out of range
                key = np.unique(key, return_inverse=True)[1]
    return key


def _line_ends(level: np.ndarray, column: int) -> np.ndarray:
    """Mark the candidates at the lowest or highest allowed level of their line along a column (limits' corners)."""
    key = _line_keys(level, column)
    order = np.lexsort((level[:, column], key))
    change = np.diff(key[order]) != 0
    marked = np.zeros(len(level), dtype=bool)
    marked[order[np.r_[True, change]]] = True
    marked[order[np.r_[change, True]]] = True
    return marked


def coarse(rows: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Mark (N,) the candidates at the low, middle or high level of every setting, or at an end of their line.

    `rows` (N, k) is the model matrix, `level` (N, c) holds the level numbers 0, 1, 2, ... of each setting. A column
    keeps all its levels where three of them lower the rank of the model (text factors, cubic terms).
    """
    keep = np.ones(len(level), dtype=bool)
    full = np.linalg.matrix_rank(rows.T @ rows, hermitian=True)
    for j in range(level.shape[1]):
        top = level[:, j].max()
        if top < 3:
            continue
        three = np.isin(level[:, j], (0, top // 2, (top + 1) // 2, top))
        part = rows[three]
        if np.linalg.matrix_rank(part.T @ part, hermitian=True) == full:
            keep &= three | _line_ends(level, j)
    return keep


def coarse_columns(rows: np.ndarray) -> np.ndarray | None:
    """Mark (N,) the candidates at low, middle or high level of every model column with few levels.

    Stands in for `coarse` where no coordinates are given. None if that lowers the rank or leaves out nothing.
    """
    keep = np.ones(len(rows), dtype=bool)
    for column in rows.T:
        values = np.unique(column[keep])
        if 3 < values.size <= LEVELS:
            near_zero = values[np.abs(values).argmin()]
            keep &= np.isin(column, (values[0], near_zero, values[-1], values[values.size // 2]))
    if keep.all() or not keep.any():
        return None
    part = rows[keep]
    lost = np.linalg.matrix_rank(part.T @ part, hermitian=True) < np.linalg.matrix_rank(rows.T @ rows, hermitian=True)
    return None if lost else keep


class Neighbours:
    """The candidates that share all settings but one with a plan's rows, for coordinate exchange."""

    def __init__(self, level: np.ndarray) -> None:
        """Index the candidates line by line."""
        self.keys = [_line_keys(level, j) for j in range(level.shape[1])]

    def __call__(self, chosen: np.ndarray) -> np.ndarray:
        """Mark (N,) the neighbours of the chosen candidates, themselves included."""
        near = np.zeros(self.keys[0].size, dtype=bool)
        for key in self.keys:
            near |= np.isin(key, key[chosen])
        return near


class Swaps:
    """Exchanges of one setting between two runs, as a shake that keeps what each setting has in total."""

    def __init__(self, level: np.ndarray, groups: list[tuple[np.ndarray, np.ndarray]]) -> None:
        """Index the settings of each pair of runs."""
        self.level = level
        self.place = {row.tobytes(): i for i, row in enumerate(level)}
        self.allowed: dict[int, np.ndarray] = {}
        for index, members in groups:
            marked = np.zeros(len(level), dtype=bool)
            marked[index] = True
            self.allowed |= dict.fromkeys(members.tolist(), marked)

    def __call__(self, chosen: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Return the plan after up to `MOST_SWAPS` exchanges; one that leads off the allowed settings is skipped."""
        after = chosen.copy()
        if len(chosen) < 2:
            return after
        for _ in range(rng.integers(1, MOST_SWAPS + 1)):
            one, two = rng.permutation(len(chosen))[:2].tolist()
            column = rng.integers(self.level.shape[1])
            first, second = self.level[after[one]].copy(), self.level[after[two]].copy()
            first[column], second[column] = second[column], first[column]
            to_one, to_two = self.place.get(first.tobytes()), self.place.get(second.tobytes())
            if to_one is None or to_two is None or not (self.allowed[one][to_one] and self.allowed[two][to_two]):
                continue
            after[one], after[two] = to_one, to_two
        return after
