"""A small trial: two nozzle types, two specimens each, pressure x two levels, one sheet per half."""

import shutil
from datetime import UTC, datetime

import pandas as pd
import pytest
from tests_support import readings_table

from trials.findings import Finding
from trials.plan.kinds import PlanKind
from trials.store import records

TOML = """\
[trial]
title = "12 mm mild steel, oxygen"
question = "Does a double wall give a better edge?"
engineer = "Process engineer"

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
specimens = ["C1", "C2"]
today = true

[[nozzles]]
type = "double"
bore = "cylindrical"
wall = "double"
orifice_mm = 1.4
price = 21.0
specimens = ["D1", "D2"]

[factors.pressure]
unit = "bar"
levels = [0.5, 0.9]
today = 0.5

[factors.gas_purity_class]
levels = ["2.5", "3.5"]
today = "3.5"

[held]
speed_m_min = 1.1
focus_mm = 4.0

[plan]
method = "full"
sheets = 2
seed = 20417

[responses.roughness]
primary = true
readings = 3
worthwhile = "15 %"
expected = { level = 35.0, specimen = "8 %", coupon = "10 %", reading = "7 %" }
[responses.squareness]
readings = 3
worthwhile = "0.03 mm"
[responses.dross]
readings = 1
"""
AT = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
MARKS = ["KX7", "B2M", "QF4", "T9R", "W3H", "ZN6", "H8D", "P5C"]


def plan_tables() -> dict[str, pd.DataFrame]:
    mounts = pd.DataFrame(
        {
            "mount": ["M1", "M2", "M3", "M4"],
            "nozzle": ["double", "cylindrical", "cylindrical", "double"],
            "specimen": ["D1", "C1", "C2", "D2"],
            "order": [1, 2, 3, 4],
            "sheet": ["S1", "S1", "S2", "S2"],
        }
    )
    owner = mounts.loc[mounts.index.repeat(2)].reset_index(drop=True)
    coupons = pd.DataFrame(
        {
            "coupon": MARKS,
            "order": range(1, 9),
            "sheet": owner["sheet"],
            "mount": owner["mount"],
            "nozzle": owner["nozzle"],
            "specimen": owner["specimen"],
            "pressure_bar": [0.5, 0.9, 0.9, 0.5, 0.5, 0.9, 0.9, 0.5],
            "gas_purity_class": ["2.5", "3.5"] * 4,
            "x_mm": [10.0 * i for i in range(8)],
        }
    )
    return {"coupons": coupons, "mounts": mounts, "sheets": pd.DataFrame({"sheet": ["S1", "S2"]})}


@pytest.fixture
def toml():
    return TOML


@pytest.fixture
def folder(tmp_path):
    """A folder with the question only."""
    place = tmp_path / "trial"
    place.mkdir()
    (place / "trial.toml").write_text(TOML, encoding="utf-8")
    return place


@pytest.fixture
def plan():
    return plan_tables()


@pytest.fixture(scope="session")
def frozen_template(tmp_path_factory):
    place = tmp_path_factory.mktemp("frozen") / "trial"
    place.mkdir()
    (place / "trial.toml").write_text(TOML, encoding="utf-8")
    records.freeze(
        place, plan_tables(), [Finding(PlanKind.AS_WRITTEN, facts={"text": "Two sheets, four mounts."})], at=AT
    )
    return place


@pytest.fixture(scope="session")
def cut_template(frozen_template, tmp_path_factory):
    place = shutil.copytree(frozen_template, tmp_path_factory.mktemp("cut") / "trial")
    records.record_as_planned(place, who="Operator", at=AT)
    return place


@pytest.fixture
def frozen(frozen_template, tmp_path):
    return shutil.copytree(frozen_template, tmp_path / "trial")


@pytest.fixture
def cut(cut_template, tmp_path):
    return shutil.copytree(cut_template, tmp_path / "trial")


@pytest.fixture
def at():
    return AT


@pytest.fixture(scope="session")
def measured_template(cut_template, tmp_path_factory):
    """The small trial with readings and every kind of decision: recorded, corrected, confirmed, a look kept."""
    place = shutil.copytree(cut_template, tmp_path_factory.mktemp("measured") / "trial")
    marks = records.load(place).coupons["coupon"]
    rows = [(mark, i, "rz5_um", 30.0 + at + i) for at, mark in enumerate(marks) for i in (1, 2, 3)]
    records.record_readings(place, readings_table(*rows), who="Inspector")
    records.correct(place, records.ReadingPlace("KX7", "rz5_um", 1), 36.5, "Inspector", "read again")
    flagged = readings_table(("KX7", 4, "rz5_um", 320.0))
    records.record_readings(place, flagged, who="Inspector", confirm_slips=True)
    found = records.load(place)
    records.keep_look(place, records.NewLook(1, True, records.fingerprint(found), "2", (), b"a paper"))
    return place


@pytest.fixture
def measured(measured_template, tmp_path):
    return shutil.copytree(measured_template, tmp_path / "trial")
