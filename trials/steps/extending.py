"""Going on with a trial that was cut: further coupons as a block of their own, declared or exploratory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from trials.errors import InputError
from trials.store.records import database
from trials.store.records.changed_setting import nearest
from trials.store.records.records import Records
from trials.trial import Level, Trial

if TYPE_CHECKING:
    from trials.plan.choose import Plan
    from trials.plan.extend import Kind

EXTENDABLE = ("full", "fraction", "screening", "surface", "optimal", "pilot")
ADDED = "block added"
"""Kind of the journal's line for a further block."""


@dataclass(frozen=True)
class Extension:
    """Further coupons for a trial: block is its number, declared whether a look at the data is left for it."""

    plan: Plan
    block: int
    declared: bool
    said: tuple[str, ...]


def extension(
    folder: Path | str, kind: Kind, settings: Sequence[str] = (), nozzles: Sequence[str] | None = None
) -> Extension:
    """Choose a further block for a trial that was cut; nothing is written.

    settings: for "confirm", texts such as `pressure=0.6; standoff=1.2`; factors left out stay at today's.

    Raises
    ------
    InputError
        If nothing is frozen or cut yet, the trial cannot be extended in this way, or a setting cannot be read.
    Infeasible
        If limits or sheets leave no room.
    """
    from trials.plan.choose import confounded
    from trials.plan.extend import extend

    records = database.load(folder)
    _check(records)
    named = [parse_setting(text, records.trial) for text in settings]
    block = int(records.coupons["block"].max()) + 1
    seed = records.trial.plan.seed + block
    plan = extend(records.trial, records.coupons, records.mounts, kind, named, nozzles, seed)
    declared = len(records.looks) < records.trial.plan.looks
    lead, *rest = plan.said
    said = (lead, declared_words(records, declared), *confounded(records.trial), *rest)
    return Extension(plan, block, declared, tuple(dict.fromkeys(said)))


def declared_words(records: Records, declared: bool) -> str:
    """Whether the answer after this block counts, in one sentence."""
    looks, done = records.trial.plan.looks, len(records.looks)
    if declared:
        left = looks - done
        many = "1 look at the data is" if left == 1 else f"{left} looks at the data are"
        return f"Declared: {many} left of the {looks} stated before cutting, so the next answer counts in full."
    taken = (
        "the one look at the data stated before cutting has" if looks == 1 else "all looks stated before cutting have"
    )
    return f"Exploratory: {taken} been taken; the first verdict stands, and what comes after is labelled so."


def add_extension(folder: Path | str, chosen: Extension, who: str, why: str, at: datetime | None = None) -> int:
    """Write a further block into the trial; returns its number.

    Raises
    ------
    InputError
        If who or why is missing, or the trial has changed since the block was chosen.
    """
    if not who.strip() or not why.strip():
        raise InputError("an extension needs a name and a reason", do="Give --who and --why.")
    plan = chosen.plan
    return database.add_block(
        folder, plan.coupons, plan.mounts, plan.sheets, chosen.declared, why, who, at, said=chosen.said
    )


def parse_setting(text: str, trial: Trial) -> dict[str, Level]:
    """`pressure=0.6; standoff=1.2` as factor -> level; a factor may be named by its column too (pressure_bar).

    Raises
    ------
    InputError
        If a part is not `factor=value`, names no factor, or names one twice.
    """
    names = {name: name for name in trial.factors} | {trial.factor_column(name): name for name in trial.factors}
    found: dict[str, Level] = {}
    for part in text.split(";"):
        name, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not value:
            raise InputError(
                "not a setting",
                column="--confirm",
                found=part.strip(),
                allowed="pressure=0.6; standoff=1.2",
                do="Fix it.",
            )
        if name not in names:
            hint = nearest(name, list(trial.factors))
            allowed = ", ".join(trial.factors) or "none, nothing is varied in this trial"
            raise InputError(
                "no such factor", column="--confirm", found=name, allowed=allowed, do=hint or "Correct it."
            )
        if names[name] in found:
            raise InputError("a factor is set twice", column="--confirm", found=name, do="Name each factor once.")
        found[names[name]] = _level(value, trial, names[name])
    return found


def _level(value: str, trial: Trial, name: str) -> Level:
    if trial.factors[name].is_text:
        return value
    try:
        return float(value)
    except ValueError:
        raise InputError(f"{name} needs a number", column="--confirm", found=value, do="Correct it.") from None


def _check(records: Records) -> None:
    place = str(records.folder)
    if not records.frozen:
        raise InputError("no plan is frozen yet", file=place, do="Choose and freeze coupons with `trials plan`.")
    method = records.trial.plan.method
    if method not in EXTENDABLE:
        raise InputError(
            f"a trial planned as {method!r} cannot be extended", file=place, do="Start another with `trials new`."
        )
    if not len(records.cuts):
        raise InputError(
            "nothing of this trial is cut yet", file=place, do="Cut and record it first, or plan another trial."
        )


def newest_block(records: Records) -> Records:
    """The same trial with only the coupons, mounts and sheets of its newest block; itself where there is one block."""
    if _adopted(records) or records.coupons["block"].nunique() < 2:
        return records
    return _only(records, [int(records.coupons["block"].max())])


def begun(records: Records) -> Records:
    """The same trial without added blocks of which nothing is cut yet: they are no part of what was found."""
    if _adopted(records) or not len(records.coupons):
        return records
    done = set(records.coupons.loc[records.coupons["coupon"].isin(set(records.cuts["coupon"])), "block"])
    kept = [number for number in records.coupons["block"].unique() if number == 1 or number in done]
    if len(kept) == records.coupons["block"].nunique():
        return records
    return replace(_only(records, kept), journal=_journal_of(records.journal, kept))


def _adopted(records: Records) -> bool:
    return records.trial.plan.method == "adopted"


def _only(records: Records, kept: Sequence[int]) -> Records:
    """Only these blocks; mounts and sheets that were added at the machine stay."""
    inside = records.coupons["block"].isin(kept)
    coupons, gone = records.coupons[inside].reset_index(drop=True), records.coupons[~inside]
    return replace(
        records,
        coupons=coupons,
        mounts=_without(records.mounts, "mount", gone),
        sheets=_without(records.sheets, "sheet", gone),
        planned_mounts=_without(records.planned_mounts, "mount", gone),
        planned_sheets=_without(records.planned_sheets, "sheet", gone),
    )


def _without(rows: pd.DataFrame, mark: str, gone: pd.DataFrame) -> pd.DataFrame:
    return rows[~rows[mark].isin(set(gone[mark]))].reset_index(drop=True)


def _journal_of(journal: pd.DataFrame, kept: Sequence[int]) -> pd.DataFrame:
    """The journal without the lines of other blocks and what was said about them."""
    inside, keep = True, []
    for row in journal.itertuples():
        if row.kind == ADDED:
            inside = any(row.what.startswith(f"block {number},") for number in kept)
        keep.append(inside or row.kind not in (ADDED, "plan"))
    return journal[keep].reset_index(drop=True)


def blocks(records: Records) -> list[dict[str, object]]:
    """Blocks of a trial: block, coupons, cut, added_on (ISO date), declared (None for the first), who, why.

    None of an adopted table, whose blocks are its own.
    """
    if _adopted(records):
        return []
    lines = [row for row in records.journal.itertuples() if row.kind == ADDED]
    done = set(records.cuts["coupon"])
    found: list[dict[str, object]] = []
    for number, rows in records.coupons.groupby("block"):
        line = next((row for row in lines if row.what.startswith(f"block {number},")), None)
        found.append(
            {
                "block": int(number),
                "coupons": len(rows),
                "cut": int(rows["coupon"].isin(done).sum()),
                "added_on": (line.at if line else records.frozen_at)[:10],
                "declared": None if line is None else "not declared" not in line.what,
                "who": line.who if line else "",
                "why": line.why if line else "",
            }
        )
    return found


def block_day(records: Records) -> date | None:
    """Day the newest block was added; None where there is only the frozen plan."""
    lines = [row for row in records.journal.itertuples() if row.kind == ADDED]
    return datetime.fromisoformat(lines[-1].at).date() if lines else None
