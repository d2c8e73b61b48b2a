"""The mixed model where readings, and the finest groups if asked, spread differently by type.

Every type has a variance of readings of its own, and groupings named so have one per type; the others are common.
Restricted likelihood by Fisher scoring with a bound at zero (Patterson and Thompson 1971): on reduced rows where the
plan comes down to few of them (cells.py), else with nested groupings absorbed one after the other as in nested.py, so
that work and memory grow with rows. Both agree to rounding.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.mixed.cells import Cells, in_cells
from trials.infer.mixed.fit import MixedDesign, MixedFit, refuse_inseparable
from trials.infer.mixed.groupings import RESIDUAL, Grouping, Labels
from trials.infer.mixed.nested import ChainKernel, Entering, Pass
from trials.infer.mixed.pieces import Pieces
from trials.infer.mixed.reml import information, solve_fixed
from trials.infer.mixed.scoring import SETTLED, STEPS, bounded, search


@dataclass(frozen=True)
class TypedKernel:
    """A chain whose variances may differ by type.

    parts[i]: (term, members (U_i,) as 0 or 1) on level i; readings (T, U_0): units of each type, whose reading variance
    is term first_reading + type; inside (T, c, c): cross-product of A inside the units of each type.
    """

    chain: ChainKernel
    parts: tuple[tuple[tuple[int, np.ndarray], ...], ...]
    readings: np.ndarray
    first_reading: int
    inside: np.ndarray

    def evaluate(self, gamma: np.ndarray) -> Pieces:
        """Return the pieces at the variances gamma (t,), those of readings last."""
        return _TypedPass(self, gamma).pieces(len(gamma), residual=True)


class _TypedPass(Pass):
    """A pass with one variance per unit instead of one per level."""

    def __init__(self, typed: TypedKernel, gamma: np.ndarray) -> None:
        self.typed, self.own = typed, gamma[typed.first_reading :]
        super().__init__(typed.chain, gamma)

    def across_units(self) -> tuple[np.ndarray, float]:
        readings = self.typed.readings @ self.kernel.sizes
        return np.tensordot(1.0 / self.own, self.typed.inside, 1), float(readings @ np.log(self.own))

    def precision(self) -> np.ndarray:
        return np.asarray(self.kernel.sizes / (self.own @ self.typed.readings))

    def ratio(self, i: int) -> float | np.ndarray:
        return sum((self.gamma[term] * members for term, members in self.typed.parts[i]), 0.0)

    def entering(self, i: int, residual: bool) -> Entering:
        found = list(self.typed.parts[i])
        if i == 0:
            found += [(self.typed.first_reading + t, w / self.kernel.sizes) for t, w in enumerate(self.typed.readings)]
        return [(term, a, a[:, None] * self.b[i]) for term, a in found]

    def add_inside(self, out: Pieces) -> None:
        across = self.typed.readings @ (self.kernel.sizes - 1.0)
        for t, (own, inside) in enumerate(zip(self.own, self.typed.inside, strict=True)):
            at = self.typed.first_reading + t
            out.aga[at] += inside / own**2
            out.agga[at, at] += inside / own**3
            out.trace[at] += across[t] / own
            out.trace_pair[at, at] += across[t] / own**2


@dataclass(frozen=True, eq=False)
class TypedDesign:
    """A design with the variances that differ by type.

    design: fixed columns and groupings; names: of the variances, those of readings last; parts, readings, terms: see
    TypedKernel; terms[i]: first term of grouping i; codes (n,): type of each row; cells: None where they are too many.
    """

    design: MixedDesign
    names: tuple[str, ...]
    terms: tuple[int, ...]
    parts: tuple[tuple[tuple[int, np.ndarray], ...], ...]
    readings: np.ndarray
    codes: np.ndarray
    cells: Cells | None

    @classmethod
    def build(
        cls, fixed: np.ndarray, groups: Mapping[str, Labels], types: Labels, by_type: Sequence[str]
    ) -> TypedDesign:
        """Check and prepare; by_type: groupings that have a variance per type.

        Raises
        ------
        WrongShape
            If types is not (n,).
        WrongArgument
            If a group holds rows of two types, or crosses another grouping.
        NotFinite
            If a type is missing.
        NotIdentifiable
            As fit_mixed, naming the variance that a type has too few rows to show.
        """
        design = MixedDesign.build(fixed, groups, dense=False)
        labels, codes = _coded_types(types, len(design.fixed_part.q))
        chain = design.layout.kernel
        assert isinstance(chain, ChainKernel)
        names, terms = _named(design.groupings, labels, by_type, chain)
        first = np.arange(len(codes)) if design.layout.units is None else design.layout.units.first
        parts = []
        for i, at in enumerate(chain.chain_terms):
            if at is not None:
                own = codes[first]
                _refuse_mixed(design.groupings[at], codes)
                split = design.groupings[at].name in by_type
                members = np.eye(len(labels))[own].T if split else np.ones((1, len(own)))
                parts.append(tuple((terms[at] + j, m) for j, m in enumerate(members)))
            else:
                parts.append(())
            if i < len(chain.levels):
                first = first[chain.levels[i].starts]
        units = design.layout.units
        readings = np.eye(len(labels))[codes if units is None else codes[units.first]].T
        cells = in_cells(design.fixed_part, design.groupings, codes, len(labels), by_type)
        found = cls(design, names, terms, tuple(parts), readings, codes, cells)
        start = np.repeat([0.0, 1.0], [len(names) - len(labels), len(labels)])
        refuse_inseparable(found.kernel_for(np.zeros(len(codes))).evaluate(start), names)
        return found

    def kernel_for(self, rest: np.ndarray) -> TypedKernel:
        """The kernel of a response (n,)."""
        layout = self.design.layout
        chain = layout.kernel_for(rest)
        assert isinstance(chain, ChainKernel)
        top = replace(chain.top, terms=tuple(self.terms[i] for i in chain.top.terms))
        inside = np.zeros((len(self.readings), *chain.within.shape))
        if layout.units is not None:
            own = self.codes[layout.units.order]
            y = layout.units.inside(rest, chain.means[:, -1])
            for t, into in enumerate(inside):
                at = own == t
                into[-1, -1] = y[at] @ y[at]
                if layout.q_inside is not None:
                    q = layout.q_inside[at]
                    into[:-1, :-1] = q.T @ q
                    into[-1, :-1] = into[:-1, -1] = q.T @ y[at]
        first_reading = len(self.names) - len(self.readings)
        return TypedKernel(replace(chain, top=top), self.parts, self.readings, first_reading, inside)

    def fit(self, response: np.ndarray) -> MixedFit:
        """Fit one response (n,); raises as MixedDesign.fit."""
        rest, unit, least_squares = self.design.least_squares(response)
        if self.cells is None:
            kernel = self.kernel_for(rest)
            gamma, settled = _search(kernel, self.design.nu, len(self.names))
            pieces = kernel.evaluate(gamma)
        else:
            one = self.cells.reduced(rest[None])
            found, ended = search(self.cells, one)
            gamma, settled = found[0], bool(ended[0])
            if self.cells.without_spread(gamma):
                raise NotIdentifiable("the readings of one type do not differ at all; give all types one spread")
            pieces = self.cells.pieces(one, gamma)
        return self.design.finish(pieces, dict(zip(self.names, gamma, strict=True)), settled, unit, least_squares)


def _coded_types(types: Labels, n: int) -> tuple[tuple[str, ...], np.ndarray]:
    values = np.asarray(types)
    if values.shape != (n,):
        raise WrongShape(f"types has shape {values.shape}, expected ({n},); give the type of each reading")
    codes, uniques = pd.factorize(values)
    if (codes < 0).any():
        row = int(np.argmax(codes < 0)) + 1
        raise NotFinite(f"types has no label at row {row}; fill it in or leave the row out")
    return tuple(map(str, uniques)), codes.astype(np.intp)


def _named(
    groupings: Sequence[Grouping], labels: Sequence[str], by_type: Sequence[str], chain: ChainKernel
) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """Names of all variances, and the first term of each grouping."""
    names: list[str] = []
    terms = []
    for i, grouping in enumerate(groupings):
        terms.append(len(names))
        split = grouping.name in by_type
        if split and i not in chain.chain_terms:
            raise WrongArgument(f"{grouping.name!r} crosses another grouping, so it cannot have a spread by type")
        names += [f"{grouping.name} of {label}" for label in labels] if split else [grouping.name]
    return (*names, *(f"{RESIDUAL} of {label}" for label in labels)), tuple(terms)


def _refuse_mixed(grouping: Grouping, codes: np.ndarray) -> None:
    own = np.empty(grouping.levels, dtype=np.intp)
    own[grouping.codes] = codes
    if not np.array_equal(own[grouping.codes], codes):
        raise WrongArgument(f"a {grouping.name} holds rows of two types; correct the labels or leave types out")


def _search(kernel: TypedKernel, nu: int, t: int) -> tuple[np.ndarray, bool]:
    """Ratios (t,) at which one step of scoring changes nothing, and whether the search settled."""
    gamma = np.full(t, 0.5)
    gamma[kernel.first_reading :] = 1.0
    for _ in range(STEPS):
        pieces = kernel.evaluate(gamma)
        solved = solve_fixed(pieces)
        a = np.append(-solved.beta, 1.0)
        score = (pieces.aga @ a @ a) * (nu / solved.rss)
        following = bounded(information(pieces, solved)[None], score[None], kernel.first_reading)[0]
        change = np.abs(following - gamma).max()
        gamma = following
        if change <= SETTLED * gamma.max():
            return gamma, True
    return gamma, False
