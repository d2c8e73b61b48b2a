"""A table that was cut without this tool becomes a trial."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trials.findings import Amount, Finding
from trials.record_kinds import RecordKind
from trials.store import intake
from trials.store.intake import Adoption, Keys

__all__ = ["Adopted", "Adoption", "Keys", "adopt"]


@dataclass(frozen=True)
class Adopted:
    """A table that was adopted: where to, how many coupons and readings, what is not known or was taken for granted."""

    folder: Path
    coupons: int
    readings: int
    remarks: tuple[Finding, ...]


def adopt(folder: Path | str, table: Path | str, said: Adoption, who: str = "") -> Adopted:
    """Make a trial folder from a table with one row per reading; see `Adoption` for what is said about it.

    Raises
    ------
    InputError
        If the table cannot be used or the folder holds a trial already. Nothing is written then.
    """
    found = intake.adopt(folder, table, said, who)
    assumed = Finding(RecordKind.WORTHWHILE_ASSUMED, facts={"share": Amount(intake.ASSUMED_WORTHWHILE, "%")})
    remarks = (Finding(RecordKind.ORDER_NOT_RANDOM), *(() if said.worthwhile else (assumed,)))
    return Adopted(Path(folder), len(found.coupons), len(found.readings), remarks)
