"""Lives of nozzles or lenses: from a plain table, or from the records of a life trial, to a study and its paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.endings import Part
from trials.errors import InputError, TrialError
from trials.findings import Finding, Weight
from trials.steps.files import plain, write_bytes
from trials.steps.life_tables import LifeColumns, Lives, LivesKept, read_lives, record_lives, recorded_lives

if TYPE_CHECKING:
    from trials.decide.lives import LivesAnswer
    from trials.decide.typical_life import TypicalLife
    from trials.infer.answer import Levels

__all__ = [
    "LifeColumns",
    "Lives",
    "LivesKept",
    "lives_json",
    "lives_of_trial",
    "read_lives",
    "record_lives",
    "recorded_lives",
    "study_table",
    "write_lives",
]


def study_table(
    table: Lives, today: str = "", quantiles: Sequence[float] = (0.1, 0.5), shape: float | None = None
) -> LivesAnswer:
    """Study lives and answer; today's type is the one the table names, else the first in it, unless named.

    Lives of lens and window are studied beside those of the nozzle, by the nozzle type they served; where the table has
    no lives of nozzles, the first part in it takes their place.
    """
    frame = table.frame
    parts = [Part(part) for part in Part if part in set(frame["part"])] if "part" in frame else [Part.NOZZLE]
    first, *others = parts
    chosen = today or table.today or str(_of(frame, first)["nozzle"].iloc[0])
    asked = _Asked(chosen, tuple(quantiles), shape)
    found = _study_part(table, first, asked)
    beside, said = [], list[Finding]()
    for part in others:
        try:
            beside.append(_study_part(table, part, asked))
        except TrialError:
            said.append(_not_studied(part, len(_of(frame, part))))
    whole = replace(found, beside=tuple(beside), said=(*found.said, *said), open_readings=table.open_readings)
    return replace(whole, prices=table.prices, currency=table.currency) if found.part is Part.NOZZLE else whole


@dataclass(frozen=True)
class _Asked:
    """What is asked of every part: today's type, the shares failed at which lives are stated, an assumed shape."""

    today: str
    quantiles: tuple[float, ...]
    shape: float | None


def _of(frame: pd.DataFrame, part: Part) -> pd.DataFrame:
    return frame[frame["part"] == part] if "part" in frame else frame


def _study_part(table: Lives, part: Part, asked: _Asked) -> LivesAnswer:
    from trials.decide.lives import Upkeep, answer_lives, in_detail
    from trials.infer.life import study_causes, study_lives

    rows = _of(table.frame, part)
    types, ended, lives = rows["nozzle"].astype(str).tolist(), rows["ended"].tolist(), rows["life"].tolist()
    study = study_lives(
        lives, [end.failed for end in ended], types, asked.today, asked.quantiles, asked.shape, _levels(table)
    )
    causes = study_causes(
        rows["life"].to_numpy(float),
        [end.value if end.failed else "" for end in ended],
        types,
        asked.today,
        study.confidence,
    )
    said = table.said if part is Part.NOZZLE else ()
    found = replace(answer_lives(study, table.unit, table.worthwhile, types, ended, said), part=part)
    kept = Upkeep(*(rows[name].tolist() if name in rows else [0] * len(rows) for name in ("cleaned", "refitted")))
    return in_detail(found, causes, types, kept)


def _not_studied(part: Part, n: int) -> Finding:
    from trials.decide.lives import LivesKind

    return Finding(LivesKind.PART_NOT_STUDIED, facts={"part": part.value, "lives": n}, weight=Weight.LOOK_AT)


def lives_of_trial(folder: Path | str) -> tuple[TypicalLife, ...]:
    """Lives that the trial in a folder points at by `lives`, as figures to reckon with; none where it has no such key.

    A life trial is studied anew; stated figures have no limits and no failures behind them, and name their source.

    Raises
    ------
    InputError
        If the folder or table named is not there or holds no lives.
    NotIdentifiable
        If its lives fix no shape.
    """
    from trials.steps.known_lives import lives_named
    from trials.steps.load import load

    return lives_named(load(folder).trial, Path(folder))


def _levels(table: Lives) -> Levels:
    from trials.infer.answer import levels

    return levels(table.primaries, table.looks)


def _stated_shares(found: LivesAnswer) -> bool:
    """Whether the lives by which 10 and 50 % failed were asked for."""
    return {0.1, 0.5} <= {round(at.quantile, 9) for at in found.study.types[0].at}


def lives_json(found: LivesAnswer, file: Path | None = None, source: str = "") -> dict[str, Any]:
    """A study of lives as plain values, its sentences beside its fields; keys are listed in DEVELOPERS.md."""
    from trials.decide.lives import typical_lives
    from trials.words import lives as words
    from trials.words.machine import life_decision

    study: dict[str, Any] = plain(found.study)
    for key, ratios in (("ratios", found.study.ratios), ("own_shapes", found.study.own_shapes)):
        study[key] = [row | {"words": words.ratio_note(r)} for row, r in zip(study[key], ratios, strict=True)]
    return study | {
        "schema": 2,
        "unit": found.unit,
        "worthwhile": found.worthwhile,
        "comparisons": [plain(c) | {"settings": ""} for c in found.comparisons],
        "ends": [{"nozzle": each.nozzle, **{end.value: n for end, n in each.counts.items()}} for each in found.ends],
        "decision": plain(life_decision(found)),
        "provisional": found.provisional,
        "sentences": list(words.sentences(found)),
        "cautions": list(words.cautions(found)),
        "findings": plain((*found.study.said, *found.said, *found.study.cautions, *found.cautions)),
        "part": found.part.value,
        "causes": plain(found.causes),
        "care": plain(found.care),
        "beside": [lives_json(part) for part in found.beside],
        "typical": plain(typical_lives(found, source)) if _stated_shares(found) else [],
        "file": None if file is None else str(file),
    }


def write_lives(table: Lives, found: LivesAnswer, path: Path, made_on: date) -> None:
    """Write the study as PDF, or only its picture where the name ends in .svg."""
    from trials.report.life_paper import life_pdf, life_picture
    from trials.steps.verdict_facts import life_trial

    if path.suffix.lower() == ".svg":
        write_bytes(path, life_picture(table.frame, found).svg.encode())
        return
    if path.suffix.lower() != ".pdf":
        raise InputError("not a name for the paper", found=str(path), allowed=".pdf, .svg", do="Change the name.")
    asked = None
    if table.records is not None:
        asked = life_trial(table.records, table.frame["specimen"].astype(str).tolist())
    write_bytes(path, life_pdf(table.frame, found, made_on, table.invented, asked))
