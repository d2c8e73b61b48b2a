"""The shop's chart: kept verdicts of several folders side by side, as values, JSON, CSV and paper."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import InputError, Problems
from trials.nozzles import style
from trials.responses import QUANTITIES
from trials.steps.files import plain, write_bytes
from trials.steps.load import load
from trials.store import records as store

if TYPE_CHECKING:
    from trials.decide.chart import Chart, Said, Seen
    from trials.store.records import KeptLook, Records


def chart(folders: Sequence[Path | str], machine: str = "") -> Chart:
    """The chart of all trials in the folders, each by its last kept verdict.

    machine: the one the chart is for; that of the newest trial if empty.

    Raises
    ------
    InputError
        If no folder is named, one is named twice, one is no trial, or none holds a kept verdict.
    """
    from trials.decide.chart import make_chart

    known = _loaded(folders)
    calibrated = _calibrations(known)
    looks = {name: store.kept_looks(records.folder) for name, records in known.items()}
    seen = [_seen(name, known[name], kept[-1], calibrated) for name, kept in looks.items() if kept]
    if not seen:
        raise InputError(
            "no folder holds a kept verdict", found=", ".join(known), do="Make one with `trials verdict FOLDER`."
        )
    return make_chart(seen, machine, [name for name, kept in looks.items() if not kept])


def _loaded(folders: Sequence[Path | str]) -> dict[str, Records]:
    if not folders:
        raise InputError("no folder is named", do="Name the folders of the shop's trials: `trials chart */`.")
    found: dict[str, Records] = {}
    places: dict[Path, str] = {}
    problems = Problems()
    for folder in folders:
        with problems.gathered():
            first = places.setdefault(Path(folder).resolve(), str(folder))
            if str(folder) in found or first != str(folder):
                raise InputError("is named twice", file=str(folder), do="Name each folder once.")
            found[str(folder)] = load(folder)
    problems.tell()
    return found


def _calibrations(known: Mapping[str, Records]) -> dict[str, str]:
    """Latest calibration of each instrument over all trials, as year-month-day."""
    found: dict[str, str] = {}
    for records in known.values():
        for one in store.instruments(records.folder):
            found[one.instrument] = max(found.get(one.instrument, ""), one.calibrated_on)
    return found


def _seen(name: str, records: Records, kept: KeptLook, calibrated: Mapping[str, str]) -> Seen:
    from trials.decide.chart import Job, Seen

    trial, job = records.trial, records.trial.application
    held = (trial.held[key] for key in ("machine", "laser") if key in trial.held)
    return Seen(
        folder=name,
        title=trial.trial.title,
        job=Job(job.material, job.thickness_mm, job.gas),
        machine=str(next(held, "")),
        day=kept.at.date(),
        today=trial.today.type,
        forms={nozzle.type: (*style(nozzle), nozzle.orifice_mm) for nozzle in trial.nozzles},
        prices={nozzle.type: nozzle.price for nozzle in trial.nozzles},
        said=kept_answers(kept),
        currency=trial.trial.currency,
        exploratory=not kept.declared,
        before_calibration=_before(records, kept, calibrated),
    )


def _before(records: Records, kept: KeptLook, calibrated: Mapping[str, str]) -> bool:
    """Whether an instrument was calibrated anew after this trial was last measured with it."""
    rows = records.readings
    for instrument, used in rows[rows["instrument"] != ""].groupby("instrument"):
        days = [str(day)[:10] for day in used["measured_on"] if day]
        if calibrated.get(str(instrument), "") > max(days, default=kept.at.date().isoformat()):
            return True
    return False


def kept_answers(kept: KeptLook) -> dict[str, tuple[Said, ...]]:
    """Decisive answers by type: the words as kept, with their figures where the look has them."""
    from trials.decide.chart import Said
    from trials.infer.answer import Added, Answer

    study = kept.summary.get("study") or {}
    figures = _figures(study)
    found: dict[str, tuple[Said, ...]] = {}
    for word in _words(kept, study):
        facts = figures.get((word["response"], word["nozzle"]), {})
        quantity = QUANTITIES.get(word["response"])
        said = Said(
            response=word["response"],
            symbol=facts.get("symbol") or (quantity.short if quantity else word["response"]),
            unit=facts.get("unit") or "",
            answer=Answer(word["answer"]),
            adds=Added(word["answer_adds"]) if word["answer_adds"] else None,
            **{key: facts.get(key) for key in ("kind", "value", "low", "high", "times_worthwhile")},
        )
        found[word["nozzle"]] = (*found.get(word["nozzle"], ()), said)
    return found


def _words(kept: KeptLook, study: Mapping[str, Any]) -> list[dict[str, str]]:
    """Words as kept; those of a ladder stand in its study."""
    words = [
        {"response": w.response, "nozzle": w.nozzle, "answer": w.answer, "answer_adds": w.answer_adds}
        for w in kept.words
    ]
    ladder = (study.get("ladder") or {}).get("comparisons", [])
    return words + [
        {"response": "clean_speed", "nozzle": c["nozzle"], "answer": c["answer"], "answer_adds": c["answer_adds"] or ""}
        for c in ladder
        if c["answer"] and not any(w["response"] == "clean_speed" and w["nozzle"] == c["nozzle"] for w in words)
    ]


def _figures(study: Mapping[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    found = {
        (result["response"], c["nozzle"]): {**c, "symbol": result.get("symbol"), "unit": result.get("unit")}
        for result in study.get("results", [])
        for c in result.get("comparisons", [])
    }
    ladder = study.get("ladder") or {}
    found |= {
        ("clean_speed", c["nozzle"]): {**c, "symbol": None, "unit": ladder.get("unit")}
        for c in ladder.get("comparisons", [])
    }
    return found


def chart_json(found: Chart) -> dict[str, Any]:
    """A chart as plain values, with its sentences; keys are listed in DEVELOPERS.md."""
    from trials.words import chart as words

    return {
        "schema": 2,
        "types": list(found.types),
        "machine": found.machine,
        "rows": [_row_json(row) for row in found.rows],
        "stock": plain(found.stock),
        "sentences": list(words.stock_sentences(found)),
        "said": plain(found.said),
    }


def _row_json(row: Any) -> dict[str, Any]:
    seen = row.seen
    cells = [None if cell is None else plain(cell) for cell in row.cells]
    return {
        **{name: getattr(seen, name) for name in ("folder", "title", "machine", "today", "exploratory")},
        **{name: getattr(seen.job, name) for name in ("material", "thickness_mm", "gas")},
        "day": seen.day.isoformat(),
        "marks": [mark.value for mark in row.marks],
        "cells": cells,
    }


def chart_csv(found: Chart) -> bytes:
    """The chart as a table, one row per trial and type that it looked at; numbers with a decimal point."""
    head = ["material", "thickness_mm", "gas", "folder", "machine", "day", "marks", "nozzle", "today", "serves"]
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([*head, "response", "answer", "adds", "kind", "value", "low", "high"])
    for row in found.rows:
        seen, job = row.seen, row.seen.job
        where = [job.material, job.thickness_mm, job.gas, seen.folder, seen.machine, seen.day.isoformat()]
        where.append("; ".join(mark.value for mark in row.marks))
        for cell in row.cells:
            if cell is None:
                continue
            own = [*where, cell.nozzle, "yes" if cell.today else "no", "yes" if cell.serves else "no"]
            for one in cell.said or (None,):
                said = ("response", "answer", "adds", "kind", "value", "low", "high")
                writer.writerow([*own, *("" if one is None else plain(getattr(one, name)) for name in said)])
    return stream.getvalue().encode()


def write_chart(found: Chart, path: Path, made_on: date, invented: bool = False) -> None:
    """Write the chart as .pdf or .csv; raises InputError for another ending."""
    if path.suffix.lower() == ".csv":
        write_bytes(path, chart_csv(found))
        return
    if path.suffix.lower() != ".pdf":
        raise InputError("not a name for the chart", found=str(path), allowed=".pdf, .csv", do="Change the name.")
    from trials.report.chart_page import chart_pdf

    write_bytes(path, chart_pdf(found, made_on, invented))


def any_invented(folders: Sequence[Path | str]) -> bool:
    """Whether a trial among the folders says that its data are invented."""
    return any(load(folder).trial.trial.invented for folder in folders)
