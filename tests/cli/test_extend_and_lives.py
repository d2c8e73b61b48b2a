"""Going on: extend a trial that was cut, look again, and compare lives."""

import json
import shutil
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parents[2]
LIVES = HERE / "example_data" / "nozzle_life" / "lives.csv"
REPEAT = ("--repeat-mounts", "--who", "AB", "--why", "not settled")


def files(folder):
    """Every file of a folder with its bytes."""
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def readings_of(folder, path, block):
    """Invented readings for the coupons of one block, in the words of the bench."""
    from trials.steps import load

    coupons = load(folder).coupons
    lines = ["coupon,reading,side,rz5_um,u_mm,dross_grade,inspector"]
    for i, row in enumerate(coupons[coupons["block"] == block].itertuples()):
        level = 33.0 * (0.8 if row.nozzle == "double" else 1.0) * (1 + 0.02 * (i % 5 - 2))
        for reading in (1, 2, 3):
            lines.append(f"{row.coupon},{reading},left,{level + 0.7 * reading:.1f},{0.12 + 0.002 * (i % 7)},1,AB")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_show_states_the_gain_and_writes_nothing(trials, at):
    folder = at("measured")
    before = files(folder)
    done = trials("extend", folder, "--repeat-mounts", "--show")
    assert done.code == 0 and "Gain by the expected spreads" in done.out and "Declared" in done.out
    assert files(folder) == before


def test_an_undeclared_block_is_a_second_exploratory_look_and_the_first_verdict_stays(trials, at, tmp_path):
    from trials.steps import load, look_number
    from trials.store.records.database import verdicts

    folder = at("measured")
    assert trials("verdict", folder).code == 0
    first = (folder / "verdict.pdf").read_bytes()
    added = json.loads(trials("extend", folder, *REPEAT, "--json").out)
    assert added["added"] and added["block"] == 2 and added["declared"] is False
    assert {row["sheet"] for row in added["coupons"]} == {"S4", "S5", "S6"}
    assert "block_exploratory" in [line["kind"] for line in added["said"]] and added["schema"] == 2

    # nothing of the block is cut yet: the look is still the first
    assert look_number(load(folder)) == 1
    status = trials("status", folder).out
    assert "block 2 added" in status and "exploratory" in status and "Next: trials sheet" in status

    printed = trials("sheet", folder).out
    assert "block-2" in printed
    papers = folder / "papers" / "block-2"
    assert {"run-sheet.pdf", "plan.pdf", "run-workbook.xlsx", "sheet-S4.dxf"} <= {p.name for p in papers.iterdir()}
    assert not (papers / "sheet-S1.dxf").exists()
    assert trials("cut", folder, "--as-planned").code == 0
    assert trials("record", folder, readings_of(folder, tmp_path / "more.csv", 2)).code == 0
    second = json.loads(trials("verdict", folder, "--json").out)
    assert second["look"] == 2 and second["study"]["exploratory"] is True
    assert second["study"]["results"][0]["n_coupons"] == 108
    assert second["file"].endswith("verdict-2.pdf")
    assert (folder / "verdict.pdf").read_bytes() == first
    assert verdicts(folder)["declared"].tolist() == [True, False]


def test_a_declared_look_is_no_exploration_and_costs_confidence(trials, at, tmp_path):
    folder = tmp_path / "two"
    shutil.copytree(at("new"), folder)
    file = folder / "trial.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("[plan]\n", "[plan]\nlooks = 2\n"), encoding="utf-8")
    assert trials("plan", folder).code == 0
    assert trials("cut", folder, "--as-planned").code == 0
    trials("record", folder, readings_of(folder, tmp_path / "first.csv", 1))
    first = json.loads(trials("verdict", folder, "--json").out)
    # 0.05 over two declared looks
    assert first["study"]["results"][0]["comparisons"][0]["confidence"] == pytest.approx(0.975, abs=1e-12)
    added = json.loads(trials("extend", folder, *REPEAT, "--json").out)
    assert added["declared"] is True
    trials("cut", folder, "--as-planned")
    trials("record", folder, readings_of(folder, tmp_path / "second.csv", 2))
    second = json.loads(trials("verdict", folder, "--json").out)
    assert second["look"] == 2 and second["study"]["exploratory"] is False


def test_confirmation_coupons_stand_at_the_named_setting(trials, at):
    folder = at("measured")
    words = ("--confirm", "pressure=0.6; standoff_mm=1.2", "--nozzle", "double", "--show", "--json")
    found = json.loads(trials("extend", folder, *words).out)
    assert {row["nozzle"] for row in found["coupons"]} == {"double"}
    assert {(row["pressure_bar"], row["standoff_mm"]) for row in found["coupons"]} == {(0.6, 1.2)}


BAD = [
    ((), "no way to extend"),
    (("--repeat-mounts", "--axial"), "name one way"),
    (("--confirm", "presure=0.6"), "no such factor"),
    (("--confirm", "pressure"), "not a setting"),
    (("--confirm", "pressure=high"), "needs a number"),
    (("--confirm", "pressure=0.6; pressure_bar=0.7"), "set twice"),
    (("--repeat-mounts",), "a name and a reason"),
    (("--axial", "--nozzle", "conical", "--who", "A", "--why", "B"), "no such nozzle type"),
]


@pytest.mark.parametrize(("words", "line"), BAD, ids=[line for _, line in BAD])
def test_a_bad_extension_is_one_line_and_writes_nothing(trials, at, words, line):
    folder = at("measured")
    before = files(folder)
    done = trials("extend", folder, *words)
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""
    assert files(folder) == before


@pytest.mark.parametrize(("state", "line"), [("new", "no plan is frozen"), ("frozen", "is cut yet")])
def test_only_a_trial_that_was_cut_is_extended(trials, at, state, line):
    done = trials("extend", at(state), *REPEAT)
    assert done.code == 2 and line in done.err


def test_plan_as_json_has_the_documented_keys(trials, at):
    whole = json.loads(trials("plan", at("new"), "--show", "--json").out)
    assert set(whole) == {"schema", "frozen", "coupons", "said", "assessment"}
    assert (whole["schema"], whole["frozen"], len(whole["coupons"])) == (2, False, 54)
    assert set(whole["said"][0]) == {"kind", "weight", "about", "facts", "words"}
    assert whole["said"][0]["facts"] == {"coupons": 54, "mounts": 6, "specimens": 6, "sheets": 3}
    found = whole["assessment"]
    wanted = {"questions", "detectable", "settled", "cannot_tell_apart", "not_estimated", "effective_coupons"}
    assert set(found) == wanted | {"efficiency", "next_hour", "curves", "effort", "said"}
    line = found["detectable"][0]
    # 6 specimens of 2 types on 3 sheets leave 6 - 2 - 2 = 2
    assert (line["asks"], line["at"], line["factor"]) == ("types", "average", None)
    assert (line["question"], line["df"], line["den_df"]) == ("nozzle types, averaged over the settings", 1, 2.0)
    assert line["exact"] is True and line["simulated"] is None
    # at today's settings specimens and coupons are judged together: not exact, so simulated beside it
    today = next(x for x in found["detectable"] if x["at"] == "today")
    assert today["simulated"] == pytest.approx(today["size"], rel=0.25)  # 200 trials, few degrees of freedom
    assert found["effort"]["nozzle_changes"] == 6 and found["effort"]["minutes"]["mount"] == 12.0
    steps = found["next_hour"]["roughness"]["steps"]
    assert steps[0]["more"] == "specimens" and steps[0]["gain_per_hour"] > steps[-1]["gain_per_hour"]


def test_plan_says_what_it_shows_where_the_hour_pays_and_what_it_costs(trials, at):
    out = trials("plan", at("new"), "--show").out
    for words in ("80 %", "settled answer", "Where the next hour pays", "h at the machine", "nozzle changes", "m²"):
        assert words in out


def test_lives_beside_the_truth(trials, capsys):
    truth = json.loads((LIVES.parent / "truth.json").read_text(encoding="utf-8"))
    found = json.loads(trials("life", LIVES, "--json").out)
    (ratio,) = found["ratios"]
    true = truth["ratio_of_lives_plated_to_plain"]
    with capsys.disabled():
        words = f"ratio of lives {ratio['ratio']:.2f} ({ratio['low']:.2f} to {ratio['high']:.2f}), truth {true:.2f}"
        sys.stdout.write(f"\n{words}\n")
    assert (ratio["of"], ratio["against"]) == ("plated", "plain")
    assert ratio["low"] < true < ratio["high"]
    lives = {each["nozzle"]: each["at"][0] for each in found["types"]}
    for nozzle, scale in truth["scale_hours"].items():
        assert lives[nozzle]["low"] < scale < lives[nozzle]["high"]
    # product-limit steps: 12 at risk, one fails first
    assert found["types"][0]["survival"]["share"][0] == pytest.approx(11 / 12, rel=1e-12)


def test_lives_on_paper_and_as_a_picture(trials, tmp_path):
    done = trials("life", LIVES, "--today", "plated", "--out", tmp_path / "life.pdf")
    assert done.code == 0 and "plain lasts 0.56 times as long as today's plated" in " ".join(done.out.split())
    assert "Next: read" in done.out
    assert (tmp_path / "life.pdf").read_bytes().startswith(b"%PDF")
    assert trials("life", LIVES, "--out", tmp_path / "life.svg").code == 0
    assert "<svg" in (tmp_path / "life.svg").read_text(encoding="utf-8")


HEAD = "nozzle,specimen,hours,failed\n"
STUDIED = [
    ("a,1,10,yes\na,2,20,yes\na,3,33,yes\nb,4,30,no\nb,5,40,no\nb,6,40,no\n", "b never failed: it lasts at least"),
    ("a,1,10,no\na,2,12,no\nb,3,5,yes\nb,4,7,yes\n", "today's a never failed: b lasts at most"),
    ("a,1,10,no\na,2,12,no\nb,3,5,yes\nb,4,7,yes\nc,5,9,no\n", "Neither 'c' nor 'a' failed"),
    ("a,1,10,yes\na,2,12,no\n", "characteristic life"),
    # ties in pairs still fix a shape
    ("a,1,10,yes\na,2,10,yes\na,3,20,yes\na,4,20,yes\nb,5,10,yes\nb,6,20,yes\n", "no difference is shown"),
]
REFUSED = [
    ("a,1,10,no\nb,2,20,no\n", "Nothing failed"),
    ("a,1,10,yes\n", "shape has no finite estimate"),
    ("a,1,10,yes\na,2,10,yes\nb,3,10,yes\n", "shape has no finite estimate"),
    ("a,1,10,yes\na,2,-3,yes\n", "row 3, column hours: a life must be above zero"),
    ("a,1,0,yes\na,2,3,yes\n", "row 2, column hours: a life must be above zero"),
    ("a,1,10,yes\na,2,long,yes\n", "row 3, column hours: not a number"),
    ("a,1,10,maybe\n", "column failed: not yes or no"),
    ("a,1,10,\n", "not said whether it failed"),
    ("a,1,10,yes\na,1,12,yes\n", "a specimen has two lives"),
    (",1,10,yes\n", "no nozzle type"),
    ("", "holds no lives"),
]


@pytest.mark.parametrize(("rows", "line"), STUDIED)
def test_a_hard_table_of_lives_gets_an_honest_line(trials, tmp_path, rows, line):
    (tmp_path / "lives.csv").write_text(HEAD + rows, encoding="utf-8")
    done = trials("life", tmp_path / "lives.csv")
    assert done.code == 0 and line in " ".join(done.out.split()) and done.err == ""


@pytest.mark.parametrize(("rows", "line"), REFUSED)
def test_lives_that_cannot_be_studied_are_one_line(trials, tmp_path, rows, line):
    (tmp_path / "lives.csv").write_text(HEAD + rows, encoding="utf-8")
    done = trials("life", tmp_path / "lives.csv", "--out", tmp_path / "life.pdf")
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""
    assert not (tmp_path / "life.pdf").exists()


def test_nothing_failed_gets_a_bound_under_an_assumed_shape(trials, tmp_path):
    (tmp_path / "lives.csv").write_text(HEAD + "a,1,10,no\na,2,10,no\n", encoding="utf-8")
    found = json.loads(trials("life", tmp_path / "lives.csv", "--shape", "1", "--json").out)
    # shape 1: total time over -log(0.05) = 20 / 2.9957
    assert found["types"][0]["at"][0]["low"] == pytest.approx(20 / 2.995732, rel=1e-6)
    assert found["types"][0]["at"][0]["high"] is None and found["shape_assumed"] is True


def test_other_column_names_and_units(trials, tmp_path):
    (tmp_path / "lens.csv").write_text("lens;pierces;gone\nx;100;yes\nx;220,5;yes\ny;300;no\n", encoding="utf-8")
    words = ("--nozzle-column", "lens", "--failed-column", "gone", "--json")
    found = json.loads(trials("life", tmp_path / "lens.csv", *words).out)
    assert found["unit"] == "pierces" and [each["nozzle"] for each in found["types"]] == ["x", "y"]
