"""Where a trial stands: counts per step, what is missing, the next command."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def standing(folder: Path) -> dict[str, Any]:
    """Title, steps with counts, what is missing, and the next command for a newcomer."""
    from trials.steps import load, look_number
    from trials.steps.extend import blocks
    from trials.store.records.as_cut import coupon_table
    from trials.store.records.slips import open_slips

    records = load(folder)
    title = records.trial.trial.title
    if not records.frozen:
        step = {"step": "plan", "done": 0, "of": "", "note": "not frozen yet"}
        return {"title": title, "steps": [step], "missing": [], "next": f"trials plan {folder}"}
    table = coupon_table(records)
    cut = int((table["outcome"] != "not cut yet").sum())
    measurable = table.loc[table["outcome"] == "cut", "coupon"]
    measured = measurable.isin(set(records.readings["coupon"]))
    slips = open_slips(records)
    current = len(records.looks) and look_number(records) <= len(records.looks)
    steps = [
        {"step": "plan", "done": len(table), "of": len(table), "note": _plan_note(records)},
        {"step": "cut", "done": cut, "of": len(table), "note": _lost(table)},
        {"step": "measured", "done": int(measured.sum()), "of": len(measurable), "note": _readings(records)},
        {
            "step": "verdict",
            "done": len(records.looks),
            "of": records.trial.plan.looks,
            "note": _look(records, current),
        },
    ]
    missing = [f"{len(table) - cut} coupons are not recorded as cut."] if cut < len(table) else []
    if cut and not measured.all():
        names = measurable[~measured].tolist()
        missing.append(
            f"{len(names)} cut coupons have no readings: {', '.join(names[:8])}{' ...' if names[8:] else ''}."
        )
    missing += [slip.words for slip in slips]
    return {
        "title": title,
        "steps": steps,
        "missing": missing,
        "blocks": blocks(records),
        "next": _next(records, table, cut, measured, slips, current),
    }


def _plan_note(records: Any) -> str:
    """When the plan was frozen, and the blocks added since with their state."""
    from trials.steps.extend import blocks

    later = [
        f"block {b['block']} added {b['added_on']}, {b['cut']} of {b['coupons']} cut, "
        f"{'declared' if b['declared'] else 'exploratory'}"
        for b in blocks(records)[1:]
    ]
    return "; ".join([f"frozen {records.frozen_at[:10]}", *later])


def _lost(table: Any) -> str:
    counts = table["outcome"].value_counts()
    parts = [f"{counts[k]} {k.replace('_', ' ')}" for k in ("not_severed", "aborted", "scrapped") if counts.get(k)]
    return ", ".join(parts)


def _readings(records: Any) -> str:
    return f"{len(records.readings)} values"


def _look(records: Any, current: bool) -> str:
    if not len(records.looks):
        return "none yet"
    return "up to date" if current else "records changed since"


def _next(records: Any, table: Any, cut: int, measured: Any, slips: Any, current: bool) -> str:
    from trials.steps import look_number
    from trials.steps.sheet import papers_folder
    from trials.steps.verdict import verdict_path

    folder, papers = records.folder, papers_folder(records)
    newest = table["block"] == table["block"].max()
    if (table.loc[newest, "outcome"] == "not cut yet").all():
        if not (papers / "run-sheet.pdf").is_file():
            return f"trials sheet {folder}"
        return f"cut the coupons, then `trials cut {folder} {papers / 'run-workbook.xlsx'}`"
    if cut < len(table) and records.trial.plan.method != "ladder":
        return f"trials cut {folder} FILE (or --as-planned for the rest)"
    if not measured.all():
        return f"trials record {folder} FILE (the bench workbook or a CSV file)"
    if slips:
        slip = slips[0]
        return (
            f"look at coupon {slip.coupon} again, then `trials correct {folder} {slip.coupon} {slip.field} VALUE "
            f"--reading {slip.reading} --who NAME --why REASON`, or `--as-read` in place of VALUE if it is right"
        )
    if records.trial.plan.method in ("life", "bench"):
        return f"trials {records.trial.plan.method} {folder}"
    if not current:
        return f"trials verdict {folder}"
    return f"open {verdict_path(folder, look_number(records))}; `trials fit {folder}` shows the numbers"
