"""Tables of lives: a plain file, the records of a life trial, and lives kept in one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from trials.endings import Ended, Part
from trials.errors import InputError
from trials.findings import Finding
from trials.responses import Scale
from trials.store.intake.lives import LifeColumns, StoredLives, note_says_good, read_table_of_lives
from trials.trial import Method, Trial
from trials.worthwhile import amount_on_scale

if TYPE_CHECKING:
    from trials.store.records.records import Records

__all__ = ["LifeColumns", "Lives", "LivesKept", "read_lives", "record_lives", "recorded_lives"]


@dataclass(frozen=True)
class Lives:
    """A table of lives and what is known of it.

    frame: `nozzle, specimen, part, life, ended, cleaned, refitted` (a `Part`, an `Ended`, counts), one row per piece;
    unit: of a life; file: where it came from; today: the type in use, empty where the table does not say; worthwhile:
    share by which a life has to be longer to matter; primaries, looks: by which the confidence is shared out; invented:
    no real specimen; said: what was found while reading; prices: of a nozzle by type, in the currency, where known;
    records: of a life trial, None for a table; open_readings: that may be slips of the pen.
    """

    frame: pd.DataFrame
    unit: str
    file: str
    today: str = ""
    worthwhile: float | None = None
    primaries: int = 1
    looks: int = 1
    invented: bool = False
    said: tuple[Finding, ...] = ()
    prices: Mapping[str, float | None] = field(default_factory=dict)
    currency: str = ""
    records: Records | None = None
    open_readings: tuple[Finding, ...] = ()


def read_lives(path: Path | str, columns: LifeColumns | None = None, worthwhile: str = "") -> Lives:
    """A table of lives: nozzle, specimen, life, and failed (yes, no) or ended.

    worthwhile: how much longer a life has to be to matter, such as `25 %`; empty: not declared.

    Raises
    ------
    InputError
        For a missing column, an empty cell, a life that is no number above zero, a specimen listed twice, types that
        differ only in case or spaces, a worthwhile difference that is no share.
    """
    found: StoredLives = read_table_of_lives(path, columns or LifeColumns())
    return Lives(found.frame, found.unit, found.file, worthwhile=_share(worthwhile))


def _share(text: str) -> float | None:
    """`25 %` as 0.25, None where it is empty."""
    if not text.strip():
        return None
    from trials.units import parse_amount

    try:
        value, unit = parse_amount(text)
    except ValueError:
        value, unit = -1.0, ""
    if unit != "%" or not 0 < value < 100:
        raise InputError(
            "not a worthwhile difference of lives",
            column="--worthwhile",
            found=text,
            allowed="a share below 100 %, such as 25 %",
            do="Say how much longer a life has to be to matter.",
        )
    return value / 100.0


def recorded_lives(folder: Path | str) -> Lives:
    """Lives of a trial planned for them, as `read_lives` gives them.

    A life without an end on record had failed, unless its note says `still good`: so records were kept before there
    was a column for it, and a finding says so.

    Raises
    ------
    InputError
        If the trial was not planned for lives, or none is recorded.
    """
    from trials.steps.load import load
    from trials.store.records.slips import open_slips

    records = load(folder)
    trial = records.trial
    if trial.plan.method != Method.LIFE:
        raise InputError(
            "this trial was not planned for lives",
            file=str(folder),
            do="Give `trials life` a table of lives (nozzle, specimen, hours, ended).",
        )
    name = trial.primaries[0]
    table, noted = _lives_on_record(records, str(folder))
    return Lives(
        frame=table,
        unit=trial.quantity(name).unit,
        file=str(folder),
        today=trial.today.type,
        worthwhile=_worthwhile(trial, name),
        primaries=len(trial.primaries),
        looks=trial.plan.looks,
        invented=trial.trial.invented,
        said=_noted(noted),
        prices={nozzle.type: nozzle.price for nozzle in trial.nozzles},
        currency=trial.trial.currency,
        records=records,
        open_readings=tuple(slip.finding for slip in open_slips(records)),
    )


def _lives_on_record(records: Records, file: str) -> tuple[pd.DataFrame, int]:
    """One row per nozzle of a life trial, the longest life read on its coupon, and one per lens and window.

    Also how many ends stood in a note.
    """
    from trials.store.records.as_cut import coupon_table
    from trials.store.records.rules import life_quantities

    rows = records.readings[records.readings["repeat"] == 0]
    coupons = coupon_table(records).set_index("coupon")
    parts, noted = [], 0
    for part, fields in life_quantities(records.trial).items():
        lives = rows[rows["field"] == fields.life.column]
        if part is Part.NOZZLE:
            lives = lives.sort_values("value").drop_duplicates("coupon", keep="last")
        if not len(lives):
            continue
        marks = lives["coupon"].to_numpy()
        ends, old = _ends(lives)
        noted += old
        counts = {
            name: _counts(rows[rows["field"] == field.column], lives, whole_coupon=part is Part.NOZZLE)
            for name, field in (("cleaned", fields.cleaned), ("refitted", fields.refitted))
        }
        table = {
            "nozzle": coupons.loc[marks, "nozzle"].to_numpy(),
            "specimen": coupons.loc[marks, "specimen"].to_numpy(),
        }
        table |= {"part": pd.Series([part] * len(marks), dtype=object), "life": lives["value"].to_numpy(float)}
        parts.append(pd.DataFrame({**table, "ended": pd.Series(ends, dtype=object), **counts}))
    if not parts or parts[0]["part"].iloc[0] is not Part.NOZZLE:
        raise InputError("no lives are recorded yet", file=file, do="Record them: `trials life FOLDER lives.csv`.")
    order = {nozzle: i for i, nozzle in enumerate(records.trial.types)}
    table_of_all = pd.concat(parts, ignore_index=True)
    by_type = table_of_all.sort_values("nozzle", key=lambda column: column.map(order), kind="stable")
    return by_type.reset_index(drop=True), noted


def _ends(lives: pd.DataFrame) -> tuple[list[Ended], int]:
    """How each life ended; and of how many only a note says that they were still good."""
    old = [not end and note_says_good(note) for end, note in zip(lives["ended"], lives["note"], strict=True)]
    ends = [
        Ended(end) if end else Ended.TAKEN_OFF_GOOD if good else Ended.NOT_SAID
        for end, good in zip(lives["ended"], old, strict=True)
    ]
    return ends, sum(old)


def _counts(rows: pd.DataFrame, lives: pd.DataFrame, whole_coupon: bool) -> list[int]:
    """A count read beside each life: the largest of its coupon, or that of the same reading; 0 where none is."""
    key = ["coupon"] if whole_coupon else ["coupon", "reading"]
    known = {
        one if isinstance(one, tuple) else (one,): int(value)
        for one, value in rows.groupby(key, sort=False)["value"].max().items()
    }
    return [known.get(tuple(row), 0) for row in lives[key].itertuples(index=False, name=None)]


def _worthwhile(trial: Trial, name: str) -> float | None:
    """The worthwhile difference of a life response as a share of a life, whatever scale the trial file gives it."""
    import math

    asked = trial.responses[name]
    if asked.worthwhile is None:
        return None
    on_log = replace(trial.quantity(name), scale=Scale.LOG)
    level = asked.expected.level if asked.expected else None
    return math.expm1(amount_on_scale(asked.worthwhile, on_log, level, f"responses.{name}.worthwhile"))


def _noted(lives: int) -> tuple[Finding, ...]:
    from trials.decide.lives import LivesKind

    return (Finding(LivesKind.NOTE_MEANS_GOOD, facts={"lives": lives}),) if lives else ()


@dataclass(frozen=True)
class LivesKept:
    """What a table of lives brought: values added and known before, remarks, and what to look at again."""

    added: int
    known: int
    remarks: tuple[Finding, ...]
    slips: tuple[Finding, ...]


def record_lives(
    folder: Path | str,
    file: Path | str,
    columns: LifeColumns | None = None,
    who: str = "",
    at: datetime | None = None,
    dry_run: bool = False,
) -> LivesKept:
    """Keep a table of lives in a life trial, as readings of its specimens; nothing on record is changed.

    at: moment of the entry; now if None. dry_run: everything is checked and counted, and nothing is kept.

    Raises
    ------
    InputError
        If the trial was not planned for lives, or a cell cannot be used; all cells are named, and nothing is written.
    """
    from trials.steps.load import load
    from trials.store import records
    from trials.store.intake.life_readings import read_life_readings

    rows = read_life_readings(file, load(folder), columns)
    done = records.record_readings(folder, rows, who, at=at, dry_run=dry_run)
    return LivesKept(done.added, done.ignored, done.said, tuple(slip.finding for slip in done.slips))
