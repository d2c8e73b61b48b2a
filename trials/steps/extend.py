"""Go on with a trial that was cut: further coupons as a block of their own, declared or exploratory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.errors import InputError
from trials.findings import Finding, each_once
from trials.record_kinds import JournalKind
from trials.steps.files import rewrite
from trials.steps.journal import added_block, added_blocks
from trials.store.records import NewQuestion, Records, add_block, entries, load, nearest, retired
from trials.trial import Level, Method, Trial

if TYPE_CHECKING:
    from trials.plan.choose import Plan
    from trials.plan.extend import ExtensionKind

EXTENDABLE = (Method.FULL, Method.FRACTION, Method.SCREENING, Method.SURFACE, Method.OPTIMAL, Method.PILOT)


@dataclass(frozen=True)
class Extension:
    """Further coupons for a trial: block is its number, declared whether a look at the data is left for it; new: marks
    of specimens by type that are new with it."""

    plan: Plan
    block: int
    declared: bool
    new: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def found(self) -> tuple[Finding, ...]:
        """What the reader has to know, most important first."""
        return self.plan.found


def extension(
    folder: Path | str,
    kind: ExtensionKind,
    settings: Sequence[str] = (),
    nozzles: Sequence[str] | None = None,
    by_type: Mapping[str, Mapping[str, Level]] | None = None,
) -> Extension:
    """Choose a further block for a trial that was cut; nothing is written.

    settings: for a confirmation, texts such as `pressure=0.6; standoff=1.2`; factors left out stay at today's;
    by_type: instead of them, one setting for each type.

    Raises
    ------
    InputError
        If nothing is frozen or cut yet, the trial cannot be extended in this way, or a setting cannot be read.
    Infeasible
        If limits or sheets leave no room.
    """
    from trials.plan.confounding import confounded
    from trials.plan.extend import ExtensionRequest, extend

    records = load(folder)
    check_extendable(records)
    trial, block = records.trial, int(records.coupons["block"].max()) + 1
    named = [parse_setting(text, trial) for text in settings]
    gone = frozenset(one.specimen for one in retired(records))
    seed = trial.plan.seed + block
    asked = ExtensionRequest(kind, named, nozzles, seed, gone, by_type or {})
    plan = extend(trial, records.coupons, records.mounts, asked)
    declared = len(records.looks) < trial.plan.looks
    lead, *rest = plan.found
    found = each_once([lead, declaration(records), *confounded(trial), *rest])
    return Extension(replace(plan, found=found), block, declared)


def extension_json(chosen: Extension, added: bool) -> dict[str, Any]:
    """A further block as plain values; keys: schema, added, block, declared, coupons[], said[]."""
    coupons = chosen.plan.coupons
    return {
        "schema": 2,
        "added": added,
        "block": chosen.block,
        "declared": chosen.declared,
        "coupons": coupons.astype(object).where(coupons.notna(), None).to_dict(orient="records"),
        "said": list(chosen.found),
    }


def declaration(records: Records) -> Finding:
    """Whether the answer after a further block counts."""
    from trials.plan.kinds import PlanKind

    looks, done = records.trial.plan.looks, len(records.looks)
    if done < looks:
        return Finding(PlanKind.BLOCK_DECLARED, facts={"left": looks - done, "looks": looks})
    return Finding(PlanKind.BLOCK_EXPLORATORY, facts={"looks": looks})


def add_extension(folder: Path | str, chosen: Extension, who: str, why: str, at: datetime | None = None) -> int:
    """Write a further block into the trial; returns its number.

    Specimens that are new with it are put into the trial file and journalled as an amendment, every other byte as it
    was.

    Raises
    ------
    InputError
        If who or why is missing, the trial has changed since the block was chosen, or the file is laid out so that the
        new specimens cannot be put in.
    """
    check_named(who, why)
    plan = chosen.plan
    tables, question = (plan.coupons, plan.mounts, plan.sheets), _question(Path(folder), chosen.new)
    return add_block(folder, *tables, chosen.declared, why, who, at, said=chosen.found, question=question)


def check_named(who: str, why: str) -> None:
    """Refuse an extension without a name or a reason.

    Raises
    ------
    InputError
        If one of them is empty.
    """
    if not who.strip() or not why.strip():
        raise InputError("an extension needs a name and a reason", do="Give --who and --why.")


def _question(folder: Path, new: Mapping[str, tuple[str, ...]]) -> NewQuestion | None:
    """The trial file with new specimens in it; None where there are none."""
    from trials.plan.settling.lines import Line, put_in

    if not new:
        return None
    file, trial = folder / "trial.toml", load(folder).trial
    pieces = {nozzle.type: nozzle.specimens for nozzle in trial.nozzles}
    lines = tuple(Line("nozzles", "specimens", [*pieces[kind], *marks], kind) for kind, marks in new.items())
    before = file.read_bytes()
    after = put_in(before.decode("utf-8"), lines, str(file))
    return NewQuestion(after, lambda: rewrite(file, before, after.encode("utf-8")))


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


def check_extendable(records: Records) -> None:
    """Refuse a trial for which no further block can be planned.

    Raises
    ------
    InputError
        If nothing is frozen or cut yet, or its method cannot be extended.
    """
    place = str(records.folder)
    if not records.frozen:
        raise InputError("no plan is frozen yet", file=place, do="Choose and freeze coupons with `trials plan`.")
    method = records.trial.plan.method
    if method not in EXTENDABLE:
        raise InputError(
            f"a trial planned as {method.value!r} cannot be extended", file=place, do="Start another with `trials new`."
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
    return replace(_only(records, kept), journal=_journal_of(records, kept))


def _adopted(records: Records) -> bool:
    return records.trial.plan.method is Method.ADOPTED


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


def _journal_of(records: Records, kept: Sequence[int]) -> pd.DataFrame:
    """The journal without the lines of other blocks and what was found about them."""
    inside, keep = True, []
    for entry in entries(records.journal):
        if entry.kind is JournalKind.BLOCK_ADDED:
            inside = added_block(entry).block in kept
        keep.append(inside or entry.kind not in (JournalKind.BLOCK_ADDED, JournalKind.PLAN))
    return records.journal[keep].reset_index(drop=True)


def block_day(records: Records) -> date | None:
    """Day the newest block was added; None where there is only the frozen plan."""
    lines = added_blocks(records)
    return lines[-1].at.date() if lines else None
