"""What to ask before a plan is frozen or cuts are kept; where nobody is asked it is an error."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from trials.doubts import doubt_error, ten_times, trial_doubts
from trials.errors import collected
from trials.findings import Finding
from trials.store.records.changed_setting import parse_changed_setting
from trials.store.records.database import frozen_text
from trials.store.records.folder import read_trial
from trials.store.records.records import rows_of
from trials.trial import parse

if TYPE_CHECKING:
    from trials.store.records import Records
    from trials.store.tables import FileTable


def plan_doubts(folder: Path | str) -> tuple[Finding, ...]:
    """What to ask about the trial file of a folder; raises InputError where it cannot be used."""
    trial, text = read_trial(Path(folder))
    return trial_doubts(trial, text)


def amend_doubts(folder: Path | str) -> tuple[Finding, ...]:
    """What to ask about a changed trial file that was not so when it was frozen."""
    before = frozen_text(folder)
    known = trial_doubts(parse(before, "frozen trial.toml"), before)
    return tuple(doubt for doubt in plan_doubts(folder) if doubt not in known)


def cut_doubts(known: Records, cuts: FileTable) -> tuple[tuple[Finding, int], ...]:
    """Changed settings far from the plan, with their rows; those on record already were asked about."""
    planned = {str(row["coupon"]): row for row in rows_of(known.coupons)}
    recorded = set(known.cuts["coupon"])
    found: list[tuple[Finding, int]] = []
    for number, row in zip(cuts.frame.index, rows_of(cuts.frame), strict=True):
        coupon, text = str(row["coupon"]), row.get("changed_setting") or ""
        if text and coupon in planned and coupon not in recorded:
            changed = parse_changed_setting(text, known.trial)
            before = {**{k: v for k, v in known.trial.held.items() if not isinstance(v, bool)}, **planned[coupon]}
            found += [(doubt, int(str(number))) for doubt in ten_times(coupon, before, changed)]
    return tuple(found)


def refuse(doubts: Sequence[Finding], folder: Path | str) -> None:
    """Raise InputError for all doubts about a trial file at once; nothing where there is none."""
    if doubts:
        file = str(Path(folder) / "trial.toml")
        raise collected([doubt_error(doubt, file) for doubt in doubts])


def refuse_cuts(doubts: Sequence[tuple[Finding, int]], file: str) -> None:
    """The same for rows of a file of cuts."""
    if doubts:
        raise collected([doubt_error(doubt, file, row) for doubt, row in doubts])
