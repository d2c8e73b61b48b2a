"""Mean squares of nested or crossed groups, and draws of the variances behind them.

Each layer of groups gets the part of the response that it explains beyond the fixed columns and the layers above it.
Its mean square is, exactly in a balanced trial and closely otherwise, its expectation times chi-square / df. Draws of
the variances follow by dividing each mean square by a fresh chi-square and solving back (generalised pivotal
quantities: Weerahandi 1993, JASA 88; Krishnamoorthy and Mathew 2009, Statistical Tolerance Regions, ch. 5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.errors import NotFinite, NotIdentifiable, WrongShape

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

    Attributes:
        squares: one per layer (and type, where the spread is per type).
        ordinary: (k,) least-squares coefficients of the fixed columns.
        mean_weights: (n, k) rows so that the mean at settings c is response @ mean_weights @ c.
        members: {variance: (n, levels) indicator} of every grouping; "reading" is handled apart.
        reading_rows: {variance: (n,) bool} rows to which each reading variance applies.
        missing: groupings that have no degrees of freedom of their own.
    """

    squares: tuple[MeanSquare, ...]
    ordinary: np.ndarray
    mean_weights: np.ndarray
    members: dict[str, np.ndarray]
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

    Raises:
        NotFinite: response or fixed holds NaN or infinity.
        WrongShape: lengths differ, or `spread_by_type` names a layer without `types`.
        NotIdentifiable: no row is left to judge the spread by.
    """
    response, fixed = np.asarray(response, dtype=float), np.asarray(fixed, dtype=float)
    _check(response, fixed, groups, types, spread_by_type)
    kinds = [] if types is None else sorted(set(np.asarray(types).astype(str)))
    of_type = {} if types is None else {t: np.asarray(types).astype(str) == t for t in kinds}
    base, ordinary, weights = _least_squares(response, fixed)
    steps, missing = [], []
    for layer, labels in groups.items():
        names, at = np.unique(np.asarray(labels).astype(str), return_inverse=True)
        member = np.eye(len(names))[at.reshape(-1)]
        rest = member - base @ (base.T @ member)
        left, size, _ = np.linalg.svd(rest, full_matrices=False)
        gained = left[:, size > 1e-8 * np.sqrt(len(response))]
        if not gained.shape[1]:
            missing.append(layer)
            continue
        base = np.hstack([base, gained])
        steps.append((layer, member, gained))
    members = {
        key(layer, t): member[:, (member * of_type[t][:, None]).any(axis=0)] if t else member
        for layer, member, _ in steps
        for t in (kinds if layer in spread_by_type else [None])
    }
    reading_rows = {
        key(READING, t): of_type[t] if t else np.ones(len(response), bool)
        for t in (kinds if READING in spread_by_type else [None])
    }
    squares = _squares(response, steps, base, members, reading_rows, of_type, spread_by_type)
    return Layers(tuple(squares), ordinary, weights, members, reading_rows, tuple(missing))


def _squares(
    response: np.ndarray,
    steps: list[tuple[str, np.ndarray, np.ndarray]],
    base: np.ndarray,
    members: dict[str, np.ndarray],
    reading_rows: dict[str, np.ndarray],
    of_type: dict[str, np.ndarray],
    spread_by_type: tuple[str, ...],
) -> list[MeanSquare]:
    """Mean squares of every step, then of the readings."""
    squares = []
    for layer, _, gained in steps:
        for t in of_type if layer in spread_by_type else [None]:
            keep = slice(None) if t is None else of_type[t]
            squares.append(_square(key(layer, t), response, gained, keep, members, reading_rows))
    rest = response - base @ (base.T @ response)
    lever = np.sum(base**2, axis=1)
    for name, at in reading_rows.items():
        df = float(np.sum(1.0 - lever[at]))
        if df < 0.5:
            raise NotIdentifiable(f"No repeats are left to judge the spread '{name}' by; leave the lowest group out.")
        squares.append(MeanSquare(name, float(rest[at] @ rest[at]) / df, df, {name: 1.0}))
    return squares


def _square(
    name: str,
    response: np.ndarray,
    gained: np.ndarray,
    keep: np.ndarray | slice,
    members: dict[str, np.ndarray],
    reading_rows: dict[str, np.ndarray],
) -> MeanSquare:
    """Mean square of the rows `keep` within one layer; df by Satterthwaite where the layer does not split cleanly."""
    part = gained[keep]
    inner = part.T @ part
    df = float(np.trace(inner))
    if df < 0.5:
        raise NotIdentifiable(f"There are too few groups to judge the spread '{name}' by; pool it over the types.")
    score = gained.T @ response
    value = float(score @ inner @ score) / df
    sizes = {}
    for other, member in members.items():
        seen = gained.T @ member
        size = float(np.sum(seen * (inner @ seen))) / df
        if size > 1e-9:
            sizes[other] = size
    for other, at in reading_rows.items():
        size = float(np.trace(inner @ (gained[at].T @ gained[at]))) / df
        if size > 1e-9:
            sizes[other] = size
    return MeanSquare(name, value, df**2 / float(np.sum(inner**2)), sizes)


def variances(squares: tuple[MeanSquare, ...], values: np.ndarray | None = None) -> dict[str, np.ndarray]:
    """Solve the expectations for the variances; values (layers, ...) default to the observed mean squares.

    A negative solution is kept; `floor` cuts it at zero.
    """
    names = [s.name for s in squares]
    matrix = np.array([[s.sizes.get(n, 0.0) for n in names] for s in squares])
    values = np.array([s.value for s in squares]) if values is None else values
    return dict(zip(names, np.linalg.solve(matrix, values), strict=True))


def floor(found: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Variances with the negative ones set to zero."""
    return {name: np.maximum(value, 0.0) for name, value in found.items()}


def draw(squares: tuple[MeanSquare, ...], chi_square: np.ndarray) -> dict[str, np.ndarray]:
    """Draws of the variances from chi-square draws (layers, draws), one row per layer; negative draws are kept."""
    values = np.array([[s.value * s.df] for s in squares]) / chi_square
    return variances(squares, values)


def _least_squares(response: np.ndarray, fixed: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Orthonormal basis of the fixed columns, coefficients, and the weights behind them."""
    q, r = np.linalg.qr(fixed)
    inverse = np.linalg.solve(r, np.eye(len(r)))
    return q, inverse @ (q.T @ response), q @ inverse.T


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
    if np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise NotIdentifiable("The fixed columns depend on each other; drop the repeated ones.")
    if READING in groups:
        raise WrongShape("'reading' is the name of what is left over; name the lowest group differently.")
    if spread_by_type and types is None:
        raise WrongShape("A spread by type needs the type of every row; give it.")
