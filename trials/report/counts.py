"""How many coupons of each nozzle type were cut, lost, and met the requirement: counted here for every page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pandas as pd

from trials.grade.kinds import GradeKind, Item, Meets
from trials.trial import Outcome
from trials.words.language import text


@dataclass(frozen=True)
class Counts:
    """Coupons of one nozzle type.

    planned = lost + cut + uncut; cut = met + undecided + not judged + failed; lost: not severed, aborted or scrapped,
    counted nowhere else; undecided: too near a limit to say; not judged: nothing was required, or it was not measured;
    failed_by: failed coupons by what was over its limit; one coupon can fail several.
    """

    nozzle: str
    planned: int
    lost: int
    cut: int
    met: int
    undecided: int
    not_judged: int
    failed_by: tuple[tuple[Item, int], ...]

    @property
    def uncut(self) -> int:
        """Planned coupons that were left uncut, by a stop rule or for another reason, or are not cut yet."""
        return self.planned - self.lost - self.cut

    @property
    def failed(self) -> int:
        """Cut coupons that do not meet the requirement."""
        return self.cut - self.met - self.undecided - self.not_judged


_LOST = (Outcome.NOT_SEVERED, Outcome.ABORTED, Outcome.SCRAPPED)
_NEAR = frozenset({GradeKind.NEAR_LIMIT, GradeKind.BEYOND_RANGE})
_NOT_JUDGED = frozenset({GradeKind.NO_REQUIREMENT, GradeKind.NO_THICKNESS, GradeKind.NOT_MEASURED})
_ITEMS = (Item.ROUGHNESS, Item.SQUARENESS, Item.DROSS)


def counts(graded: pd.DataFrame, types: Sequence[str]) -> list[Counts]:
    """One line per nozzle type, from graded coupons with `nozzle, outcome, meets, reasons`."""
    return [_of_type(nozzle, graded[graded["nozzle"] == nozzle]) for nozzle in types]


def _of_type(nozzle: str, rows: pd.DataFrame) -> Counts:
    edges = rows[rows["outcome"] == Outcome.CUT]
    failed, undecided = (edges.loc[edges["meets"] == answer, "reasons"] for answer in (Meets.NO, Meets.UNDECIDED))
    not_judged = sum(map(_not_judged, undecided))
    by = tuple((item, sum(any(_over(reason, item) for reason in found) for found in failed)) for item in _ITEMS)
    return Counts(
        nozzle,
        planned=len(rows),
        lost=int(rows["outcome"].isin(_LOST).sum()),
        cut=len(edges),
        met=int((edges["meets"] == Meets.YES).sum()),
        undecided=len(undecided) - not_judged,
        not_judged=not_judged,
        failed_by=tuple((item, n) for item, n in by if n),
    )


def _not_judged(reasons: Iterable[object]) -> bool:
    kinds = {getattr(reason, "kind", None) for reason in reasons}
    return bool(kinds & _NOT_JUDGED) and not kinds & _NEAR


def _over(reason: object, item: Item) -> bool:
    kind, about = getattr(reason, "kind", None), getattr(reason, "about", None)
    return kind == GradeKind.OVER_LIMIT and getattr(about, "response", "") == item


def failed_words(found: Counts) -> str:
    """`12: Rz5 10, u 3`; the count alone where nothing failed."""
    if not found.failed:
        return "0"
    names = {Item.ROUGHNESS: "Rz5", Item.SQUARENESS: "u", Item.DROSS: text("dross")}
    parts = ", ".join(f"{names[item]}\u00a0{n}" for item, n in found.failed_by)
    return text("{n}: {parts}", n=found.failed, parts=parts) if parts else str(found.failed)
