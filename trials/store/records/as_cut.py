"""What was cut, not what was planned: tables for analysis, and every departure from the plan as a finding."""

from __future__ import annotations

from typing import Any
from weakref import WeakKeyDictionary

import pandas as pd

from trials.errors import InputError
from trials.findings import About, Fact, Finding
from trials.record_kinds import RecordKind
from trials.responses import Beyond
from trials.store.records.changed_setting import nearest, parse_changed_setting
from trials.store.records.measuring_order import measured_places
from trials.store.records.records import Records, cells_of, current, rows_of
from trials.store.records.region import left_out, outside_plan
from trials.store.records.rules import quantities
from trials.trial import Level, Method, Outcome

NOT_CUT = "not cut yet"
HEAD = ("coupon", "sheet", "mount", "nozzle", "specimen")
LOST = ("not_severed", "aborted", "scrapped")
CUT = {"cut_order": None, "outcome": NOT_CUT, "cut_at": "", "note": ""}
"""What a cut record says of a coupon, and what stands there without one."""
_known: WeakKeyDictionary[Records, pd.DataFrame] = WeakKeyDictionary()


def coupon_table(records: Records) -> pd.DataFrame:
    """One row per coupon, in planned order, with mount, nozzle, specimen and settings as cut.

    Columns: coupon, sheet, mount, nozzle, specimen, the factor columns, block, order (planned), cut_order (<NA> where
    not cut), outcome (`not cut yet` without a cut record; `not_cut` for a step above the last that was cut of its
    ladder), cut_at, note, then any layout columns of the plan.
    """
    if records not in _known:
        _known[records] = _coupon_table(records)
    return _known[records].copy()


def _coupon_table(records: Records) -> pd.DataFrame:
    factors = list(records.factor_columns.values())
    front = [*HEAD, *factors, "block", "order", "cut_order", "outcome", "cut_at", "note"]
    layout = [name for name in records.coupons.columns if name not in front]
    frame = pd.DataFrame(_as_cut(records), columns=[*front, *layout])
    for name in factors:
        if name in records.coupons and pd.api.types.is_numeric_dtype(records.coupons[name]):
            frame[name] = frame[name].astype("float64")
    if records.trial.plan.method == Method.LADDER:
        frame["outcome"] = frame["outcome"].mask(_left_by_stop_rule(frame, records), Outcome.NOT_CUT.value)
    return frame.astype({"cut_order": "Int64", "order": "Int64"})


def _left_by_stop_rule(coupons: pd.DataFrame, records: Records) -> pd.Series[bool]:
    """Steps without a cut record above the last that was cut of their ladder: a ladder stops at the first unclean."""
    step = records.factor_columns[records.trial.rising]
    ladder = ["mount", *(column for column in records.factor_columns.values() if column != step)]
    done = coupons[step].where(coupons["outcome"] != NOT_CUT)
    last = done.groupby([coupons[name] for name in ladder]).transform("max")
    return (coupons["outcome"] == NOT_CUT) & (coupons[step] > last)


def _as_cut(records: Records) -> dict[str, list[Any]]:
    """Cells of each column of the coupon table, coupons in planned order."""
    cells = {str(name): cells_of(column) for name, column in records.coupons.items()}
    cuts = {name: cells_of(records.cuts[name]) for name in ("coupon", "mount", "sheet", "changed_setting", *CUT)}
    row_of = dict(zip(cuts["coupon"], range(len(records.cuts)), strict=True))
    rows = [row_of.get(mark) for mark in cells["coupon"]]
    for name, empty in CUT.items():
        cells[name] = [empty if row is None else cuts[name][row] for row in rows]
    for name in ("mount", "sheet"):
        planned = zip(rows, cells[name], strict=True)
        cells[name] = [plan if row is None else cuts[name][row] or plan for row, plan in planned]
    mounts = {row["mount"]: row for row in rows_of(records.mounts)}
    fitted = [None if row is None else mounts.get(mark) for row, mark in zip(rows, cells["mount"], strict=True)]
    for name in ("nozzle", "specimen"):
        cells[name] = [plan if mount is None else mount[name] for mount, plan in zip(fitted, cells[name], strict=True)]
    for place, row in enumerate(rows):
        if row is not None and cuts["changed_setting"][row]:
            _change(cells, place, parse_changed_setting(cuts["changed_setting"][row], records.trial), records)
    return cells


def _change(cells: dict[str, list[Any]], place: int, changed: dict[str, Level], records: Records) -> None:
    """Put the settings that were changed at the machine in the place of those planned."""
    for column, value in changed.items():
        if column in records.factor_columns.values():
            cells.setdefault(column, [None] * len(cells["coupon"]))[place] = value


def analysis_table(records: Records, response_name: str) -> pd.DataFrame:
    """One row per current reading of a response on a coupon that cut, with everything as it was cut.

    Re-measurements (repeat above 0) are left out, and coupons cut far outside the plan (`region`). A response that is
    judged once per coupon (dross grade) has one row per coupon, the worst. Columns: coupon, sheet, mount, nozzle,
    specimen, the factor columns, cut_order, order, side, reading, value (kept unit), block, outcome; in cutting order,
    then by reading; `beyond` (`above`, `below` or empty) where any reading is a bound of the instrument's range; last
    `measured_order` (place in the order of measuring, NaN where not known) where any is known.

    Raises
    ------
    InputError
        If the trial has no such response.
    """
    trial = records.trial
    if response_name not in trial.responses:
        hint = nearest(response_name, list(trial.responses))
        allowed = ", ".join(trial.responses)
        raise InputError("no such response", found=response_name, allowed=allowed, do=hint or "Name one of these.")
    quantity = trial.quantity(response_name)
    rows = records.readings
    rows = rows[(rows["field"] == quantity.column) & (rows["repeat"] == 0)]
    if quantity.per_coupon or quantity.scale == "grade":
        worst_first = rows.sort_values("value", ascending=quantity.higher_is_better, kind="stable")
        rows = worst_first.drop_duplicates("coupon").sort_index()
    coupons = coupon_table(records)
    coupons = coupons[(coupons["outcome"] == "cut") & ~coupons["coupon"].isin(left_out(records, coupons))]
    bounds = ["beyond"] if (rows["beyond"] != "").any() else []
    places = measured_places(rows, coupons)
    more = bounds if places is None else [*bounds, "measured_order"]
    read = rows.assign(measured_order=places)[["coupon", "side", "reading", "value", *more]]
    merged = coupons.merge(read, on="coupon", how="inner", validate="1:m")
    factors = list(records.factor_columns.values())
    names = [*HEAD, *factors, "cut_order", "order", "side", "reading", "value", "block", "outcome", *more]
    return merged.sort_values(["cut_order", "reading"], kind="stable")[names].reset_index(drop=True)


def departures(records: Records) -> tuple[Finding, ...]:
    """Each way in which what was done differs from the plan; empty where nothing does."""
    if not len(records.cuts) and not len(records.readings):
        return ()
    coupons = coupon_table(records)
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    return (
        *_lost(coupons),
        *_order(coupons),
        *_settings(records, planned),
        *(one.finding for one in outside_plan(records, coupons[coupons["outcome"] == "cut"])),
        *_moved(coupons, planned),
        *_mounts(records),
        *_added_sheets(records),
        *_few_readings(records, coupons),
        *not_measurable(records),
    )


def not_measurable(records: Records) -> tuple[Finding, ...]:
    """Readings that could not be taken, with their reasons, one finding for each response and reason."""
    rows = current(records.all_readings)
    rows = rows[rows["beyond"] == Beyond.NOT_MEASURABLE.value]
    known, found = quantities(records.trial), list[Finding]()
    for (field, note), mine in rows.groupby(["field", "note"], sort=False):
        marks = list(dict.fromkeys(mine["coupon"]))
        found.append(_of_coupons(RecordKind.NOT_MEASURABLE, marks, known[str(field)].short, reason=str(note)))
    return tuple(found)


def _lost(coupons: pd.DataFrame) -> list[Finding]:
    found = []
    for row in rows_of(coupons[coupons["outcome"].isin(list(LOST))]):
        about = About(coupons=(row["coupon"],), nozzle=row["nozzle"])
        found.append(Finding(RecordKind.COUPON_LOST, about, {"outcome": row["outcome"], "note": row["note"]}))
    missing = coupons.loc[coupons["outcome"] == NOT_CUT, "coupon"].tolist()
    return [*found, *([_of_coupons(RecordKind.COUPONS_NOT_CUT, missing)] if missing else [])]


def _of_coupons(kind: RecordKind, marks: list[str], response: str = "", **facts: Fact) -> Finding:
    return Finding(kind, About(coupons=tuple(marks), response=response), facts)


def _order(coupons: pd.DataFrame) -> list[Finding]:
    """Coupons cut out of turn: those outside the longest run that keeps the planned order."""
    done = coupons[coupons["cut_order"].notna()].sort_values("cut_order", kind="stable")
    moved = _out_of_turn(done["order"].tolist())
    if not moved:
        return []
    names = coupons.loc[coupons["order"].isin(moved) & coupons["cut_order"].notna(), "coupon"].tolist()
    return [_of_coupons(RecordKind.ANOTHER_ORDER, names)]


def _out_of_turn(orders: list[int]) -> set[int]:
    """Fewest entries to take out so that the rest increases (patience sorting)."""
    from bisect import bisect_left

    tails: list[int] = []
    tail_places: list[int] = []
    before: list[int] = []
    for place, order in enumerate(orders):
        at = bisect_left(tails, order)
        before.append(tail_places[at - 1] if at else -1)
        tails[at : at + 1] = [order]
        tail_places[at : at + 1] = [place]
    kept: set[int] = set()
    place = tail_places[-1] if tail_places else -1
    while place >= 0:
        kept.add(orders[place])
        place = before[place]
    return set(orders) - kept


def _settings(records: Records, planned: dict[str, dict[str, Any]]) -> list[Finding]:
    found = []
    for cut in rows_of(records.cuts[records.cuts["changed_setting"] != ""]):
        for column, value in parse_changed_setting(cut["changed_setting"], records.trial).items():
            was = planned[cut["coupon"]].get(column, records.trial.held.get(column))
            if was != value:
                found.append(
                    _of_coupons(RecordKind.CHANGED_SETTING, [cut["coupon"]], column=column, now=value, was=was)
                )
    return found


def _moved(coupons: pd.DataFrame, planned: dict[str, dict[str, Any]]) -> list[Finding]:
    """Coupons cut in another mount or on another sheet, gathered by what they have in common."""
    moves: dict[tuple[str, str, str], list[str]] = {}
    done = coupons[coupons["outcome"] != NOT_CUT]
    for mark, *now in zip(*(cells_of(done[name]) for name in ("coupon", "mount", "sheet")), strict=True):
        for what, where in zip(("mount", "sheet"), now, strict=True):
            was = planned[mark][what]
            if was != where:
                moves.setdefault((what, str(was), str(where)), []).append(mark)
    return [
        _of_coupons(RecordKind.COUPONS_MOVED, marks, what=what, now=now, was=was)
        for (what, was, now), marks in moves.items()
    ]


def _mounts(records: Records) -> list[Finding]:
    planned = {row["mount"]: row for row in rows_of(records.planned_mounts)}
    return [found for row in rows_of(records.mounts) for found in _of_mount(row, planned.get(row["mount"]))]


def _of_mount(row: dict[str, Any], plan: dict[str, Any] | None) -> list[Finding]:
    about = About(mount=row["mount"], nozzle=row["nozzle"])
    fitted = f"{row['nozzle']} {row['specimen']}".strip()
    found = []
    if plan is None:
        found.append(Finding(RecordKind.MOUNT_ADDED, about, {"fitted": fitted}))
    else:
        was = f"{plan['nozzle']} {plan['specimen']}".strip()
        if was != fitted:
            found.append(Finding(RecordKind.MOUNT_HELD_OTHER, about, {"fitted": fitted, "was": was}))
        if str(plan.get("sheet") or "") != row["sheet"]:
            sheets = {"now": row["sheet"], "was": plan["sheet"]}
            found.append(Finding(RecordKind.MOUNT_ON_OTHER_SHEET, about, sheets))
    noted = (
        (row["window_changed"] == "yes", RecordKind.WINDOW_CHANGED),
        (row["centring_checked"] == "no", RecordKind.NOT_CENTRED),
        (row["height_calibrated"] == "no", RecordKind.NOT_CALIBRATED),
    )
    return [*found, *(Finding(kind, about, {"fitted": fitted}) for is_so, kind in noted if is_so)]


def _added_sheets(records: Records) -> list[Finding]:
    planned = set(records.planned_sheets["sheet"])
    added = [sheet for sheet in records.sheets["sheet"] if sheet not in planned]
    return [Finding(RecordKind.SHEET_ADDED, facts={"sheet": sheet}) for sheet in added]


def _few_readings(records: Records, coupons: pd.DataFrame) -> list[Finding]:
    """Responses that lack readings on coupons that cut, once any reading of the response is in.

    An adopted table had no plan that it could fall short of.
    """
    if records.trial.plan.method == Method.ADOPTED:
        return []
    cut = coupons.loc[coupons["outcome"] == "cut", "coupon"]
    rows = records.readings[records.readings["repeat"] == 0]
    found = []
    for name, asked in records.trial.responses.items():
        quantity = records.trial.quantity(name)
        wanted = 1 if quantity.per_coupon else asked.readings
        counts = rows[rows["field"] == quantity.column].groupby("coupon")["reading"].nunique()
        if counts.empty:
            continue
        have = counts.reindex(cut, fill_value=0)
        none, few = have[have == 0].index.tolist(), have[(have > 0) & (have < wanted)].index.tolist()
        found += [_of_coupons(RecordKind.NO_READING, none, quantity.label)] if none else []
        found += [_of_coupons(RecordKind.FEWER_READINGS, few, quantity.label, wanted=wanted)] if few else []
    return found
