"""Papers, workbooks and screens in inches: each figure is the metric one converted; records and JSON stay."""

import json
import re
import shutil
from datetime import date
from io import BytesIO

import pytest
from python_calamine import CalamineWorkbook
from tests_support import draw_blank

from trials import steps
from trials.decide.study import study
from trials.report.bench_paper import bench_card_data, run_sheet_data
from trials.report.plan_paper import PlanPaper, plan_data
from trials.report.verdict import verdict_data
from trials.steps.journal import plan_findings
from trials.steps.plan import frozen_plan
from trials.steps.verdict_facts import verdict_extras
from trials.store.workbooks import bench_workbook, run_workbook
from trials.words.system import System, showing

DAY = date(2026, 3, 2)
PER = {"mm": ("in", 1 / 25.4), "µm": ("µin", 1 / 0.0254), "bar": ("psi", 14.503774), "m/min": ("in/min", 1 / 0.0254)}
"""Unit -> the one in inches, and how many of those it is (ISO 80000-3; NIST SP 811 Appendix B)."""
NUMBER = re.compile(r"[-−]?\d+(?:\.\d+)?")
UNIT = "|".join(re.escape(unit) for unit in PER)


def in_inches(folder):
    """The trial asks for inches, which is not frozen."""
    file = folder / "trial.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("[trial]\n", '[trial]\nunits = "inch"\n', 1), "utf-8")
    return folder


@pytest.fixture(scope="module")
def both(states):
    """Texts of the papers in metric units and in inches, by paper, in the same order."""
    records = steps.load(states / "measured")
    evidence, trial, plan = steps.evidence(records), records.trial, frozen_plan(records)
    result, judged = study(trial, evidence), steps.judge(trial, plan, 10)
    tables = records.coupons, records.planned_mounts, records.planned_sheets
    found = []
    with pytest.MonkeyPatch.context() as patch:
        draw_blank(patch)
        for system in System:
            with showing(system):
                found.append(
                    {
                        "verdict": verdict_data(result, trial, DAY, verdict_extras(records, evidence)),
                        "plan": plan_data(PlanPaper(trial, plan, judged, None), DAY),
                        "run sheet": run_sheet_data(trial, *tables, plan_findings(records), DAY),
                        "bench card": bench_card_data(trial, DAY),
                    }
                )
    return [{name: list(texts(data)) for name, data in papers.items()} for papers in found]


def texts(data):
    if isinstance(data, dict):
        for key, part in data.items():
            yield from () if key == "svg" else texts(part)
    elif isinstance(data, (list, tuple)):
        for part in data:
            yield from texts(part)
    elif isinstance(data, str):
        yield data


def step(figure):
    """Half of the last printed digit."""
    return 0.5 * 10.0 ** -len(figure.partition(".")[2])


@pytest.mark.parametrize("paper", ["verdict", "plan", "run sheet", "bench card"])
def test_every_figure_with_a_unit_is_converted(both, paper):
    metric, inch = (papers[paper] for papers in both)
    pairs = 0
    for own, other in zip(metric, inch, strict=True):
        if "cut-off" in own.lower():  # the nominal length set at the instrument, its name in both systems
            continue
        for before, after in zip(NUMBER.finditer(own), NUMBER.finditer(other), strict=True):
            unit = re.match(rf"\s({UNIT})(?![\w/])", own[before.end() :])
            if unit is None:
                continue
            wanted, scale = PER[unit[1]]
            assert other[after.end() :].startswith(f" {wanted}"), other
            x, y = float(before[0].replace("−", "-")), float(after[0].replace("−", "-"))
            assert y == pytest.approx(x * scale, abs=step(before[0]) * scale + step(after[0]) + 0.005 * abs(y)), other
            pairs += 1
        assert not re.search(rf"\d ({UNIT})\b|, ({UNIT})\b", other), other
    assert pairs >= 3


def test_every_other_figure_is_the_same_or_converted(both):
    """Cells under a head with the unit have none of their own: each is as it was, or in one of the four ratios."""
    metric, inch = both
    scales = [scale for _, scale in PER.values()]
    changed = 0
    for paper in metric:
        for own, other in zip(metric[paper], inch[paper], strict=True):
            before, after = NUMBER.findall(own), NUMBER.findall(other)
            assert len(before) == len(after), (own, other)
            for one, two in zip(before, after, strict=True):
                x, y = (float(figure.replace("−", "-")) for figure in (one, two))
                rooms = [step(one) * s + step(two) + 0.005 * abs(y) for s in scales]
                fits = any(abs(x * s - y) <= room for s, room in zip(scales, rooms, strict=True))
                assert x == y or fits, (own, other)
                changed += x != y
    assert changed > 100


def head_of(data, sheet):
    return CalamineWorkbook.from_filelike(BytesIO(data)).get_sheet_by_name(sheet).to_python()[0]


def test_the_workbooks_ask_for_inches_and_readings_come_back_in_metric_units(trials, states, tmp_path):
    folder = in_inches(shutil.copytree(states / "cut", tmp_path / "cut"))
    records = steps.load(folder)
    with showing(System.INCH):
        head, cuts = head_of(bench_workbook(records), "readings"), head_of(run_workbook(records), "cuts")
    assert {"rz5_uin", "u_in"} <= set(head) and not {"rz5_um", "u_mm"} & set(head)
    assert {"pressure_psi (plan)", "standoff_in (plan)"} <= set(cuts)
    mark = records.coupons["coupon"].iloc[0]
    (tmp_path / "r.csv").write_text(f"coupon,reading,rz5_uin,u_in,dross_grade\n{mark},1,1000,0.01,1\n", "utf-8")
    assert trials("record", folder, tmp_path / "r.csv").code == 0
    kept = steps.load(folder).readings.set_index("field")["value"].astype(float)
    assert kept["rz5_um"] == pytest.approx(25.4, abs=1e-9)  # 1000 µin
    assert kept["u_mm"] == pytest.approx(0.254, abs=1e-9)


def test_the_formula_of_a_range_turns_inches_back_before_it_compares(states):
    records = steps.load(states / "cut")
    with showing(System.INCH):
        data = bench_workbook(records)
    import zipfile

    sheet = zipfile.ZipFile(BytesIO(data)).read("xl/worksheets/sheet1.xml").decode("utf-8")
    assert re.search(r"ROUND\([A-Z]+2\*25\.4,9\)", sheet) and re.search(r"ROUND\([A-Z]+2\*0\.0254,9\)", sheet)


def test_screens_are_in_inches_and_json_stays_metric(trials, states, tmp_path):
    folder = in_inches(shutil.copytree(states / "measured", tmp_path / "measured"))
    plain = shutil.copytree(states / "measured", tmp_path / "metric")
    screen, grades = trials("fit", folder).out, trials("grade", folder).out
    assert "µin" in screen and "psi" in screen and not re.search(r"\d (µm|mm|bar)\b", screen)
    assert "µin" in grades and "µm" not in grades
    shown, kept = (json.loads(trials("grade", one, "--json").out) for one in (folder, plain))
    assert shown == kept
    assert trials("fit", plain).out.count("psi") == 0  # what one command showed is over with it
