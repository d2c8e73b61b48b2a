"""Why each coupon meets the requirement, does not, or stays undecided; and its designation."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.findings import About, Finding
from trials.grade import iso9013
from trials.grade.conformity import NO, UNDECIDED, YES
from trials.grade.kinds import GradeKind, Item
from trials.standards import scope, usual_readings
from trials.trial import Outcome

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Flagged = tuple[Finding, BoolArray]
WITHOUT_EDGE = {
    Outcome.SCRAPPED: GradeKind.SCRAPPED,
    Outcome.NOT_CUT: GradeKind.NOT_CUT,
    Outcome.NOT_SEVERED: GradeKind.NOT_SEVERED,
    Outcome.ABORTED: GradeKind.ABORTED,
}


@dataclass(frozen=True)
class Edges:
    """What was found on each of n coupons: judged values, counts and ranges.

    above, below: by item, coupons whose judged value may be higher (lower) than it stands, since a reading was beyond
    the range of its instrument.
    """

    u_mm: FloatArray
    rz5_um: FloatArray
    dross: FloatArray
    n_u: npt.NDArray[np.int64]
    n_rz5: npt.NDArray[np.int64]
    squareness: npt.NDArray[np.int64]
    roughness: npt.NDArray[np.int64]
    above: Mapping[str, BoolArray] = field(default_factory=dict)
    below: Mapping[str, BoolArray] = field(default_factory=dict)

    def open_ended(self, part: npt.NDArray[np.int8], item: str) -> BoolArray:
        """Where a decision (n,) rests on a bound of the instrument's range that leaves it open."""
        nowhere = np.zeros(len(part), dtype=bool)
        above, below = self.above.get(item, nowhere), self.below.get(item, nowhere)
        return np.asarray((above & (part != NO)) | (below & ~above & (part != YES)))


@dataclass(frozen=True)
class Parts:
    """Decision per item (n,), None where nothing is required of it."""

    squareness: npt.NDArray[np.int8] | None
    roughness: npt.NDArray[np.int8] | None
    dross: npt.NDArray[np.int8] | None

    def given(self) -> list[npt.NDArray[np.int8]]:
        """The decisions that were asked for."""
        return [part for part in (self.squareness, self.roughness, self.dross) if part is not None]


def reasons_of(
    edge: Edges,
    thickness: FloatArray,
    outcome: npt.NDArray[np.object_],
    parts: Parts,
    meets: npt.NDArray[np.int8],
) -> npt.NDArray[np.object_]:
    """Reasons per coupon (n,), each a tuple of findings; outcome as recorded, `` where not cut yet."""
    flagged: list[Flagged] = [(Finding(kind), outcome == known) for known, kind in WITHOUT_EDGE.items()]
    flagged.append((Finding(GradeKind.NOT_CUT_YET), outcome == ""))
    is_cut = outcome == Outcome.CUT
    flagged += [(finding, flag & is_cut) for finding, flag in _on_the_edge(edge, thickness, parts)]
    if not parts.given():
        flagged.append((Finding(GradeKind.NO_REQUIREMENT), is_cut))
    fine = (meets == YES) & ~np.logical_or.reduce([flag for _, flag in flagged])
    return _gathered([(Finding(GradeKind.ALL_INSIDE), fine), *flagged])


def _on_the_edge(edge: Edges, thickness: FloatArray, parts: Parts) -> Iterator[Flagged]:
    unknown = np.isnan(thickness)
    yield Finding(GradeKind.NO_THICKNESS), unknown
    yield iso9013.out_of_scope(), ~unknown & ~np.asarray(iso9013.in_scope(thickness))
    yield iso9013.worse_than_last(Item.SQUARENESS), edge.squareness == iso9013.WORSE
    yield iso9013.worse_than_last(Item.ROUGHNESS), edge.roughness == iso9013.WORSE
    for item, part, value in (
        (Item.SQUARENESS, parts.squareness, edge.u_mm),
        (Item.ROUGHNESS, parts.roughness, edge.rz5_um),
        (Item.DROSS, parts.dross, edge.dross),
    ):
        if part is None:
            continue
        missing = np.isnan(value)
        bound = edge.open_ended(part, item)
        yield _about(GradeKind.OVER_LIMIT, item), part == NO
        yield _about(GradeKind.NEAR_LIMIT, item), (part == UNDECIDED) & ~missing & ~unknown & ~bound
        yield _about(GradeKind.BEYOND_RANGE, item), bound & ~missing & ~unknown
        yield _about(GradeKind.NOT_MEASURED, item), missing
    for item, count in ((Item.SQUARENESS, edge.n_u), (Item.ROUGHNESS, edge.n_rz5)):
        usual = usual_readings()[item].readings
        few = Finding(GradeKind.FEW_READINGS, About(response=item), {"usual": usual})
        yield few, (count > 0) & (count < usual)


def _about(kind: GradeKind, item: Item) -> Finding:
    return Finding(kind, About(response=item))


def _gathered(flagged: list[Flagged]) -> npt.NDArray[np.object_]:
    """Findings whose flag is set, one tuple per row; only as many tuples are built as there are combinations."""
    codes = np.zeros(len(flagged[0][1]), dtype=np.int64)
    for bit, (_, flag) in enumerate(flagged):
        codes |= flag.astype(np.int64) << bit
    return _lookup(codes, lambda code: tuple(finding for bit, (finding, _) in enumerate(flagged) if code >> bit & 1))


def _lookup(codes: npt.NDArray[np.int64], make: Callable[[int], object]) -> npt.NDArray[np.object_]:
    """What each code (n,) stands for, made once for each distinct one."""
    places, distinct = pd.factorize(codes)
    made = np.empty(len(distinct), dtype=object)
    for place, code in enumerate(distinct):
        made[place] = make(int(code))
    found: npt.NDArray[np.object_] = made[places]
    return found


def designations(edge: Edges, thickness: FloatArray, outcome: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """`trials.grade.iso9013.Designation` of each coupon (n,)."""
    covered = scope("laser")
    inside = np.asarray(iso9013.in_scope(thickness)) | np.isnan(thickness)
    codes = ((edge.squareness + 1) * 10 + edge.roughness + 1) * 2 + inside
    codes = np.where(outcome == Outcome.CUT, codes, -1)
    nothing = iso9013.Designation("", (Finding(GradeKind.NO_EDGE),))

    def made(code: int) -> iso9013.Designation:
        thickness_mm = covered.low_mm if code % 2 else covered.high_mm + 1
        return iso9013.designation(code // 2 // 10 - 1, code // 2 % 10 - 1, thickness_mm)

    return _lookup(codes, lambda code: nothing if code < 0 else made(code))


def counted(reasons: Iterable[tuple[Finding, ...]]) -> list[tuple[tuple[Finding, ...], int]]:
    """Different sets of reasons with how many coupons have each, the most frequent first."""
    found: list[tuple[tuple[Finding, ...], int]] = []
    for one in reasons:
        place = next((i for i, (known, _) in enumerate(found) if known == one), None)
        if place is None:
            found.append((one, 1))
        else:
            found[place] = (one, found[place][1] + 1)
    return sorted(found, key=lambda pair: -pair[1])
