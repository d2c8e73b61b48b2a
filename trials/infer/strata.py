"""Classical F tests of a balanced trial, each term against its own error stratum.

Groupings of equal sizes that cross in proportion split the readings into strata: one per grouping and per join of
groupings, each with a single variance (Nelder 1965; Bailey 1981 on association of partitions). Where every fixed term
keeps to one stratum, its F is the ratio of two mean squares of that stratum, exact under normal errors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer.mixed.groupings import RESIDUAL, Grouping, Labels, numbers, read_groupings

INSIDE = 1e-8  # part of a unit column outside a space that still counts as rounding
MEAN = "mean"


@dataclass(frozen=True)
class StrataTest:
    """F on df and den_df degrees of freedom with its p, and the stratum it rests on."""

    F: float
    df: int
    den_df: int
    p: float
    stratum: str


@dataclass(frozen=True)
class Stratum:
    """What is left of a stratum after the fixed terms: its name, df and mean square (squared units of the response)."""

    name: str
    df: int
    mean_square: float


@dataclass(frozen=True)
class StrataResult:
    """Tests by term, and the error strata that have degrees of freedom left, coarsest first."""

    tests: dict[str, StrataTest]
    strata: tuple[Stratum, ...]


def strata_tests(response: np.ndarray, terms: Mapping[str, np.ndarray], groups: Mapping[str, Labels]) -> StrataResult:
    """Test each fixed term in its own stratum.

    Args:
        response: (n,) readings on the model scale.
        terms: name -> columns (n, k_j) of any coding; a constant column is always part of the model and not among them.
        groups: name -> labels (n,) of the random groupings, as for fit_mixed.

    Raises
    ------
    WrongShape
        If arrays do not fit together.
    NotFinite
        If a value or label is missing or infinite.
    NotIdentifiable
        If the trial is not balanced in the sense above; the message says where.
    """
    y, blocks = _read(response, terms)
    partitions = _closed(read_groupings(groups, len(y)), len(y))
    y, blocks, partitions, inside = _one_row_each(y, blocks, partitions)
    names = list(blocks)
    everything = _basis(np.hstack([np.ones((len(y), 1)), *blocks.values()]))
    if everything.shape[1] != 1 + sum(b.shape[1] for b in blocks.values()):
        raise NotIdentifiable("the columns of the terms and a constant depend on each other; drop the dependent ones")
    fixed_parts = [_part(everything, partitions, i) for i in range(len(partitions))]
    for partition, part in zip(partitions, fixed_parts, strict=True):
        if np.abs(part - everything @ (everything.T @ part)).max() > INSIDE:
            raise NotIdentifiable(f"the fixed terms are not balanced over {partition.name!r}; rely on the mixed model")
    residual = y - everything @ (everything.T @ y)
    errors = [*(_error(residual, part, partitions, i) for i, part in enumerate(fixed_parts)), *inside]
    tests = {}
    for name in names:
        rest = [np.ones((len(y), 1)), *(blocks[other] for other in names if other != name)]
        tests[name] = _test(name, y, _adjusted(blocks[name], rest), partitions, errors)
    return StrataResult(tests, tuple(e for e in errors if e.df > 0))


def _read(response: np.ndarray, terms: Mapping[str, np.ndarray]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    y = numbers(response, "the response")
    if y.ndim != 1:
        raise WrongShape(f"the response has shape {y.shape}, expected (n,)")
    blocks = {}
    for name, columns in terms.items():
        block = numbers(columns, f"term {name!r}")
        block = block[:, None] if block.ndim == 1 else block
        if block.ndim != 2 or len(block) != len(y):
            raise WrongShape(f"term {name!r} has shape {block.shape}, expected ({len(y)}, k)")
        if not np.isfinite(block).all():
            raise NotFinite(f"term {name!r} holds a value that is not a finite number; fill it in or leave the row out")
        blocks[name] = block - block.mean(axis=0)
    if not np.isfinite(y).all():
        raise NotFinite("the response holds a value that is not a finite number; leave the row out")
    return y - float(np.median(y)), blocks


def _one_row_each(
    y: np.ndarray, blocks: dict[str, np.ndarray], partitions: list[Grouping]
) -> tuple[np.ndarray, dict[str, np.ndarray], list[Grouping], list[Stratum]]:
    """One row for each level of the finest grouping, and the stratum of what is inside its levels.

    As it was where that grouping does not lie inside all others, or a term changes inside a level. The mean of a level
    counts with the root of its readings, so that sums of squares stay those of readings.
    """
    finest, n = partitions[-2], len(y)
    row = np.empty(finest.levels, dtype=np.intp)
    row[finest.codes] = np.arange(n)
    same = all(np.array_equal(block[row][finest.codes], block) for block in blocks.values())
    if not same or not all(finest.nests_in(coarser) for coarser in partitions[:-2]):
        return y, blocks, partitions, []
    size, means = n // finest.levels, np.bincount(finest.codes, y) * finest.levels / n
    rest = y - means[finest.codes]
    inside = Stratum(RESIDUAL, n - finest.levels, float(rest @ rest) / max(n - finest.levels, 1))
    short = [Grouping(each.name, each.codes[row], each.levels) for each in partitions[:-1]]
    return np.sqrt(size) * means, {name: block[row] for name, block in blocks.items()}, short, [inside]


def _closed(groupings: list[Grouping], n: int) -> list[Grouping]:
    """Mean, groupings, their joins and the rows, coarsest first; refuses unequal or disproportionate ones."""
    mean = Grouping(MEAN, np.zeros(n, dtype=np.intp), 1)
    found = [mean]
    for grouping in groupings:
        _require_equal(grouping, n)
        found.append(grouping)
    i = 1
    while i < len(found):
        for other in found[1:i]:
            join = _join(found[i], other, n)
            if not any(_same(join, known) for known in found):
                found.append(join)
        i += 1
    rows = Grouping(RESIDUAL, np.arange(n), n)
    return sorted(found, key=lambda g: g.levels) + [rows]


def _same(a: Grouping, b: Grouping) -> bool:
    return a.levels == b.levels and a.nests_in(b)


def _require_equal(grouping: Grouping, n: int) -> None:
    sizes = np.bincount(grouping.codes)
    if sizes.min() != sizes.max():
        raise NotIdentifiable(
            f"{grouping.name!r} holds from {sizes.min()} to {sizes.max()} readings a level, so the trial is not "
            "balanced; rely on the mixed model"
        )


def _join(a: Grouping, b: Grouping, n: int) -> Grouping:
    """Finest partition in which both nest; the two must cross in proportion inside it."""
    from scipy.sparse import csgraph  # loads much, and few plans cross

    cells = sparse.coo_array((np.ones(n), (a.codes, b.codes)), shape=(a.levels, b.levels)).tocsr()
    nodes = a.levels + b.levels
    graph = sparse.coo_array((np.ones(n), (a.codes, a.levels + b.codes)), shape=(nodes, nodes)).tocsr()
    levels, of_node = csgraph.connected_components(graph, directed=False)
    codes = of_node[a.codes].astype(np.intp)
    cell_sizes = np.asarray(cells[a.codes, b.codes]).ravel()
    expected = (n / a.levels) * (n / b.levels) / np.bincount(codes)[codes]
    if np.abs(cell_sizes - expected).max() > 1e-9:
        raise NotIdentifiable(f"{a.name!r} and {b.name!r} do not cross in proportion; rely on the mixed model")
    return Grouping(f"{a.name} by {b.name}", codes, levels)


def _part(columns: np.ndarray, partitions: list[Grouping], i: int) -> np.ndarray:
    """Part of columns (n, c) in stratum i: averages over its levels, less every coarser stratum."""
    part = _averages(columns, partitions[i])
    for coarser in partitions[:i]:
        if partitions[i].nests_in(coarser):
            part = part - _averages(part, coarser)
    return part


def _averages(columns: np.ndarray, grouping: Grouping) -> np.ndarray:
    if grouping.levels == len(columns):
        return columns
    order = np.argsort(grouping.codes, kind="stable")
    size = len(columns) // grouping.levels
    if grouping.levels > 1 and size * grouping.levels == len(columns):
        sums = columns[order].reshape(grouping.levels, size, -1).sum(axis=1)
        result: np.ndarray = (sums / size)[grouping.codes].reshape(columns.shape)
        return result
    return np.broadcast_to(columns.mean(axis=0), columns.shape)


def _basis(columns: np.ndarray) -> np.ndarray:
    """Orthonormal basis of the columns; columns that add less than rounding are dropped."""
    lengths = np.linalg.norm(columns, axis=0)
    scaled = columns / np.where(lengths > 0, lengths, 1.0)
    left, values, _ = np.linalg.svd(scaled, full_matrices=False)
    return left[:, values > 1e-9 * max(values[0], 1e-300)] if len(values) else scaled


def _adjusted(block: np.ndarray, rest: list[np.ndarray]) -> np.ndarray:
    other = _basis(np.hstack(rest))
    return _basis(block - other @ (other.T @ block))


def _error(residual: np.ndarray, fixed_part: np.ndarray, partitions: list[Grouping], i: int) -> Stratum:
    here = _dimension(partitions, i)
    values = np.linalg.svd(fixed_part, compute_uv=False)
    used = int((values > 1e-6).sum())
    part = _part(residual[:, None], partitions, i)[:, 0]
    df = here - used
    return Stratum(partitions[i].name, df, float(part @ part) / df if df > 0 else 0.0)


def _dimension(partitions: list[Grouping], i: int) -> int:
    """Dimension of stratum i: its levels less the dimensions of every coarser stratum."""
    coarser = [j for j in range(i) if partitions[i].nests_in(partitions[j])]
    return partitions[i].levels - sum(_dimension(partitions, j) for j in coarser)


def _test(name: str, y: np.ndarray, basis: np.ndarray, partitions: list[Grouping], errors: list[Stratum]) -> StrataTest:
    home = [i for i in range(len(partitions)) if np.abs(_part(basis, partitions, i)).max() > INSIDE]
    if len(home) != 1:
        where = ", ".join(repr(partitions[i].name) for i in home)
        raise NotIdentifiable(f"term {name!r} is spread over the strata {where}; rely on the mixed model")
    error, df = errors[home[0]], basis.shape[1]
    if error.df < 1 or error.mean_square <= 0:
        raise NotIdentifiable(
            f"the stratum {error.name!r} of term {name!r} has nothing left to judge by; add repeats there"
        )
    effect = basis.T @ y
    f = float(effect @ effect) / df / error.mean_square
    return StrataTest(f, df, error.df, float(special.fdtrc(df, error.df, f)), error.name)
