"""Side differences per mount: an off-centre nozzle shows on one side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
Labels = NDArray[Any]
SideMean = tuple[object, object, float]  # coupon, side, mean residual
FEWEST_FREE = 6
"""Degrees of freedom from like mounts that carry a test of a mount which is too small for one of its own."""


@dataclass(frozen=True)
class SideShift:
    """Side difference of one mount: largest difference between side means, model's scale, and its adjusted p.

    levels: (side, its mean less the mean over the sides of the mount), model's scale.
    """

    mount: object
    high_side: object
    low_side: object
    difference: float
    p: float
    levels: tuple[tuple[object, float], ...] = ()


def side_shifts(
    residuals: Array, mount: Labels, coupon: Labels, side: Labels, kind: Labels | None = None
) -> tuple[SideShift, ...]:
    """Side differences per mount, Bonferroni over mounts; an off-centre nozzle shows on one side.

    residuals (n,) of readings from the fixed part; where a coupon was read on several sides its own level is taken
    off first. A mount with too few coupons to show its own spread is judged by the coupons of the other mounts of its
    kind (labels (n,), all mounts alike if left out). Mounts with fewer than two sides give nothing.
    """
    table = _cells(residuals, mount, coupon, side)
    kinds = dict(zip(mount, np.zeros(len(mount)) if kind is None else kind, strict=True)) if table else {}
    spreads = {m: spread for m, rows in table.items() if (spread := _inside(rows)) is not None}
    found = [
        _one_mount(label, rows)
        or _beside_others(label, rows, [own for m, own in spreads.items() if m != label and kinds[m] == kinds[label]])
        for label, rows in table.items()
    ]
    known = [shift for shift in found if shift is not None]
    return tuple(replace(shift, p=min(1.0, shift.p * len(known))) for shift in known)


def _cells(residuals: Array, mount: Labels, coupon: Labels, side: Labels) -> dict[object, list[SideMean]]:
    frame = pd.DataFrame({"mount": mount, "coupon": coupon, "side": side, "value": residuals})
    known = frame[frame["side"].notna() & (frame["side"] != "")]
    means = known.groupby(["mount", "coupon", "side"], sort=False, as_index=False)["value"].mean()
    table: dict[object, list[SideMean]] = {}
    for m, c, s, value in means.itertuples(index=False, name=None):
        table.setdefault(m, []).append((c, s, float(value)))
    return table


def _one_mount(label: object, rows: list[SideMean]) -> SideShift | None:
    sides = sorted({s for _, s, _ in rows}, key=str)
    coupons = sorted({c for c, _, _ in rows}, key=str)
    if len(sides) < 2 or len(rows) < len(sides) + 2:
        return None
    paired = len(rows) > len(coupons)
    design = np.zeros((len(rows), len(sides) - 1 + (len(coupons) if paired else 1)))
    values = np.array([value for _, _, value in rows])
    for i, (c, s, _) in enumerate(rows):
        design[i, coupons.index(c) if paired else 0] = 1.0
        if s != sides[0]:
            design[i, -len(sides) + sides.index(s)] = 1.0
    return _side_test(label, sides, design, values)


def _side_test(label: object, sides: list[object], design: Array, values: Array) -> SideShift | None:
    q = len(sides) - 1
    solution, _, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    free = len(values) - rank
    full = float(np.sum((values - design @ solution) ** 2))
    base = design[:, :-q]
    less = float(np.sum((values - base @ np.linalg.lstsq(base, values, rcond=None)[0]) ** 2))
    if free < 1 or full <= 0 or rank < design.shape[1]:
        return None
    levels = np.concatenate([[0.0], solution[-q:]])
    p = float(special.fdtrc(q, free, (less - full) / q / (full / free)))
    return _shift(label, sides, levels, p)


def _shift(label: object, sides: Sequence[object], levels: Array, p: float) -> SideShift:
    """A mount with its sides at these levels (sides,)."""
    high, low = int(levels.argmax()), int(levels.argmin())
    around = tuple(zip(sides, (levels - levels.mean()).tolist(), strict=True))
    return SideShift(label, sides[high], sides[low], float(levels[high] - levels[low]), p, around)


def _inside(rows: list[SideMean]) -> tuple[int, float] | None:
    """Degrees of freedom and squares of a mount whose coupons were read on one side each; None for any other."""
    if len({coupon for coupon, _, _ in rows}) < len(rows):
        return None
    values = np.array([value for _, _, value in rows])
    return len(values) - 1, float(np.sum((values - values.mean()) ** 2))


def _beside_others(label: object, rows: list[SideMean], inside: Sequence[tuple[int, float]]) -> SideShift | None:
    """Sides of a small mount, one reading of each coupon, against how coupons differ inside the other mounts."""
    sides, place = np.unique([str(side) for _, side, _ in rows], return_inverse=True)
    free, q = sum(own for own, _ in inside), len(sides) - 1
    squares = sum(own for _, own in inside)
    if q < 1 or free < FEWEST_FREE or squares <= 0 or _inside(rows) is None:
        return None
    values = np.array([value for _, _, value in rows])
    each = np.bincount(place)
    levels = np.bincount(place, values) / each
    between = float(np.sum(each * (levels - np.average(levels, weights=each)) ** 2))
    p = float(special.fdtrc(q, free, between / q / (squares / free)))
    return _shift(label, [str(side) for side in sides], levels, p)
