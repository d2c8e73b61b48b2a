"""The example data are what their script makes, and they fit the plan that the trial file draws."""

import importlib.util
import io
import json
import sys
from pathlib import Path

import pandas as pd
import pytest

from trials.plan.choose import make_plan
from trials.trial import parse

ROOT = Path(__file__).parents[1] / "example_data"
TRIALS = ("oxygen_12mm", "nitrogen_6mm")


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("example_data_make", ROOT / "make.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["example_data_make"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["example_data_make"]


@pytest.fixture(scope="module")
def made(script):
    return script.make_all()


@pytest.fixture(scope="module", params=TRIALS)
def example(request):
    folder = ROOT / request.param
    trial = parse((folder / "trial.toml").read_text(encoding="utf-8"))
    tables = {name: pd.read_csv(folder / f"{name}.csv") for name in ("cuts", "mounts", "sheets", "readings")}
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return trial, make_plan(trial), tables, truth


def test_files_are_what_the_script_makes(made):
    stale = [path for path, content in made.items() if (ROOT / path).read_bytes() != content.encode()]
    assert stale == [], "run `python example_data/make.py` and commit"


def test_every_data_file_is_made_by_the_script(made):
    kept = {str(path.relative_to(ROOT)) for kind in ("csv", "json") for path in ROOT.glob(f"*/*.{kind}")}
    assert kept == {path for path in made if not path.endswith(".md")}


def test_every_folder_says_that_it_is_invented():
    for folder in (*TRIALS, "nozzle_life"):
        for name in ("README.md", "truth.md"):
            assert "nvented" in (ROOT / folder / name).read_text(encoding="utf-8")


def test_marks_are_those_of_the_plan(example):
    _, plan, tables, _ = example
    assert set(tables["cuts"]["coupon"]) == set(plan.coupons["coupon"])
    assert len(tables["cuts"]) == len(plan.coupons)
    assert set(plan.mounts["mount"]) <= set(tables["mounts"]["mount"])
    assert tables["sheets"]["sheet"].tolist() == plan.sheets["sheet"].tolist()


def test_readings_are_of_coupons_that_cut(example):
    trial, _, tables, _ = example
    cut = set(tables["cuts"].loc[tables["cuts"]["outcome"] == "cut", "coupon"])
    readings = tables["readings"]
    assert set(readings["coupon"]) == cut
    counts = readings[readings["repeat"] == 0].groupby("coupon").size()
    assert set(counts) == {trial.responses["roughness"].readings}


def test_what_was_put_in_is_there(example):
    _, plan, tables, truth = example
    cuts, readings = tables["cuts"], tables["readings"]
    assert sorted(cuts.loc[cuts["outcome"] != "cut", "outcome"]) == ["not_severed", "scrapped"]
    planned = dict(zip(plan.coupons["coupon"], plan.coupons["order"], strict=True))
    out_of_order = cuts[cuts["cut_order"] != cuts["coupon"].map(planned)]
    # one coupon three places late moves the three after it up by one
    assert len(out_of_order) == 4
    coupon = truth["put_in"]["tenfold slip"].split(",")[0]
    values = readings[(readings["coupon"] == coupon) & (readings["repeat"] == 0)].set_index("reading")["rz5_um"]
    assert 6.0 < values[2] / values[1] < 15.0
    off = truth["put_in"]["off-centre mount"].split(" ")[0]
    of_mount = readings.merge(cuts[["coupon", "mount"]], on="coupon")
    sides = of_mount[of_mount["mount"] == off].groupby("side")["u_mm"].mean()
    assert sides.idxmax() == "left"


def test_today_of_the_truth_is_today_of_the_trial(example):
    trial, _, _, truth = example
    assert truth["types"][trial.today.type]["rz5_ratio_to_today"] == 1.0
    assert set(truth["types"]) == set(trial.types)


def test_the_double_wall_is_truly_better():
    truth = json.loads((ROOT / "oxygen_12mm" / "truth.json").read_text(encoding="utf-8"))
    assert 0.70 <= truth["types"]["double"]["rz5_ratio_to_today"] <= 0.75
    assert truth["types"]["double"]["true_answer"] == "better"


def test_lives_are_positive_and_some_are_censored(made):
    lives = pd.read_csv(io.StringIO(made["nozzle_life/lives.csv"]))
    assert (lives["hours"] > 0).all()
    assert set(lives["failed"]) == {"yes", "no"}
