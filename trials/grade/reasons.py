"""What was found on each coupon, put into words: why it meets, does not, or stays undecided; and its designation."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.grade import iso9013
from trials.grade.conformity import NO, UNDECIDED, YES
from trials.standards import scope, usual_readings

FINE = "every required value is inside its limit"

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Edges:
    """What was found on each of n coupons: judged values, counts and ranges."""

    u_mm: FloatArray
    rz5_um: FloatArray
    dross: FloatArray
    n_u: npt.NDArray[np.int64]
    n_rz5: npt.NDArray[np.int64]
    squareness: npt.NDArray[np.int64]
    roughness: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Parts:
    """Decision per item (n,), None where nothing is required of it."""

    squareness: npt.NDArray[np.int8] | None
    roughness: npt.NDArray[np.int8] | None
    dross: npt.NDArray[np.int8] | None

    def given(self) -> list[npt.NDArray[np.int8]]:
        """The decisions that were asked for."""
        return [part for part in (self.squareness, self.roughness, self.dross) if part is not None]


def why(
    edge: Edges,
    thickness: FloatArray,
    outcome: npt.NDArray[np.object_],
    parts: Parts,
    meets: npt.NDArray[np.int8],
) -> npt.NDArray[np.object_]:
    """Reasons per coupon (n,) in plain words, joined by `; `; outcome as recorded, `` where not cut yet."""
    whole = {
        "scrapped, not graded": outcome == "scrapped",
        "not cut yet": outcome == "",
        "not severed": outcome == "not_severed",
        "cut aborted": outcome == "aborted",
    }
    is_cut = outcome == "cut"
    reasons = whole | {text: flag & is_cut for text, flag in _edge_reasons(edge, thickness, parts).items()}
    if not parts.given():
        reasons["no requirement stated"] = is_cut
    fine = (meets == YES) & ~np.logical_or.reduce(list(reasons.values()))
    return _joined({FINE: fine} | reasons)


def _edge_reasons(edge: Edges, thickness: FloatArray, parts: Parts) -> dict[str, BoolArray]:
    covered = scope("laser")
    unknown = np.isnan(thickness)
    reasons: dict[str, BoolArray] = {
        "no thickness given": unknown,
        f"thickness outside {covered.low_mm:g} to {covered.high_mm:g} mm, graded by the same formulas": ~unknown
        & ~np.asarray(iso9013.in_scope(thickness)),
        "u worse than range 5": edge.squareness == iso9013.WORSE,
        "Rz5 worse than range 4": edge.roughness == iso9013.WORSE,
    }
    items: list[tuple[str, npt.NDArray[np.int8] | None, FloatArray, str]] = [
        ("u", parts.squareness, edge.u_mm, "not measured"),
        ("Rz5", parts.roughness, edge.rz5_um, "not measured"),
        ("dross", parts.dross, edge.dross, "not graded"),
    ]
    for symbol, part, value, missing in items:
        if part is None:
            continue
        reasons[f"{symbol} over the limit"] = part == NO
        reasons[f"{symbol} too near the limit for the uncertainty of the bench"] = (
            (part == UNDECIDED) & ~np.isnan(value) & ~unknown
        )
        reasons[f"{symbol} {missing}"] = np.isnan(value)
    for symbol, count, response in (("u", edge.n_u, "squareness"), ("Rz5", edge.n_rz5, "roughness")):
        usual = usual_readings()[response].readings
        reasons[f"fewer readings of {symbol} than the usual {usual}"] = (count > 0) & (count < usual)
    return reasons


def _joined(reasons: Mapping[str, BoolArray]) -> npt.NDArray[np.object_]:
    """Texts whose flag is set, joined per row; only as many strings are built as there are combinations."""
    texts = list(reasons)
    codes = np.zeros(len(next(iter(reasons.values()))), dtype=np.int64)
    for bit, text in enumerate(texts):
        codes |= reasons[text].astype(np.int64) << bit
    return _lookup(codes, lambda code: "; ".join(text for bit, text in enumerate(texts) if code >> bit & 1))


def _lookup(codes: npt.NDArray[np.int64], words: Callable[[int], str]) -> npt.NDArray[np.object_]:
    """Text of each code (n,), each distinct one made once."""
    places, distinct = pd.factorize(codes)
    return np.array([words(int(code)) for code in distinct], dtype=object)[places]


def designations(edge: Edges, thickness: FloatArray, outcome: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Designation per coupon (n,), or `none: ...` with the reason."""
    covered = scope("laser")
    inside = np.asarray(iso9013.in_scope(thickness)) | np.isnan(thickness)
    codes = ((edge.squareness + 1) * 10 + edge.roughness + 1) * 2 + inside
    words = _lookup(
        codes,
        lambda code: iso9013.designation(
            code // 2 // 10 - 1, code // 2 % 10 - 1, covered.low_mm if code % 2 else covered.high_mm + 1
        ),
    )
    return np.where(outcome == "cut", words, "none: no edge to grade")
