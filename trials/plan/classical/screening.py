"""Screening plans for many factors in few coupons, from conference matrices, in coded units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trials.errors import Infeasible
from trials.plan.classical.factorial import CodedPlan

FEWEST, MOST = 3, 12  # factors; for each there is a conference matrix by Paley's construction


def definitive_screening(names: Sequence[str], centre: int = 1) -> CodedPlan:
    """Three-level plan in twice the order of a conference matrix plus the centre: the matrix, its mirror, the centre.

    Effects of single factors are clear of each other, of all products of two and of all squares; squares and products
    can be estimated where few matter. Jones and Nachtsheim (2011); conference matrices after Xiao, Lin and Bai (2012).
    An odd number of factors uses the next even order and leaves out a column.

    Raises
    ------
    Infeasible
        If there are fewer than 3 or more than 12 factors.
    """
    names = tuple(names)
    k = len(names)
    if not FEWEST <= k <= MOST or len(set(names)) < k:
        raise Infeasible(
            f"a definitive screening plan takes {FEWEST} to {MOST} factors of different names, not {k}. "
            "Change the factors or use a two-level fraction"
        )
    matrix = conference_matrix(max(4, k + k % 2))[:, :k]
    return CodedPlan(names, np.vstack([matrix, -matrix, np.zeros((centre, k))]))


def conference_matrix(order: int) -> np.ndarray:
    """Square matrix C with zero diagonal, +-1 elsewhere and C'C = (order - 1) I, by Paley (1933).

    Bordered matrix of quadratic residues over the field of order - 1 elements: symmetric for order 6 and 10, skew for
    4, 8 and 12.

    Raises
    ------
    Infeasible
        If order - 1 is not 3, 5, 7, 9 or 11.
    """
    q = order - 1
    if q not in (3, 5, 7, 9, 11):
        raise Infeasible(f"no conference matrix of order {order} here; there are 4, 6, 8, 10 and 12. Use one of these")
    core = _residues(q)
    sign = 1.0 if q % 4 == 1 else -1.0
    matrix = np.zeros((order, order))
    matrix[0, 1:] = 1.0
    matrix[1:, 0] = sign
    matrix[1:, 1:] = core
    return matrix


Element = tuple[int, int]


def _residues(q: int) -> np.ndarray:
    """Return Q (q, q): 0 for a = b, else 1 where a - b is a square of the field and -1 where it is none."""
    nine = q == 9  # its elements are a + b i with i^2 = -1 modulo 3
    elements: list[Element] = [(a, b) for a in range(3) for b in range(3)] if nine else [(a, 0) for a in range(q)]

    def times(x: Element, y: Element) -> Element:
        if nine:
            return (x[0] * y[0] - x[1] * y[1]) % 3, (x[0] * y[1] + x[1] * y[0]) % 3
        return x[0] * y[0] % q, 0

    def minus(x: Element, y: Element) -> Element:
        return ((x[0] - y[0]) % 3, (x[1] - y[1]) % 3) if nine else ((x[0] - y[0]) % q, 0)

    squares = {times(x, x) for x in elements}

    def character(x: Element) -> float:
        return 0.0 if x == (0, 0) else (1.0 if x in squares else -1.0)

    return np.array([[character(minus(a, b)) for b in elements] for a in elements])
