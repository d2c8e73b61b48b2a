import re
import zipfile
from dataclasses import replace

import numpy as np
import pytest
import xlsxwriter.utility
from python_calamine import CalamineWorkbook

from trials.grade.iso9013 import roughness_range, squareness_range
from trials.store import intake
from trials.store import records as store
from trials.store.records import draw_marks
from trials.store.workbooks import (
    bench_workbook,
    labelled,
    measuring_order,
    repeat_order,
    repeats_workbook,
    run_workbook,
)
from trials.words.findings import say


def cells(path, sheet):
    return CalamineWorkbook.from_path(str(path)).get_sheet_by_name(sheet).to_python()


def written(path, data):
    path.write_bytes(data)
    return path


def inside(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name).decode("utf-8") for name in archive.namelist()}


def test_the_run_workbook_is_prefilled_in_planned_order(frozen, tmp_path):
    records = store.load(frozen)
    path = written(tmp_path / "run.xlsx", run_workbook(records))
    assert CalamineWorkbook.from_path(str(path)).sheet_names == ["read first", "cuts", "mounts", "sheets"]
    rows = cells(path, "cuts")
    assert rows[0][:6] == [
        *("cut_order", "coupon", "nozzle (plan)", "specimen (plan)", "pressure_bar (plan)", "gas_purity_class (plan)")
    ]
    assert rows[1][:9] == [1.0, "KX7", "double", "D1", 0.5, "2.5", "M1", "S1", ""]
    assert [row[1] for row in rows[1:]] == records.coupons["coupon"].tolist()
    assert [row[0] for row in cells(path, "mounts")[1:]] == ["M1", "M2", "M3", "M4"]
    words = " ".join(str(cell) for row in cells(path, "read first") for cell in row)
    for part in ("speed 1.1 m/min", "Class 4 laser", "Look into the bore", "machine maker's instructions"):
        assert part in words


def test_an_untouched_run_workbook_records_nothing(frozen, tmp_path):
    records = store.load(frozen)
    path = written(tmp_path / "run.xlsx", run_workbook(records))
    rows = intake.read_cuts(path, records)
    assert len(rows.frame) == 0
    assert [say(one) for one in store.record_cuts(frozen, rows).said] == ["8 rows have no outcome yet; left out."]
    assert len(intake.read_mounts(path, records).frame) == 0
    assert len(intake.read_sheets(path, records).frame) == 0


def test_a_run_workbook_made_after_cutting_reads_back_as_recorded(cut, tmp_path):
    store.correct_row(
        cut, store.RowChange("coupon", "QF4", "changed_setting", "pressure_bar=0.7"), "Operator", "knob slipped"
    )
    store.correct_row(cut, store.RowChange("mount", "M2", "window_changed", "yes"), "Operator", "forgotten")
    records = store.load(cut)
    path = written(tmp_path / "run.xlsx", run_workbook(records))
    rows = intake.read_cuts(path, records)
    done = store.record_cuts(cut, rows, intake.read_mounts(path, records), intake.read_sheets(path, records))
    assert (done.added, done.ignored) == (0, 8)


@pytest.mark.parametrize("make", [run_workbook, bench_workbook])
def test_the_same_records_give_the_same_bytes(frozen, tmp_path, make):
    records = store.load(frozen)
    first = make(records)
    assert make(records) == first
    assert "2026-03-02T08:30:00Z" in inside(written(tmp_path / "a.xlsx", first))["docProps/core.xml"]


def test_the_bench_workbook_tells_nothing_of_nozzle_setting_or_order(frozen, tmp_path):
    records = store.load(frozen)
    path = written(tmp_path / "bench.xlsx", bench_workbook(records))
    text = "\n".join(inside(path).values())
    for hint in (
        "cylindrical",
        "double",
        "C1<",
        "D1<",
        "D2<",
        ">M1<",
        ">S1<",
        "pressure",
        "purity",
        "mild steel",
        "S235",
    ):
        assert hint not in text, hint
    marks = measuring_order(records)
    assert sorted(marks) == sorted(records.coupons["coupon"])
    assert marks != records.coupons["coupon"].tolist()


def test_the_measuring_order_is_the_trials_own_and_the_repeats_have_another(frozen):
    records = store.load(frozen)
    order = measuring_order(records)
    assert order == measuring_order(records)
    assert len(repeat_order(records)) == 1  # a tenth of eight coupons, at least one
    bench = records.trial.bench.model_copy(update={"repeat_share": 1.0})
    all_again = replace(records, trial=records.trial.model_copy(update={"bench": bench}))
    again = repeat_order(all_again)
    assert set(again) == set(order[:6])  # not the last quarter, which was measured just before
    assert again not in (order[:6], sorted(again), [mark for mark in records.coupons["coupon"] if mark in again])


def test_another_seed_gives_another_measuring_order(frozen):
    records = store.load(frozen)
    other = records.trial.model_copy(update={"plan": records.trial.plan.model_copy(update={"seed": 5})})
    assert measuring_order(replace(records, trial=other)) != measuring_order(records)


def test_lost_coupons_leave_the_order_of_the_others_as_it_was(cut):
    before = measuring_order(store.load(cut))
    store.correct_row(cut, store.RowChange("coupon", before[2], "outcome", "not_severed"), "Operator", "seen later")
    after = measuring_order(store.load(cut))
    assert after == [mark for mark in before if mark != before[2]]


def test_bench_cells_have_limits_and_drop_downs(frozen, tmp_path):
    path = written(tmp_path / "bench.xlsx", bench_workbook(store.load(frozen)))
    sheet = inside(path)["xl/worksheets/sheet1.xml"]
    rules = re.findall(r"<dataValidation .*?</dataValidation>", sheet, re.S)
    kinds = {re.search(r'promptTitle="(.*?)"', rule)[1]: rule for rule in rules}
    assert "<formula1>0.0</formula1><formula2>1000.0</formula2>" in kinds["rz5_um"]
    assert "<formula1>0.0</formula1><formula2>10.0</formula2>" in kinds["u_mm"]
    assert "0,1,2,3,4" in kinds["dross_grade"]
    assert "left,right" in kinds["side"]
    assert "4 continuous, fused" in kinds["dross_grade"]
    for column in ("rz5_um", "u_mm", "dross_grade"):  # `>100` and `not measurable` may be typed
        assert re.search(r'errorStyle="(warning|information)"', kinds[column]), column
    assert "0 to 1000 µm" in kinds["rz5_um"]
    assert "<sheetProtection" in sheet
    assert 'state="frozen"' in sheet


def test_a_filled_bench_workbook_is_read_back(cut, tmp_path, monkeypatch):
    import trials.store.workbooks.bench_book as bench_book

    plain = bench_book._rows

    def filled(listed, thickness, headers):
        rows = plain(listed, thickness, headers)
        for i, row in enumerate(rows):
            row[headers.index("rz5_um")] = 30.0 + i
            if row[headers.index("reading")] == 1:
                row[headers.index("dross_grade")] = 1
        return rows

    monkeypatch.setattr(bench_book, "_rows", filled)
    records = store.load(cut)
    long = intake.read_bench(written(tmp_path / "bench.xlsx", bench_workbook(records)), records).readings
    assert long.said == ()
    assert long.frame["field"].value_counts().to_dict() == {"rz5_um": 24, "dross_grade": 8}
    assert set(long.frame["cutoff_mm"]) == {2.5}
    assert store.record_readings(cut, long).added == 32
    order = measuring_order(records)
    rows = long.frame
    assert rows.loc[rows["field"] == "dross_grade", "coupon"].tolist() == order


def evaluated(formula, cell, value, limits, thickness):
    """The range a bench formula gives: nested IFs of one comparison each, worked out by hand."""
    found = re.findall(
        r"IF\(ROUND\((\w+),9\)<=ROUND\('how to'!\$(\w)\$(\d+)\+'how to'!\$(\w)\$\d+\*.*?,9\),(\d)", formula
    )
    assert all(entry[0] == cell for entry in found)
    for _, base, row, slope, answer in found:
        limit = limits[int(row) - 1][ord(base) - 65] + limits[int(row) - 1][ord(slope) - 65] * thickness
        if round(value, 9) <= round(limit, 9):
            return int(answer)
    return 0


def test_the_grade_shown_while_typing_agrees_with_the_command(frozen, tmp_path):
    path = written(tmp_path / "bench.xlsx", bench_workbook(store.load(frozen)))
    limits = cells(path, "how to")
    head = cells(path, "readings")[0]
    sheet = inside(path)["xl/worksheets/sheet1.xml"]
    for header, field, grade, steps in (
        ("range of u", "u_mm", squareness_range, np.arange(0, 2000) / 1000),
        ("range of Rz5", "rz5_um", roughness_range, np.arange(0, 1500) / 10),
    ):
        letter = xlsxwriter.utility.xl_col_to_name(head.index(header))
        cell = f"{xlsxwriter.utility.xl_col_to_name(head.index(field))}2"
        formula = (
            re.search(rf'<c r="{letter}2"[^>]*><f>(.*?)</f>', sheet)[1].replace("&lt;", "<").replace("&quot;", '"')
        )
        assert limits[1][1] == 12.0
        shown = [evaluated(formula, cell, value, limits, 12.0) for value in steps]
        assert shown == grade(steps, 12.0).tolist()


def test_a_thickness_that_is_varied_stands_beside_the_mark(tmp_path, toml, plan, at):
    place = tmp_path / "trial"
    place.mkdir()
    text = toml.replace(
        '[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.9]\ntoday = 0.5',
        '[factors.thickness]\nunit = "mm"\nlevels = [6, 12]',
    )
    (place / "trial.toml").write_text(text, encoding="utf-8")
    plan["coupons"] = plan["coupons"].rename(columns={"pressure_bar": "thickness_mm"})
    plan["coupons"]["thickness_mm"] = [6.0, 12.0] * 4
    records = store.freeze(place, plan, at=at)
    path = written(tmp_path / "bench.xlsx", bench_workbook(records))
    rows = cells(path, "readings")
    assert rows[0][4] == "thickness_mm (plan)"
    given = dict(zip(records.coupons["coupon"], records.coupons["thickness_mm"], strict=True))
    assert all(row[4] == given[row[1]] for row in rows[1:])
    assert "*$E2" in inside(path)["xl/worksheets/sheet1.xml"]
    assert len(intake.read_bench(path, records).readings.frame) == 0


def test_a_bench_without_repeats_has_no_workbook_for_them(frozen):
    records = store.load(frozen)
    assert repeats_workbook(records) is not None
    bench = records.trial.bench.model_copy(update={"repeat_share": 0.0})
    assert repeats_workbook(replace(records, trial=records.trial.model_copy(update={"bench": bench}))) is None


def test_repeats_stand_in_a_workbook_of_their_own_under_other_marks_without_dross(frozen, tmp_path):
    draw_marks(frozen, ["QF4", "KX7", "ZN6"])
    records = store.load(frozen)
    bench = records.trial.bench.model_copy(update={"repeat_share": 0.3})
    records = replace(records, trial=records.trial.model_copy(update={"bench": bench}))
    again = repeat_order(records)
    draw_marks(frozen, again)
    records = replace(records, repeat_marks=store.load(frozen).repeat_marks)
    edges = dict(zip(records.coupons["coupon"], ["left", "right", "near", "far"] * 2, strict=True))
    records = replace(records, coupons=records.coupons.assign(edge=records.coupons["coupon"].map(edges)))
    path = written(tmp_path / "repeats.xlsx", repeats_workbook(records))
    head, *rows = cells(path, "readings")
    given = [row for row in rows if row[head.index("coupon")]]
    assert [row[head.index("coupon")] for row in given[::3]] == [mark for mark, _ in labelled(records)]
    assert [records.repeat_marks[row[head.index("coupon")]] for row in given[::3]] == again
    assert [row[head.index("side")] for row in given[::3]] == [edges[coupon] for coupon in again]
    assert {"rz5_um", "u_mm"} <= set(head) and not {"dross_grade", "repeat"} & set(head)
    text = "\n".join(inside(path).values())
    assert not [mark for mark in records.coupons["coupon"] if mark in text]


def test_workbooks_are_set_for_the_paper_of_the_trial(frozen, tmp_path):
    records = store.load(frozen)
    heading = records.trial.trial.model_copy(update={"paper": "Letter"})
    letter = replace(records, trial=records.trial.model_copy(update={"trial": heading}))
    for make in (run_workbook, bench_workbook):
        for found, size in ((records, '"9"'), (letter, '"1"')):
            page = inside(written(tmp_path / "a.xlsx", make(found)))["xl/worksheets/sheet1.xml"]
            assert f"paperSize={size}" in page


def test_the_edge_to_measure_stands_on_every_row_and_reads_back(cut, tmp_path):
    records = store.load(cut)
    edges = dict(zip(records.coupons["coupon"], ["left", "right", "near", "far"] * 2, strict=True))
    placed = replace(records, coupons=records.coupons.assign(edge=records.coupons["coupon"].map(edges)))
    head, *rows = cells(written(tmp_path / "bench.xlsx", bench_workbook(placed)), "readings")
    given = [row for row in rows if row[head.index("coupon")]]
    assert len(given) == 24
    assert [row[head.index("side")] for row in given] == [edges[row[head.index("coupon")]] for row in given]
    side = next(
        rule
        for rule in re.findall(
            r"<dataValidation .*?</dataValidation>", inside(tmp_path / "bench.xlsx")["xl/worksheets/sheet1.xml"], re.S
        )
        if 'promptTitle="side"' in rule
    )
    assert "left,right,near,far" in side
    assert len(intake.read_bench(tmp_path / "bench.xlsx", records).readings.frame) == 0


def test_rows_stand_open_for_what_is_measured_once_more(frozen, tmp_path):
    path = written(tmp_path / "bench.xlsx", bench_workbook(store.load(frozen)))
    sheet = inside(path)["xl/worksheets/sheet1.xml"]
    styles = [re.findall(r'<c r="[A-E]\d+" s="(\d+)"/>', row) for row in re.findall(r"<row .*?</row>", sheet)][-6:]
    assert [len(row) for row in styles] == [5] * 6  # the mark too is open, where it is grey in the rows above
