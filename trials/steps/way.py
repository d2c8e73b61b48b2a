"""The way of a trial: load, propose, freeze, gather the evidence, fit, verdict."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from trials.errors import InputError
from trials.steps.extending import begun
from trials.steps.files import plain, write_bytes
from trials.steps.grading import grade, require_plan
from trials.store import database
from trials.store.ascut import analysis_table, coupon_table, departures
from trials.store.records import Records
from trials.store.slips import open_slips
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.decide.results import Study
    from trials.decide.study import Evidence
    from trials.plan.choose import Plan

Progress = Callable[[int, int], None]


def load(folder: Path | str) -> Records:
    """Everything recorded about the trial in a folder; raises InputError where it is no trial folder."""
    return database.load(folder)


def propose(trial: Trial, progress: Progress | None = None) -> Plan:
    """Coupons that answer the trial's question, not written anywhere yet."""
    from trials.plan.choose import make_plan

    return make_plan(trial, progress)


def freeze(folder: Path | str, plan: Plan, at: datetime | None = None) -> Records:
    """Freeze question and plan of a trial folder; from here on changes need `trials amend`."""
    tables = {"coupons": plan.coupons, "mounts": plan.mounts, "sheets": plan.sheets}
    return database.freeze(folder, tables, plan.said, at)


def evidence(records: Records) -> Evidence:
    """What was recorded, ready to be studied."""
    from trials.decide.study import Evidence
    from trials.plan.choose import confounded

    require_plan(records)
    trial = records.trial
    tables = {}
    for name in trial.responses:
        table = analysis_table(records, name)
        if len(table):
            tables[name] = table
    if not tables:
        raise InputError(
            "no readings are recorded yet", file=str(records.folder), do="Record some with `trials record`."
        )
    adopted = trial.plan.method == "adopted"
    return Evidence(
        tables=tables,
        coupons=coupon_table(records),
        grades=grade(records),
        allowed=allowed_settings(records),
        departures=tuple(departures(records)),
        confounded=() if adopted else tuple(confounded(trial)),
        open_slips=tuple(slip.words for slip in open_slips(records)),
        look=look_number(records),
    )


def allowed_settings(records: Records) -> dict[str, list[tuple[float | str, ...]]]:
    """Planned settings of each nozzle type, as tuples in the order of the factors."""
    columns = list(records.factor_columns.values())
    found: dict[str, list[tuple[float | str, ...]]] = {}
    for nozzle, rows in records.coupons.groupby("nozzle", sort=False):
        settings = list(dict.fromkeys(rows[columns].itertuples(index=False, name=None)))
        found[str(nozzle)] = settings
    return found


def fit(folder: Path | str) -> Study:
    """Study a trial folder: every response, the words, the checks."""
    from trials.decide.study import study

    records = load(folder)
    return study(records.trial, evidence(records))


def fingerprint(records: Records) -> str:
    """SHA-256 of what was recorded; two looks at the same records are one look.

    A block that was added but of which nothing is cut yet is not part of it.
    """
    records = begun(records)
    parts = [records.freeze_hash]
    for frame in (records.cuts, records.readings, records.mounts, records.sheets):
        columns = [c for c in frame.columns if c not in ("entered_at", "at")]
        parts.append(frame[columns].to_json(orient="values", date_format="iso") or "")
    parts.append(json.dumps(sorted(records.confirmed)))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def look_number(records: Records) -> int:
    """Which look at the data this is: that of an earlier verdict on the same records, or the next one."""
    mark = fingerprint(records)
    for row in records.looks.itertuples():
        if json.loads(row.summary_json).get("fingerprint") == mark:
            return int(row.look)
    return len(records.looks) + 1


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
    from trials.steps.papers import verdict_extras

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
    if not made_before:
        summary = {"fingerprint": fingerprint(records), "study": plain(asdict(result))}
        text = json.dumps(summary, sort_keys=True, ensure_ascii=False)
        database.keep_verdict(folder, found.look, text, found.look <= records.trial.plan.looks, moment)
    write_bytes(target, pdf)
    return Verdict(target, result, found.look, made_before)
