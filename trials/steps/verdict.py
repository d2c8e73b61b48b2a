"""The verdict: studied, written as PDF, and kept as a look at the data."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from trials.steps.extend import begun
from trials.steps.files import plain, write_bytes
from trials.steps.fit import evidence
from trials.steps.load import load
from trials.steps.looks import fingerprint
from trials.steps.verdict_facts import verdict_extras
from trials.store.records import database

if TYPE_CHECKING:
    from trials.decide.results import Study


@dataclass(frozen=True)
class Verdict:
    """A verdict that was written: its file, the study behind it, which look it is, whether it was kept before."""

    path: Path
    study: Study
    look: int
    made_before: bool


def verdict_path(folder: Path | str, look: int) -> Path:
    """`verdict.pdf` in the folder for the first look; later looks have their number, so that the first paper stays."""
    return Path(folder) / ("verdict.pdf" if look == 1 else f"verdict-{look}.pdf")


def verdict(folder: Path | str, path: Path | None = None, at: datetime | None = None) -> Verdict:
    """Study a trial folder and write its verdict as PDF; the same records give the same bytes.

    path: where to write; see `verdict_path` if None. at: moment of a first look; now if None. The date on
    the paper is that of the look, as kept with the trial.
    """
    from trials.decide.study import study
    from trials.report.documents import verdict_pdf

    records = begun(load(folder))
    found = evidence(records)
    result = study(records.trial, found)
    made_before = found.look <= len(records.looks)
    moment = at or datetime.now(UTC)
    if made_before:
        kept = records.looks.set_index("look").loc[found.look]
        moment = datetime.fromisoformat(str(kept["at"]))
    pdf = verdict_pdf(result, records.trial, moment.date(), verdict_extras(records, found))
    target = path or verdict_path(folder, found.look)
    write_bytes(target, pdf, (".pdf",))
    if not made_before:
        summary = {"fingerprint": fingerprint(records), "study": plain(result)}
        text = json.dumps(summary, sort_keys=True, ensure_ascii=False)
        database.keep_verdict(folder, found.look, text, found.look <= records.trial.plan.looks, moment)
    return Verdict(target, result, found.look, made_before)
