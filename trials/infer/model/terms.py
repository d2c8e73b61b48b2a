"""The fixed part of the model of a measured response: nozzle, factors, products, squares.

The user types no formula: the terms follow from the plan. Terms that the records cannot carry leave in one fixed
order, highest first, never by what the data say about them (Scheffe 1959, section 4; Nelder 1977 on marginality).
Nozzle and text factors are coded sum to zero (last level -1); numbers by orthogonal polynomials over the planned
levels. So the intercept is the average over the planned settings, the nozzle test is about types averaged over them,
and in a balanced trial no term is moved by the products and squares beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.errors import NotIdentifiable, WrongArgument

Array = NDArray[np.float64]
Column = Sequence[float | str] | NDArray[Any]
"""Values of one axis: numbers or words, (n,)."""
RANK_TOLERANCE = 1e-8  # share of a column's length that must stand outside the columns before it


@dataclass(frozen=True)
class Axis:
    """One factor of the model: planned levels, numbers or words."""

    name: str
    levels: tuple[float | str, ...]

    @property
    def is_text(self) -> bool:
        """True where the levels are classes."""
        return isinstance(self.levels[0], str)

    def columns(self, values: Column) -> Array:
        """Coded columns: (n, 1) for numbers, their mean over the levels taken off, (n, levels - 1) for words.

        Raises
        ------
        WrongArgument
            If a word is not among the levels.
        """
        if self.is_text:
            return sum_to_zero(np.asarray(values, dtype=object), self.levels, self.name)
        return self._centred(np.asarray(values, dtype=float))[:, None]

    def square(self, values: Column) -> Array:
        """Column (n, 1) of the square, orthogonal to the constant and the slope over the planned levels."""
        levels = self._centred(np.asarray(self.levels, dtype=float))
        tilt = (levels @ levels**2) / (levels @ levels)
        x = self._centred(np.asarray(values, dtype=float))
        return (x**2 - np.mean(levels**2) - tilt * x)[:, None]

    def _centred(self, values: Array) -> Array:
        levels = np.asarray(self.levels, dtype=float)
        half = np.ptp(levels) / 2.0 or 1.0
        return np.asarray((values - levels.mean()) / half)


def sum_to_zero(labels: NDArray[Any], levels: Sequence[object], name: str) -> Array:
    """Sum-to-zero coding (n, levels - 1) of labels; the last level is -1 in every column.

    Raises
    ------
    WrongArgument
        If a label is not among the levels.
    """
    place = {level: i for i, level in enumerate(levels)}
    codes, known = pd.factorize(np.asarray(labels), use_na_sentinel=False)
    unknown = [label for label in known if label not in place]
    if unknown:
        raise WrongArgument(f"{name}: {unknown[0]!r} is not among its levels {list(levels)}; correct the label.")
    coding = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
    return coding[np.array([place[label] for label in known], dtype=np.intp)[codes]]


@dataclass(frozen=True)
class Term:
    """One term: its parts (names of the nozzle axis and factors; a name twice is its square)."""

    parts: tuple[str, ...]

    @property
    def name(self) -> str:
        """The term in plain words: `nozzle x pressure`, `pressure squared`."""
        words: list[str] = []
        for part in self.parts:
            if words and words[-1] == part:
                words[-1] = f"{part} squared"
            else:
                words.append(part)
        return " x ".join(words)

    def columns(self, axes: Sequence[Axis], settings: Mapping[str, Column]) -> Array:
        """Columns (n, width) of the term: products of the coded columns of its parts."""
        known = {axis.name: axis for axis in axes}
        found: Array | None = None
        for name in dict.fromkeys(self.parts):
            twice = self.parts.count(name) > 1
            own = (known[name].square if twice else known[name].columns)(settings[name])
            found = own if found is None else (found[:, :, None] * own[:, None, :]).reshape(len(own), -1)
        if found is None:
            raise WrongArgument("A term needs at least one part; name the nozzle or a factor.")
        return found


@dataclass(frozen=True)
class FixedModel:
    """Which terms stand in the model and how settings become columns.

    axes: the nozzle axis first (absent with a single type), then the factors; terms: kept terms in order (the
    intercept is not among them); columns: kept column indices per term within its own block; dropped: names of the
    terms that left, with the reason; k: number of columns with the intercept and the block columns.
    """

    axes: tuple[Axis, ...]
    terms: tuple[Term, ...]
    dropped: tuple[str, ...]
    block_levels: tuple[str, ...] = ()

    def matrix(self, settings: Mapping[str, Column], block: NDArray[Any] | None = None) -> Array:
        """Model matrix (n, k): intercept, block columns (zero where block is None: their average), terms.

        settings maps each axis name to n values.
        """
        n = len(next(iter(settings.values()))) if settings else 0
        parts = [np.ones((n, 1)), self._block_columns(n, block)]
        parts += [term.columns(self.axes, settings) for term in self.terms]
        return np.hstack(parts)

    def _block_columns(self, n: int, block: NDArray[Any] | None) -> Array:
        if len(self.block_levels) < 2:
            return np.empty((n, 0))
        if block is None:
            return np.zeros((n, len(self.block_levels) - 1))
        return sum_to_zero(block, self.block_levels, "sheet")

    def slices(self) -> dict[str, slice]:
        """Columns of each term in the model matrix, by the term's name."""
        widths = {axis.name: len(axis.levels) - 1 if axis.is_text else 1 for axis in self.axes}
        start = 1 + max(len(self.block_levels) - 1, 0)
        found: dict[str, slice] = {}
        for term in self.terms:
            width = int(np.prod([widths[part] for part in dict.fromkeys(term.parts)]))
            found[term.name] = slice(start, start + width)
            start += width
        return found


def candidate_terms(axes: Sequence[Axis], nozzle: str | None, common_curves: bool = False) -> tuple[Term, ...]:
    """All terms the design asks for, in the order in which they are let in.

    Nozzle, factors, squares of factors with three levels or more, nozzle by factor, factor by factor, nozzle by
    square. `nozzle` is the name of the nozzle axis, None with a single type; common_curves: one square for all types,
    as declared before cutting, so that no nozzle by square is asked for.
    """
    factors = [axis for axis in axes if axis.name != nozzle]
    curved = [axis.name for axis in factors if not axis.is_text and len(axis.levels) >= 3]
    names = [axis.name for axis in factors if len(axis.levels) >= 2]
    first = [Term((nozzle,))] if nozzle else []
    first += [Term((name,)) for name in names]
    first += [Term((name, name)) for name in curved]
    if nozzle:
        first += [Term((nozzle, name)) for name in names]
    first += [Term((a, b)) for i, a in enumerate(names) for b in names[i + 1 :]]
    if nozzle and not common_curves:
        first += [Term((nozzle, name, name)) for name in curved]
    return tuple(first)


def build_model(
    axes: Sequence[Axis],
    settings: Mapping[str, NDArray[Any]],
    nozzle: str | None,
    block: NDArray[Any] | None = None,
    units: int | None = None,
    common_curves: bool = False,
) -> FixedModel:
    """The largest model the records carry; terms are let in one by one in the order of `candidate_terms`.

    axes: nozzle axis first, then factors; settings: n as-cut values per axis; block: labels (n,) of a sheet or block
    that stays fixed; units: number of coupons, one of which at least must be left over for their spread; common_curves:
    as in `candidate_terms`.

    Raises
    ------
    NotIdentifiable
        If the nozzle types cannot be told apart from the blocks.
    """
    axes = tuple(axes)
    levels = tuple(dict.fromkeys(block)) if block is not None else ()
    model = FixedModel(axes, (), (), tuple(map(str, levels)))
    labels = None if block is None else np.asarray([str(label) for label in block], dtype=object)
    kept: list[Term] = []
    dropped: list[str] = []
    columns = model.matrix(settings, labels)
    basis = _orthonormal(columns)
    limit = (units or len(columns)) - 1
    for term in candidate_terms(axes, nozzle, common_curves):
        wider = _extend_basis(basis, term.columns(axes, settings), limit)
        if wider is not None:
            basis = wider
            kept.append(term)
        elif nozzle is not None and term.parts == (nozzle,):
            raise NotIdentifiable(_why_nozzle_fails(levels))
        else:
            dropped.append(term.name)
    return FixedModel(axes, tuple(kept), tuple(dropped), model.block_levels)


def _why_nozzle_fails(levels: Sequence[object]) -> str:
    if len(levels) > 1:
        return (
            "The nozzle types cannot be told apart from the sheets: each sheet carried types of its own. "
            "Cut every type on every sheet."
        )
    return "The nozzle types cannot be told apart: fewer than two types have readings. Cut and measure another type."


def _orthonormal(columns: Array) -> Array:
    basis = np.empty((len(columns), 0))
    wider = _extend_basis(basis, columns, len(columns))
    if wider is None:
        raise NotIdentifiable("The sheets cannot be told apart in these records; record the sheet of each coupon.")
    return wider


def _extend_basis(basis: Array, columns: Array, limit: int) -> Array | None:
    """Basis with the columns added, or None if one of them lies in what is there or the limit is passed."""
    if basis.shape[1] + columns.shape[1] > max(limit, 1):
        return None
    for column in columns.T:
        length = np.linalg.norm(column)
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        if length == 0 or np.linalg.norm(rest) <= RANK_TOLERANCE * length:
            return None
        basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
    return basis
