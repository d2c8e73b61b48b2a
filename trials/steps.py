"""The steps of a trial, as commands and notebooks call them: load, plan, record, grade, fit, verdict.

Each step reads the one before and writes none of it. Functions take a folder or plain pandas tables and return plain
tables or frozen results.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.errors import InputError
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


def thickness(records: Records) -> float | Mapping[str, float] | None:
    """Thickness of the coupons in mm: one figure, or by coupon where thickness is a factor."""
    for name, column in records.factor_columns.items():
        if name == "thickness":
            table = coupon_table(records)
            return dict(zip(table["coupon"], table[column].astype(float), strict=True))
    return records.trial.application.thickness_mm


def grade(records: Records) -> pd.DataFrame:
    """One graded row per coupon of the trial, by its requirement, rule and uncertainty."""
    from trials.grade.coupons import grade_coupons

    trial = records.trial
    wanted = ("rz5_um", "u_mm", "dross_grade")
    names = {trial.quantity(name).column: known for name, known in _graded_names(trial).items()}
    rows = records.readings[records.readings["field"].isin([*wanted, *names])]
    long = rows.assign(response=rows["field"].replace(names))[["coupon", "response", "value", "repeat"]]
    planned = coupon_table(records)
    graded = grade_coupons(
        long,
        trial.application.required,
        thickness(records),
        planned.loc[planned["outcome"] != "not cut yet", ["coupon", "outcome"]],
        planned["coupon"].tolist(),
        trial.bench.judged_by,
        trial.bench.rule,
        trial.bench.uncertainty or None,
    )
    graded["outcome"] = graded["coupon"].map(dict(zip(planned["coupon"], planned["outcome"], strict=True)))
    graded.insert(1, "nozzle", graded["coupon"].map(dict(zip(planned["coupon"], planned["nozzle"], strict=True))))
    return graded


def _graded_names(trial: Trial) -> dict[str, str]:
    return {name: name for name in ("roughness", "squareness", "dross") if name in trial.responses}


def evidence(records: Records) -> Evidence:
    """What was recorded, ready to be studied."""
    from trials.decide.study import Evidence
    from trials.plan.choose import confounded

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
    """SHA-256 of what was recorded; two looks at the same records are one look."""
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


def verdict(folder: Path | str, path: Path | None = None, at: datetime | None = None) -> Verdict:
    """Study a trial folder and write its verdict as PDF; the same records give the same bytes.

    path: where to write; `verdict.pdf` in the folder if None. at: moment of a first look; now if None. The date on
    the paper is that of the look, as kept with the trial.
    """
    from trials.decide.study import study
    from trials.report.documents import verdict_pdf

    records = load(folder)
    found = evidence(records)
    result = study(records.trial, found)
    made_before = found.look <= len(records.looks)
    moment = at or datetime.now(UTC)
    if made_before:
        kept = records.looks.set_index("look").loc[found.look]
        moment = datetime.fromisoformat(str(kept["at"]))
    pdf = verdict_pdf(result, records.trial, moment.date(), verdict_extras(records, found))
    target = path or Path(folder) / "verdict.pdf"
    if not made_before:
        summary = {"fingerprint": fingerprint(records), "study": plain(asdict(result))}
        text = json.dumps(summary, sort_keys=True, ensure_ascii=False)
        database.keep_verdict(folder, found.look, text, found.look <= records.trial.plan.looks, moment)
    write_bytes(target, pdf)
    return Verdict(target, result, found.look, made_before)


def verdict_extras(records: Records, found: Evidence) -> Any:
    """What the verdict prints beside the study: graded coupons, tables, amendments, how it was measured."""
    from trials.report.documents import VerdictExtras

    journal = records.journal
    return VerdictExtras(
        engineer=records.trial.trial.engineer,
        graded=found.grades,
        tables=found.tables,
        amendments=tuple(amendment_sentences(journal)),
        plan_sentences=tuple(plan_sentences(records)),
        freeze_hash=records.freeze_hash,
        bench_facts=tuple(bench_facts(records)),
    )


def amendment_sentences(journal: pd.DataFrame) -> list[str]:
    """Amendments, one sentence each, with who and why."""
    rows = journal[journal["kind"].astype(str).str.startswith("amend")]
    return [f"{row.what} ({row.who}: {row.why})" for row in rows.itertuples()]


def bench_facts(records: Records) -> list[str]:
    """How edges were measured, one sentence each."""
    facts = []
    rows = records.readings
    for column, words in (("instrument", "Instruments"), ("inspector", "Inspectors")):
        names = sorted({str(v) for v in rows[column] if str(v) not in ("", "nan")}) if column in rows else []
        if names:
            facts.append(f"{words}: {', '.join(names)}.")
    for column, words in (("cutoff_mm", "Cut-off"), ("depth_mm", "Depth of the roughness trace")):
        values = sorted(set(rows[column].dropna())) if column in rows else []
        if values:
            facts.append(f"{words}: {', '.join(f'{v:g}' for v in values)} mm.")
    bench = records.trial.bench
    known = ", ".join(f"{column} {value:g}" for column, value in bench.uncertainty.items())
    facts.append(f"Expanded uncertainty (k = 2): {known}." if known else "No measurement uncertainty was stated.")
    facts.append(f"Judged by the {bench.judged_by} reading of a coupon; rule: {bench.rule}.")
    return facts


def plain(value: Any) -> Any:
    """A result as plain JSON values: NaN and infinity become null, tuples lists, numpy scalars numbers."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written: {error.strerror}", file=str(path), do="Close it or choose another place."
        ) from None


def run_sheet(folder: Path | str) -> list[Path]:
    """Write the papers of the cutting day into `papers` in the folder and name them.

    Run sheet, bench card and labels (PDF), run and bench workbooks (XLSX), one drawing per sheet (DXF); dated with the
    day of the freeze, so that they come out the same each time.
    """
    from trials.report import documents
    from trials.store import workbook

    records = load(folder)
    day = frozen_day(records)
    said = plan_sentences(records)
    trial, coupons = records.trial, records.coupons
    files = {
        "run-sheet.pdf": documents.run_sheet_pdf(
            trial, coupons, records.planned_mounts, records.planned_sheets, said, day
        ),
        "bench-card.pdf": documents.bench_card_pdf(trial, day),
        "labels.pdf": documents.labels_pdf(trial, coupons, day),
        **sheet_drawings(records),
    }
    place = Path(folder) / "papers"
    for name, data in files.items():
        write_bytes(place / name, data)
    workbook.run_workbook(records, place / "run-workbook.xlsx")
    workbook.bench_workbook(records, place / "bench-workbook.xlsx")
    return [place / name for name in (*files, "run-workbook.xlsx", "bench-workbook.xlsx")]


def plan_sentences(records: Records) -> list[str]:
    """What was said about the plan when it was frozen."""
    return [row.what for row in records.journal.itertuples() if row.kind == "plan"]


def sheet_drawings(records: Records) -> dict[str, bytes]:
    """One drawing (DXF) per sheet with coupon outlines and marks; none for plans without positions."""
    if "x_mm" not in records.coupons:
        return {}
    from trials.plan.choose import Plan
    from trials.plan.sheet_map import dxf_drawing

    plan = Plan(records.coupons, records.planned_mounts, records.planned_sheets, ())
    names = records.planned_sheets["sheet"].tolist()
    return {f"sheet-{name}.dxf": dxf_drawing(plan, name, records.trial).encode() for name in names}


def frozen_day(records: Records) -> date:
    """Day the plan was frozen, printed on the papers so that they come out the same each time."""
    if not records.frozen_at:
        raise InputError("no plan is frozen yet", file=str(records.folder), do="Run `trials plan` first.")
    return datetime.fromisoformat(records.frozen_at).date()


def grade_value(
    thickness_mm: float, u_mm: float | None, rz5_um: float | None, dross: int | None, need: Mapping[str, Any]
) -> Any:
    """Grade one edge from single values; need: keys of a requirement, missing ones None."""
    from trials.grade.coupons import grade_edge

    return grade_edge(thickness_mm, u_mm, rz5_um, dross, _requirement(need))


def grade_table(path: Path, thickness_mm: float | None, need: Mapping[str, Any]) -> pd.DataFrame:
    """Grade a plain table of readings (coupon, u_mm, rz5_um, dross_grade, thickness_mm) without a trial."""
    from trials.grade.coupons import grade_coupons
    from trials.store.intake import read_plain_readings

    return grade_coupons(read_plain_readings(path), _requirement(need), thickness_mm)


def _requirement(need: Mapping[str, Any]) -> Any:
    from pydantic import ValidationError

    from trials.trial import Requirement

    wanted = {key: value for key, value in need.items() if value is not None}
    try:
        return Requirement(**wanted) if wanted else None
    except ValidationError as error:
        first = error.errors()[0]
        raise InputError(first["msg"], column=str(first["loc"][0]), found=first["input"], do="Correct it.") from None
