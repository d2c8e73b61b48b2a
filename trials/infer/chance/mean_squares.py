"""Mean squares of nested or crossed groups, and draws of the variances behind them.

Each layer of groups gets the part of the response that it explains beyond the fixed columns and the layers above it.
Its mean square is, exactly in a balanced trial and closely otherwise, its expectation times chi-square / df. Draws of
the variances follow by dividing each mean square by a fresh chi-square and solving back (generalised pivotal
quantities: Weerahandi 1993, JASA 88; Krishnamoorthy and Mathew 2009, Statistical Tolerance Regions, ch. 5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance.spaces import Cells, Gain, Matrix, Space, collapse, indicator, level_means

READING = "reading"


@dataclass(frozen=True)
class MeanSquare:
    """One layer: name, value, degrees of freedom, and its expectation as {variance: coefficient}."""

    name: str
    value: float
    df: float
    sizes: dict[str, float]


@dataclass(frozen=True)
class Layers:
    """Mean squares from the top layer down, and what is needed to predict a mean.

    Readings that share fixed columns, groups and type are one cell; rows below are the m cells, each weighted by the
    root of its number of readings.

    Attributes:
        squares: one per layer (and type, where the spread is per type).
        ordinary: (k,) least-squares coefficients of the fixed columns.
        mean_weights: (m, k) weights of the cells behind the coefficients.
        members: {variance: (m, levels) weighted indicator} of every grouping; "reading" is handled apart.
        reading_rows: {variance: (m,) bool} cells to which each reading variance applies.
        missing: groupings that have no degrees of freedom of their own.
    """

    squares: tuple[MeanSquare, ...]
    ordinary: np.ndarray
    mean_weights: np.ndarray
    members: dict[str, Matrix]
    reading_rows: dict[str, np.ndarray]
    missing: tuple[str, ...]

    def mean(self, row: np.ndarray) -> tuple[float, dict[str, float]]:
        """Mean at settings row (k,) and its variance as {variance: coefficient}."""
        row = np.asarray(row, dtype=float)
        if row.shape != self.ordinary.shape:
            raise WrongShape(f"The settings have shape {row.shape} where {self.ordinary.shape} is needed.")
        lever = self.mean_weights @ row
        sizes = {name: float(np.sum((z.T @ lever) ** 2)) for name, z in self.members.items()}
        sizes |= {name: float(np.sum(lever[at] ** 2)) for name, at in self.reading_rows.items()}
        return float(row @ self.ordinary), sizes


def key(layer: str, of_type: str | None) -> str:
    """Name of a variance: the layer, with the type where it has its own."""
    return layer if of_type is None else f"{layer} of {of_type}"


def find_layers(
    response: np.ndarray,
    fixed: np.ndarray,
    groups: dict[str, np.ndarray],
    types: np.ndarray | None = None,
    spread_by_type: tuple[str, ...] = (),
) -> Layers:
    """Split the response into layers.

    Args:
        response: (n,) on the model scale.
        fixed: (n, k) full column rank, with everything that shifts the mean.
        groups: {layer: labels (n,)} from the top down, say sheet, specimen, mount, coupon.
        types: (n,) nozzle type of each row; needed for `spread_by_type`.
        spread_by_type: layers whose variance differs by type; "reading" may be one.

    Raises
    ------
    NotFinite
        If response or fixed holds NaN or infinity.
    WrongShape
        If lengths differ.
    WrongArgument
        If `spread_by_type` names a layer without `types`, or a grouping is called "reading".
    NotIdentifiable
        If no row is left to judge the spread by.
    """
    response, fixed = np.asarray(response, dtype=float), np.asarray(fixed, dtype=float)
    _check(response, fixed, groups, types, spread_by_type)
    cells = collapse(response, fixed, groups, types)
    of_type = {t: cells.types == t for t in sorted(set(cells.types))} if types is not None else {}
    rows: dict[str | None, np.ndarray] = {None: np.ones(cells.count, bool), **of_type}
    space, ordinary, weights = _least_squares(cells)
    steps, lowest = _steps(cells, space)
    split: dict[str, list[str | None]] = {
        layer: [*of_type] if layer in spread_by_type else [None] for layer in (*groups, READING)
    }
    members = {key(step.layer, t): _member(cells, step.layer, rows[t]) for step in steps for t in split[step.layer]}
    reading_rows = {key(READING, t): rows[t] for t in split[READING]}
    rest = cells.response - space.project(cells.response)
    squares = []
    for step in steps:
        gain = Gain(step.before, step.after, members, {key(READING, t): at for t, at in rows.items()})
        squares += [_square(step.layer, t, rest, gain, [*reading_rows]) for t in split[step.layer]]
    squares += [_reading_square(name, cells, lowest, at) for name, at in reading_rows.items()]
    missing = tuple(layer for layer in groups if layer not in {step.layer for step in steps})
    return Layers(tuple(squares), ordinary, weights, members, reading_rows, missing)


@dataclass(frozen=True)
class _Step:
    """One layer: its name, the space of everything above it, and the space with it."""

    layer: str
    before: Space
    after: Space


def _steps(cells: Cells, space: Space) -> tuple[list[_Step], Space]:
    """The layers that add something to a space, from the top down, and the space of all of them."""
    steps = []
    for layer, codes in cells.groups.items():
        wider = space.join(level_means(codes, cells.root))
        if wider.rank > space.rank:
            steps.append(_Step(layer, space, wider))
            space = wider
    return steps, space


def _member(cells: Cells, layer: str, at: np.ndarray) -> Matrix:
    """Weighted indicator (m, levels) of the groups of a layer that hold a cell of `at`."""
    codes = cells.groups[layer]
    return indicator(codes, cells.root)[:, np.unique(codes[at])]


def _reading_square(name: str, cells: Cells, space: Space, at: np.ndarray) -> MeanSquare:
    """Mean square of what all layers leave over, in the cells `at`."""
    df = float(np.sum(cells.root[at] ** 2) - np.sum(space.leverage()[at]))
    if df < 0.5:
        raise NotIdentifiable(f"No repeats are left to judge the spread '{name}' by; leave the lowest group out.")
    rest = cells.response - space.project(cells.response)
    return MeanSquare(name, float(np.sum(cells.within[at]) + rest[at] @ rest[at]) / df, df, {name: 1.0})


def _square(layer: str, of_type: str | None, response: np.ndarray, gain: Gain, readings: list[str]) -> MeanSquare:
    """Mean square of one layer (in one type); df by Satterthwaite where the layer does not split cleanly."""
    name, rows = key(layer, of_type), key(READING, of_type)
    at = gain.rows[rows]
    df = float(np.sum(gain.after.leverage()[at] - gain.before.leverage()[at]))
    if df < 0.5:
        raise NotIdentifiable(f"There are too few groups to judge the spread '{name}' by; pool it over the types.")
    gained = gain.after.project(response) - gain.before.project(response)
    found = {other: gain.of_groups(other, rows) / df for other in gain.members}
    found |= {other: gain.of_rows(other, rows) / df for other in readings}
    sizes = {other: size for other, size in found.items() if size > 1e-9}
    return MeanSquare(name, float(gained[at] @ gained[at]) / df, df**2 / gain.of_rows(rows, rows), sizes)


def variances(squares: tuple[MeanSquare, ...], values: np.ndarray | None = None) -> dict[str, np.ndarray]:
    """Solve the expectations for the variances; values (layers, n) default to the observed mean squares.

    A negative solution is kept; `floor` cuts it at zero.
    """
    names = [s.name for s in squares]
    matrix = np.array([[s.sizes.get(n, 0.0) for n in names] for s in squares])
    if values is None:
        return dict(zip(names, np.linalg.solve(matrix, [s.value for s in squares]), strict=True))
    return dict(zip(names, np.linalg.inv(matrix) @ values, strict=True))  # solving for many takes many times as long


def floor(found: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Variances with the negative ones set to zero."""
    return {name: np.maximum(value, 0.0) for name, value in found.items()}


def draw(squares: tuple[MeanSquare, ...], chi_square: np.ndarray) -> dict[str, np.ndarray]:
    """Draws of the variances from chi-square draws (layers, draws), one row per layer; negative draws are kept."""
    values = np.array([[s.value * s.df] for s in squares]) / chi_square
    return variances(squares, values)


def _least_squares(cells: Cells) -> tuple[Space, np.ndarray, np.ndarray]:
    """Space of the fixed columns, coefficients, and the weights behind them."""
    q, r = np.linalg.qr(cells.fixed)
    if np.linalg.matrix_rank(r) < cells.fixed.shape[1]:
        raise NotIdentifiable("The fixed columns depend on each other; drop the repeated ones.")
    inverse = np.linalg.solve(r, np.eye(len(r)))
    return Space(np.zeros((len(q), 0)), q), inverse @ (q.T @ cells.response), q @ inverse.T


def _check(
    response: np.ndarray,
    fixed: np.ndarray,
    groups: dict[str, np.ndarray],
    types: np.ndarray | None,
    spread_by_type: tuple[str, ...],
) -> None:
    """Lengths, finiteness, rank."""
    n = len(response)
    lengths = [len(v) for v in groups.values()] + ([] if types is None else [len(types)])
    if response.ndim != 1 or fixed.ndim != 2 or len(fixed) != n or any(length != n for length in lengths):
        raise WrongShape("Response, fixed columns and groups must have one row per reading; check their lengths.")
    if not np.all(np.isfinite(response)) or not np.all(np.isfinite(fixed)):
        raise NotFinite("A reading or a fixed column is missing or infinite; fill it or leave the row out.")
    if READING in groups:
        raise WrongArgument("'reading' is the name of what is left over; name the lowest group differently.")
    if spread_by_type and types is None:
        raise WrongArgument("A spread by type needs the type of every row; give it.")
