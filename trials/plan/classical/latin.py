"""Run orders in which every treatment has every place, and follows every other equally often."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.errors import WrongShape


@dataclass(frozen=True)
class RunOrders:
    """Orders (rows, n) of treatments 0..n-1, one row per sheet, day or mount.

    Attributes:
        orders: each row holds every treatment once; each column equally often.
        follows: (n, n) how often treatment j comes directly after treatment i.
        balanced: every treatment follows every other equally often, so carry-over falls on all alike.
    """

    orders: np.ndarray
    follows: np.ndarray
    balanced: bool


def _result(orders: np.ndarray) -> RunOrders:
    n = orders.shape[1]
    follows = np.zeros((n, n), dtype=int)
    np.add.at(follows, (orders[:, :-1].ravel(), orders[:, 1:].ravel()), 1)
    off = follows[~np.eye(n, dtype=bool)]
    return RunOrders(orders=orders, follows=follows, balanced=bool((off == off[0]).all()))


def _check(treatments: int) -> None:
    if int(treatments) != treatments or treatments < 2:
        raise WrongShape(f"{treatments} treatments. Give a whole number of two or more")


def latin_square(treatments: int, rng: np.random.Generator) -> RunOrders:
    """Random Latin square: the cyclic one with rows, columns and labels shuffled."""
    _check(treatments)
    cyclic = (np.arange(treatments)[:, None] + np.arange(treatments)) % treatments
    shuffled = cyclic[rng.permutation(treatments)][:, rng.permutation(treatments)]
    return _result(rng.permutation(treatments)[shuffled])


def williams(treatments: int, rng: np.random.Generator | None = None) -> RunOrders:
    """Run orders balanced for carry-over, Williams (1949): n rows for an even number, 2 n for an odd one.

    With `rng` labels and rows are shuffled, which keeps the balance.

    Raises:
        WrongShape: fewer than two treatments.
    """
    _check(treatments)
    n = treatments
    first = np.empty(n, dtype=int)
    first[0::2] = np.arange((n + 1) // 2)
    first[1::2] = n - 1 - np.arange(n // 2)
    orders = (first + np.arange(n)[:, None]) % n
    if n % 2:
        orders = np.vstack([orders, orders[:, ::-1]])
    if rng is not None:
        orders = rng.permutation(n)[orders][rng.permutation(len(orders))]
    return _result(orders)
