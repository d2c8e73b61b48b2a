"""How many coupons of each nozzle type were cut, lost, and met the requirement: counted here for every page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trials.grade.kinds import GradeKind, Item, Meets
from trials.trial import Outcome
from trials.words.language import text


@dataclass(frozen=True)
class Counts:
    """Coupons of one nozzle type.

    planned = lost + cut + uncut; cut = met + undecided + failed; lost: not severed, aborted or scrapped, counted
    nowhere else; failed_by: failed coupons by what was over its limit; one coupon can fail several.
    """

    nozzle: str
    planned: int
    lost: int
    cut: int
    met: int
    undecided: int
    failed_by: tuple[tuple[Item, int], ...]

    @property
    def uncut(self) -> int:
        """Planned coupons that were left uncut, by a stop rule or for another reason, or are not cut yet."""
        return self.planned - self.lost - self.cut

    @property
    def failed(self) -> int:
        """Cut coupons that do not meet the requirement."""
        return self.cut - self.met - self.undecided


_LOST = (Outcome.NOT_SEVERED, Outcome.ABORTED, Outcome.SCRAPPED)
_ITEMS = (Item.ROUGHNESS, Item.SQUARENESS, Item.DROSS)


def counts(graded: pd.DataFrame, types: Sequence[str]) -> list[Counts]:
    """One line per nozzle type, from graded coupons with `nozzle, outcome, meets, reasons`."""
    return [_of_type(nozzle, graded[graded["nozzle"] == nozzle]) for nozzle in types]


def _of_type(nozzle: str, rows: pd.DataFrame) -> Counts:
    edges = rows[rows["outcome"] == Outcome.CUT]
    failed = edges.loc[edges["meets"] == Meets.NO, "reasons"]
    by = tuple((item, sum(any(_over(reason, item) for reason in found) for found in failed)) for item in _ITEMS)
    return Counts(
        nozzle,
        planned=len(rows),
        lost=int(rows["outcome"].isin(_LOST).sum()),
        cut=len(edges),
        met=int((edges["meets"] == Meets.YES).sum()),
        undecided=int((edges["meets"] == Meets.UNDECIDED).sum()),
        failed_by=tuple((item, n) for item, n in by if n),
    )


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
