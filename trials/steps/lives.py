"""Lives of nozzles or lenses: from a plain table, or from the records of a life trial, to a study and its paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.endings import Ended
from trials.errors import InputError
from trials.findings import Finding
from trials.responses import Scale
from trials.steps.files import plain, write_bytes
from trials.store.intake.lives import LifeColumns, StoredLives, note_says_good, read_table_of_lives
from trials.trial import Method, Trial
from trials.worthwhile import amount_on_scale

if TYPE_CHECKING:
    from trials.decide.lives import LivesAnswer
    from trials.infer.answer import Levels
    from trials.store.records.records import Records

__all__ = ["LifeColumns", "Lives", "lives_json", "read_lives", "recorded_lives", "study_table", "write_lives"]


@dataclass(frozen=True)
class Lives:
    """A table of lives and what is known of it.

    frame: `nozzle, specimen, life, ended` (an `Ended`), one row per piece; unit: of a life; file: where it came from;
    today: the type in use, empty where the table does not say; worthwhile: share by which a life has to be longer to
    matter; primaries, looks: by which the confidence is shared out; invented: no real
    specimen; said: what was found while reading.
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

    records = load(folder)
    trial = records.trial
    if trial.plan.method != Method.LIFE:
        raise InputError(
            "this trial was not planned for lives",
            file=str(folder),
            do="Give `trials life` a table of lives (nozzle, specimen, hours, ended).",
        )
    name = trial.primaries[0]
    table, noted = _longest(records, name, str(folder))
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
    )


def _longest(records: Records, name: str, file: str) -> tuple[pd.DataFrame, int]:
    """One row per coupon of a life trial, the longest life read on it; and how many ends stood in a note."""
    from trials.store.records.as_cut import coupon_table

    rows = records.readings[
        (records.readings["field"] == records.trial.quantity(name).column) & (records.readings["repeat"] == 0)
    ]
    if not len(rows):
        raise InputError("no lives are recorded yet", file=file, do="Record them with `trials record`.")
    coupons = coupon_table(records).set_index("coupon")
    longest = rows.sort_values("value").drop_duplicates("coupon", keep="last")
    marks = longest["coupon"].to_numpy()
    old = [not end and note_says_good(note) for end, note in zip(longest["ended"], longest["note"], strict=True)]
    ends = [
        Ended(end) if end else Ended.TAKEN_OFF_GOOD if good else Ended.NOT_SAID
        for end, good in zip(longest["ended"], old, strict=True)
    ]
    table = pd.DataFrame(
        {
            "nozzle": coupons.loc[marks, "nozzle"].to_numpy(),
            "specimen": coupons.loc[marks, "specimen"].to_numpy(),
            "life": longest["value"].to_numpy(float),
            "ended": pd.Series(ends, dtype=object).to_numpy(),
        }
    )
    order = {nozzle: i for i, nozzle in enumerate(records.trial.types)}
    table = table.sort_values("nozzle", key=lambda column: column.map(order), kind="stable").reset_index(drop=True)
    return table, sum(old)


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


def study_table(
    table: Lives, today: str = "", quantiles: Sequence[float] = (0.1, 0.5), shape: float | None = None
) -> LivesAnswer:
    """Study lives and answer; today's type is the one the table names, else the first in it, unless named."""
    from trials.decide.lives import answer_lives
    from trials.infer.life import study_lives

    frame = table.frame
    types, ended = frame["nozzle"].astype(str).tolist(), frame["ended"].tolist()
    study = study_lives(
        frame["life"].tolist(),
        [end.failed for end in ended],
        types,
        today or table.today or types[0],
        quantiles,
        shape,
        _levels(table),
    )
    return answer_lives(study, table.unit, table.worthwhile, types, ended, table.said)


def _levels(table: Lives) -> Levels:
    from trials.infer.answer import levels

    return levels(table.primaries, table.looks)


def lives_json(found: LivesAnswer, file: Path | None = None) -> dict[str, Any]:
    """A study of lives as plain values, its sentences beside its fields; keys are listed in DEVELOPERS.md."""
    from trials.words import lives as words

    study: dict[str, Any] = plain(found.study)
    for key, ratios in (("ratios", found.study.ratios), ("own_shapes", found.study.own_shapes)):
        study[key] = [row | {"words": words.ratio_note(r)} for row, r in zip(study[key], ratios, strict=True)]
    return study | {
        "schema": 2,
        "unit": found.unit,
        "worthwhile": found.worthwhile,
        "comparisons": [plain(c) | {"settings": ""} for c in found.comparisons],
        "ends": [{"nozzle": each.nozzle, **{end.value: n for end, n in each.counts.items()}} for each in found.ends],
        "sentences": list(words.sentences(found)),
        "cautions": list(words.cautions(found)),
        "findings": plain((*found.study.said, *found.said, *found.study.cautions)),
        "file": None if file is None else str(file),
    }


def write_lives(table: Lives, found: LivesAnswer, path: Path, made_on: date) -> None:
    """Write the study as PDF, or only its picture where the name ends in .svg."""
    from trials.report.life_paper import life_pdf, life_picture

    if path.suffix.lower() == ".svg":
        write_bytes(path, life_picture(table.frame, found).svg.encode())
        return
    if path.suffix.lower() != ".pdf":
        raise InputError("not a name for the paper", found=str(path), allowed=".pdf, .svg", do="Change the name.")
    write_bytes(path, life_pdf(table.frame, found, made_on, table.invented))
