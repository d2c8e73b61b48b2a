"""Papers, workbooks and screens in inches: each figure is the metric one converted; records and JSON stay."""

import json
import re
import shutil
from datetime import date
from io import BytesIO

import numpy as np
import pytest
from python_calamine import CalamineWorkbook
from tests_support import draw_blank

from trials import steps
from trials.bench.roughness import measure_profile
from trials.bench.squareness import perpendicularity
from trials.decide.kinds import StudyKind
from trials.decide.study import study
from trials.findings import About, Amount, Finding, Weight
from trials.grade.kinds import GradeKind
from trials.plan.kinds import PlanKind
from trials.report import figures
from trials.report.bench_paper import bench_card_data, run_sheet_data
from trials.report.plan_paper import PlanPaper, plan_data
from trials.report.verdict import verdict_data
from trials.steps.journal import plan_findings
from trials.steps.plan import frozen_plan
from trials.steps.verdict_facts import verdict_extras
from trials.store.workbooks import bench_workbook, run_workbook
from trials.words import bench_figures, traces
from trials.words.findings import say
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


def study_screen(trials, folder, tmp_path):
    """The study of the bench after some coupons were measured again."""
    kept = steps.load(folder).readings.astype({"value": float})
    firsts = (
        kept[(kept["repeat"] == 0) & (kept["reading"] == 1)].set_index(["coupon", "field"])["value"].unstack().head(8)
    )
    lines = [
        f"{mark},1,1,{row.rz5_um * (1.01, 0.98)[k % 2]:.2f},{row.u_mm + (0.01, -0.01)[k % 2]:.3f},CD"
        for k, (mark, row) in enumerate(firsts.iterrows())
    ]
    table = tmp_path / f"{folder.name}.csv"
    table.write_text("\n".join(["coupon,reading,repeat,rz5_um,u_mm,inspector", *lines]), encoding="utf-8")
    assert trials("record", folder, table).code == 0
    return trials("bench", folder).out


def test_the_bench_is_studied_in_inches_and_its_lines_for_the_file_stay_metric(trials, states, tmp_path):
    plain, folder = (shutil.copytree(states / "measured", tmp_path / name) for name in ("metric", "inch"))
    own, other = study_screen(trials, plain, tmp_path), study_screen(trials, in_inches(folder), tmp_path)
    for unit in ("µm", "mm"):
        wanted, scale = PER[unit]
        before, after = (part_of(text, head) for text, head in ((own, f", {unit}"), (other, f", {wanted}")))
        assert len(before) == len(after) > 4
        for x, y in zip(before, after, strict=True):
            assert y == pytest.approx(x * scale, rel=0.01)  # three digits each
    assert own.partition("[bench]")[2].partition("\n\n")[0] == other.partition("[bench]")[2].partition("\n\n")[0]
    assert json.loads(trials("bench", folder, "--json").out) == json.loads(trials("bench", plain, "--json").out)


def part_of(screen, head):
    """Figures of the table whose head names a unit, and of the sentence on a single reading after it."""
    table = screen.partition(f"standard deviation{head}")[2].partition("95 % interval")[2].partition(" either way")[0]
    return [float(figure) for figure in re.findall(r"\d+\.?\d*(?:e-\d+)?", table) if float(figure)]


@pytest.mark.usefixtures("drawn_pictures")
def test_what_is_measured_is_shown_in_inches():
    x = np.arange(0.0, 15.0, 0.0005)
    trace = measure_profile(10.0 * np.sin(2 * np.pi * x / 0.25), 0.0005)
    depth = np.linspace(0.0, 12.0, 50)
    scan = perpendicularity(depth, 0.03 * np.sin(depth), 12.0)

    def shown():
        rows = [*traces.roughness_rows(trace), *traces.squareness_rows(scan)]
        return rows, bench_figures.trace_axis(trace), bench_figures.scan_axis(scan), bench_figures.scan_depth()

    metric = shown()
    with showing(System.INCH):
        inch = shown()
        drawing = figures.scan_figure(scan, 12.0)
    for (_, before, own), (_, after, other) in zip(metric[0], inch[0], strict=True):
        wanted, scale = PER.get(own.partition(" ")[0], (own, 1.0))
        if wanted != "in" or before != "2.5":  # a cut-off goes by its metric name
            assert other.startswith(wanted)
            assert float(after) == pytest.approx(float(before) * scale, abs=step(before) * scale + step(after))
    along, out, deep = inch[1:]
    assert along.startswith("in along the edge   (Rz5 787 µin:") and along.endswith("cut-off 2.5 mm)")
    assert "line, in " in out and deep.endswith(", in") and "mm" not in out + deep
    assert "0.4" in drawing and "depth below the top face, in" in drawing  # 12 mm are 0.47 in


@pytest.mark.parametrize(
    ("finding", "said"),
    [
        (
            Finding(StudyKind.OTHER_SETTINGS, facts={"ranges": (("pressure", "bar", (0.5, 0.9)),)}),
            "pressure 7.25 to 13.1 psi",
        ),
        (
            Finding(
                PlanKind.CONFIRM_LIMITS,
                About(nozzle="double"),
                {
                    "coupons": 6,
                    "setting": (("pressure", Amount(0.7, "bar")),),
                    "low": Amount(25.4, "um"),
                    "high": Amount(50.8, "um"),
                },
            ),
            "between 1000 and 2000 µin",
        ),
        (
            Finding(GradeKind.OUT_OF_SCOPE, facts={"low": Amount(0.5, "mm"), "high": Amount(32.0, "mm")}),
            "0.0197 to 1.26 in",
        ),
        (
            Finding(
                StudyKind.FAR_READINGS,
                facts={"readings": (), "pairs": (("P7F", Amount(52.2, "um"), Amount(345.0, "um")),)},
                weight=Weight.LOOK_AT,
            ),
            "P7F: 2055 and 13583 µin",
        ),
    ],
)
def test_both_ends_of_a_span_are_converted(finding, said):
    with showing(System.INCH):
        assert said in say(finding)
