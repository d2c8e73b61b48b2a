"""An invented trial and an invented study of it; no number here was measured or fitted."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest

from trials.decide.chance_result import TOGETHER, ChanceResult
from trials.decide.kinds import StudyKind
from trials.decide.results import (
    Comparison,
    Mean,
    NextStep,
    NozzleRow,
    ResponseResult,
    Share,
    Spread,
    State,
    Study,
    TermTest,
    Worded,
)
from trials.findings import About, Amount, Finding, Place, PlaceKind, Weight
from trials.grade.iso9013 import Designation
from trials.grade.kinds import GradeKind
from trials.infer.answer import Added, Answer
from trials.infer.model import RestsOn
from trials.plan.kinds import PlanKind
from trials.record_kinds import RecordKind
from trials.report.extras import VerdictExtras
from trials.trial import Trial, parse

MADE_ON = date(2026, 3, 2)
UNITS = {"pressure": "bar", "standoff": "mm"}
PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},), UNITS)
EVERY = Place(PlaceKind.AVERAGE, ({"pressure": 0.5, "standoff": 1.0}, {"pressure": 0.7, "standoff": 1.0}), UNITS)
BASIS = RestsOn("specimen", 12, 3, "sheet", 6.0)
TYPES = ("cylindrical", "cylindrical plated", "double", "shower")

TRIAL_TOML = """
[trial]
title = "12 mm mild steel, oxygen: which nozzle type? (invented)"
question = "Does a double-wall nozzle give a better edge than today's single one?"
engineer = "E. Invented"
[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
cut = "flame"
required = { squareness_range = 2, roughness_range = 2, dross_grade = 1 }
[[nozzles]]
type = "cylindrical"
bore = "cylindrical"
wall = "single"
orifice_mm = 1.4
price = 9.0
specimens = ["C1", "C2", "C3"]
today = true
[[nozzles]]
type = "cylindrical plated"
bore = "cylindrical"
wall = "single"
plated = true
orifice_mm = 1.4
price = 14.5
specimens = ["P1", "P2", "P3"]
[[nozzles]]
type = "double"
bore = "cylindrical"
wall = "double"
orifice_mm = 1.4
price = 22.0
specimens = ["D1", "D2", "D3"]
[[nozzles]]
type = "shower"
bore = "cylindrical"
wall = "single"
side_jets = true
orifice_mm = 1.4
price = 19.0
specimens = ["S1", "S2", "S3"]
[factors.pressure]
unit = "bar"
levels = [0.5, 0.7, 0.9]
today = 0.7
[factors.standoff]
unit = "mm"
levels = [0.6, 1.0, 1.4]
today = 1.0
[held]
speed_m_min = 1.1
focus_mm = 4.0
power_kw = 4.0
[plan]
sheets = 3
seed = 20417
limits = [{ factors = ["pressure", "standoff"], product_at_most = 1.2 }]
[responses.roughness]
primary = true
readings = 3
worthwhile = "15 %"
[responses.squareness]
readings = 3
worthwhile = "0.03 mm"
[responses.dross]
readings = 1
"""


def planned(trial: Trial) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Planned coupons, mounts and sheets of the invented trial."""
    rng = np.random.default_rng(7)
    specimens = [(n.type, s) for n in trial.nozzles for s in n.specimens]
    order = rng.permutation(len(specimens))
    settings = [(p, s) for p in (0.5, 0.7, 0.9) for s in (0.6, 1.0, 1.4) if p * s <= 1.2]
    marks = [f"{a}{b}{d}" for a in "ABDFHKMNRT" for b in "EHKNRTUX" for d in "2346789"]
    marks = [marks[k] for k in rng.permutation(len(marks))]
    coupons, mounts = [], []
    placed = dict.fromkeys((1, 2, 3), 0)
    for place, which in enumerate(order):
        nozzle, specimen = specimens[which]
        sheet = int(specimen[1:])
        mounts.append(
            {"mount": f"M{place + 1}", "order": place + 1, "sheet": str(sheet), "nozzle": nozzle, "specimen": specimen}
        )
        for k in rng.permutation(len(settings)):
            spot = placed[sheet]
            placed[sheet] += 1
            coupons.append(
                {
                    "coupon": marks.pop(),
                    "order": len(coupons) + 1,
                    "sheet": str(sheet),
                    "mount": f"M{place + 1}",
                    "nozzle": nozzle,
                    "specimen": specimen,
                    "pressure_bar": settings[k][0],
                    "standoff_mm": settings[k][1],
                    "x_mm": 20.0 + 75.0 * (spot % 8),
                    "y_mm": 20.0 + 55.0 * (spot // 8),
                    "edge": ("left", "right", "near", "far")[spot % 4],
                    "cut_direction": ("clockwise", "anticlockwise")[spot // 2 % 2],
                }
            )
    sheets = pd.DataFrame({"sheet": ["1", "2", "3"], "heat_lot": ["", "", ""], "surface": ["pickled", "", ""]})
    return pd.DataFrame(coupons), pd.DataFrame(mounts), sheets


def analysed(trial: Trial, level: float, shifts: dict[str, float], spread: float, seed: int) -> pd.DataFrame:
    """Invented readings of one response, three per coupon, left and right, two coupons lost."""
    rng = np.random.default_rng(seed)
    coupons = planned(trial)[0].rename(columns={"order": "cut_order"}).drop([4, 40])
    coupons["centre"] = level * np.exp(
        coupons["nozzle"].map(shifts)
        + 0.12 * (coupons["standoff_mm"] - 1.0)
        - 0.2 * (coupons["pressure_bar"] - 0.7)
        + spread * rng.standard_normal(len(coupons))
    )
    rows = coupons.loc[coupons.index.repeat(3)].reset_index(drop=True)
    rows["side"] = np.tile(["left", "right", "left"], len(coupons))
    off = np.where((rows["mount"] == "M5") & (rows["side"] == "left"), 0.25, 0.0)
    rows["value"] = rows["centre"] * np.exp(off + 0.07 * rng.standard_normal(len(rows)))
    return rows.drop(columns=["centre"])


def comparison(nozzle: str, value: float, low: float, high: float, p: float, answer: Answer, adds: Added | None):
    unit = (35 * (value - 1), 35 * (low - 1), 35 * (high - 1))
    return Comparison(nozzle, "cylindrical", PLACE, "ratio", value, low, high, p, answer, adds, 0.95, unit)


def roughness_result() -> ResponseResult:
    means = ((35.1, 32.4, 38.0), (34.6, 31.9, 37.5), (27.9, 25.7, 30.2), (38.2, 35.2, 41.4))
    return ResponseResult(
        response="roughness",
        label="mean height of profile Rz5",
        symbol="Rz5",
        scale="log",
        unit="um",
        primary=True,
        n_readings=318,
        n_coupons=106,
        state=State.COMPARED,
        rests_on=BASIS,
        terms=(
            TermTest("nozzle", 3, 6.1, 14.2, 0.0038, 14.9, 6, 0.0035, ("nozzle",)),
            TermTest("pressure", 1, 80.4, 5.6, 0.020, 5.6, 81, 0.020, ("pressure",)),
            TermTest("standoff", 1, 80.2, 11.9, 0.0009, 11.9, 81, 0.0009, ("standoff",)),
            TermTest("nozzle x standoff", 3, 80.1, 0.9, 0.44, 0.9, 81, 0.44, ("nozzle", "standoff")),
        ),
        spread=(
            Spread("sheet", 0.02, 0.03),
            Spread("specimen", 0.061, 0.3),
            Spread("coupon", 0.09, 0.5),
            Spread("reading", 0.07, 0.2),
        ),
        means=tuple(Mean(t, PLACE, *m) for t, m in zip(TYPES, means, strict=True)),
        comparisons=(
            comparison("cylindrical plated", 0.986, 0.87, 1.12, 0.98, Answer.SAME, None),
            comparison("double", 0.795, 0.70, 0.90, 0.003, Answer.BETTER, Added.HOW_MUCH_OPEN),
            comparison("shower", 1.09, 0.96, 1.24, 0.19, Answer.NOT_SETTLED, None),
        ),
        pairs=(Comparison("double", "shower", PLACE, "ratio", 0.73, 0.63, 0.85, 0.002),),
        worthwhile=0.1398,
        checks=(
            Finding(
                StudyKind.DRIFT,
                facts={"value": Amount(2.0, "%"), "low": Amount(-3.0, "%"), "high": Amount(7.0, "%"), "p": 0.4},
                weight=Weight.NOTHING_FOUND,
            ),
            Finding(
                StudyKind.CENTRING,
                About(nozzles=("shower",)),
                {"mounts": 12, "shifts": (("M5", "shower", "left", "right", Amount(27.0, "%")),)},
                Weight.LOOK_AT,
            ),
            Finding(
                StudyKind.FAR_READINGS,
                About(coupons=("KE4",)),
                {"readings": (("KE4", "2", Amount(341.0, "um")),)},
                Weight.LOOK_AT,
            ),
        ),
        more=(as_written("shower: 5 more specimens would settle it with a chance of 80 % if it is truly 15 % worse."),),
        said=(as_written("One mount per specimen: their spreads are one and stand under specimen."),),
        other_means=tuple(
            Mean(t, EVERY, m[0] * 1.02, m[1] * 1.02, m[2] * 1.02) for t, m in zip(TYPES, means, strict=True)
        ),
    )


def squareness_result() -> ResponseResult:
    means = ((0.19, 0.16, 0.22), (0.19, 0.16, 0.22), (0.15, 0.12, 0.18), (0.21, 0.18, 0.24))
    return ResponseResult(
        response="squareness",
        label="perpendicularity tolerance u",
        symbol="u",
        scale="as measured",
        unit="mm",
        primary=False,
        n_readings=318,
        n_coupons=106,
        state=State.COMPARED,
        rests_on=BASIS,
        terms=(TermTest("nozzle", 3, 6.0, 3.1, 0.11, parts=("nozzle",)),),
        spread=(Spread("specimen", 0.02, 0.4),),
        means=tuple(Mean(t, PLACE, *m) for t, m in zip(TYPES, means, strict=True)),
        comparisons=(Comparison("double", "cylindrical", PLACE, "difference", -0.04, -0.08, 0.003, 0.06),),
        worthwhile=0.03,
    )


ROUGHNESS = About(response="roughness")


def as_written(words: str) -> Finding:
    """A finding whose sentence is given, as old journals keep them."""
    return Finding(PlanKind.AS_WRITTEN, facts={"text": words})


def graded_table(trial: Trial) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    coupons = planned(trial)[0]
    roughness = rng.choice([1, 2, 2, 2, 3], len(coupons))
    squareness = rng.choice([1, 2, 2, 3], len(coupons))
    roughness[4] = squareness[4] = -1
    met = np.where((roughness <= 2) & (squareness <= 2), "yes", "no").astype(object)
    met[[10, 11, 50]] = "undecided"
    met[4] = "no"
    over, near = Finding(GradeKind.OVER_LIMIT, ROUGHNESS), Finding(GradeKind.NEAR_LIMIT, ROUGHNESS)
    reasons = [{"no": (over,), "undecided": (near,)}.get(answer, ()) for answer in met]
    reasons[4] = (Finding(GradeKind.NOT_SEVERED),)
    return pd.DataFrame(
        {
            "coupon": coupons["coupon"],
            "nozzle": coupons["nozzle"],
            "roughness_range": roughness,
            "squareness_range": squareness,
            "dross_grade": rng.choice([0, 0, 1, 2], len(coupons)),
            "designation": [Designation("ISO 9013-220")] * len(coupons),
            "meets": met,
            "reasons": reasons,
        }
    )


def invented_study() -> Study:
    same, better = Worded("roughness", Answer.SAME), Worded("roughness", Answer.BETTER, Added.HOW_MUCH_OPEN)
    answers = ((), (same,), (better,), (Worded("roughness", Answer.NOT_SETTLED),))
    rz, u = (35.1, 34.6, 27.9, 38.2), (0.19, 0.19, 0.15, 0.21)
    trial = invented_trial()
    rows = tuple(
        NozzleRow(
            n.type,
            n,
            n.today,
            n.price,
            3,
            (24, 24, 23, 23)[k],
            (0, 0, 1, 1)[k],
            {"roughness": rz[k], "squareness": u[k]},
            (Share(15, 24, 0), Share(16, 24, 0), Share(21, 24, 0), Share(11, 24, 2))[k],
            answers[k],
        )
        for k, n in enumerate(trial.nozzles)
    )
    return Study(
        title=trial.trial.title,
        question=trial.trial.question,
        results=(squareness_result(), roughness_result()),
        nozzles=rows,
        chances=(
            ChanceResult("cylindrical", TOGETHER, PLACE, 0.61, 0.44, 0.63, 27),
            ChanceResult("double", TOGETHER, PLACE, 0.88, 0.71, 0.89, 27),
        ),
        departures=(
            as_written("Coupon KE4 was not severed (double, D1)."),
            as_written("Coupon RX7 was scrapped: fell between the slats."),
            as_written("Mount M5 was cut before M4."),
        ),
        cannot_say=(
            as_written("How long a double-wall nozzle lasts: wear was not part of this trial."),
            as_written("Anything about other thicknesses, materials or gases."),
            as_written("Best settings and cost per metre are not computed."),
        ),
        next_steps=(
            NextStep(as_written("Run the double-wall nozzle at today's settings for two weeks and count pierces.")),
            NextStep(as_written("Refit mount M5 and check its centring.")),
        ),
    )


def invented_trial() -> Trial:
    return parse(TRIAL_TOML)


def invented_extras() -> VerdictExtras:
    trial = invented_trial()
    shifts = {"cylindrical": 0.0, "cylindrical plated": -0.01, "double": -0.23, "shower": 0.08}
    return VerdictExtras(
        graded=graded_table(trial),
        tables={
            "roughness": analysed(trial, 35.0, shifts, 0.10, 1),
            "squareness": analysed(trial, 0.19, shifts, 0.2, 2),
        },
        changes=(
            Finding(
                RecordKind.QUESTION_AMENDED,
                facts={"key": "plan.looks", "old": "1", "new": "2", "who": "E. Invented", "why": "a second look"},
            ),
        ),
        planned=(
            as_written("Every nozzle type at every allowed setting, three specimens each, on three sheets."),
            as_written("Style and orifice are not mixed up: all types share one orifice."),
        ),
        freeze_hash="3f" * 32,
        bench_facts=("Rz5 by stylus instrument No. 4, cut-off 2.5 mm, at 8 mm depth.",),
        software="nozzle-trials 0.0 (test)",
    )


def small(study: Study) -> Study:
    """The invented study with its main response only, for tests that make it twice."""
    return dataclasses.replace(study, results=study.results[1:])


def small_extras() -> VerdictExtras:
    found = invented_extras()
    return VerdictExtras(tables={"roughness": found.tables["roughness"].head(60)}, graded=found.graded)


@pytest.fixture(scope="session")
def trial() -> Trial:
    return invented_trial()


@pytest.fixture(scope="session")
def study() -> Study:
    return invented_study()


@pytest.fixture(scope="session")
def extras() -> VerdictExtras:
    return invented_extras()


@pytest.fixture(scope="session")
def plan(trial):
    """Coupons, mounts and sheets of a small plan: two mounts of the invented trial."""
    rows = [
        ("KE4", 1, "1", "M1", "double", "D1", 0.5, 1.0, 20.0, 20.0, "left", "clockwise"),
        ("RX7", 2, "1", "M1", "double", "D1", 0.9, 0.6, 95.0, 20.0, "near", "anticlockwise"),
        ("AH3", 3, "2", "M2", "cylindrical", "C1", 0.5, 1.4, 20.0, 20.0, "far", "clockwise"),
    ]
    ids = ["coupon", "order", "sheet", "mount", "nozzle", "specimen"]
    names = [*ids, "pressure_bar", "standoff_mm", "x_mm", "y_mm", "edge", "cut_direction"]
    mounts = pd.DataFrame(
        [("M2", 2, "2", "cylindrical", "C1"), ("M1", 1, "1", "double", "D1")],
        columns=["mount", "order", "sheet", "nozzle", "specimen"],
    )
    return pd.DataFrame(rows, columns=names), mounts, pd.DataFrame({"sheet": ["1", "2"], "heat_lot": ["A 17", None]})
