"""Going on: extend a trial that was cut, and look again."""

import json
import shutil

import pytest

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


def test_show_states_the_gain_and_writes_nothing(trials, small):
    folder = small("measured")
    before = files(folder)
    done = trials("extend", folder, "--repeat-mounts", "--show")
    assert done.code == 0 and "Gain by the expected spreads" in done.out and "Declared" in done.out
    assert files(folder) == before


def test_an_undeclared_block_is_a_second_exploratory_look_and_the_first_verdict_stays(trials, small, tmp_path):
    from trials.steps import load, look_number
    from trials.store.records import kept_looks

    folder = small("measured")
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
    assert second["study"]["results"][0]["n_coupons"] == 36
    assert second["file"].endswith("verdict-2.pdf")
    assert (folder / "verdict.pdf").read_bytes() == first
    assert [look.declared for look in kept_looks(folder)] == [True, False]


def test_a_declared_look_is_no_exploration_and_costs_confidence(trials, small, tmp_path):
    folder = tmp_path / "two"
    shutil.copytree(small("new"), folder)
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
def test_a_bad_extension_is_one_line_and_writes_nothing(trials, small, words, line):
    folder = small("measured")
    before = files(folder)
    done = trials("extend", folder, *words)
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""
    assert files(folder) == before


@pytest.mark.parametrize(("state", "line"), [("new", "no plan is frozen"), ("frozen", "is cut yet")])
def test_only_a_trial_that_was_cut_is_extended(trials, small, state, line):
    done = trials("extend", small(state), *REPEAT)
    assert done.code == 2 and line in done.err


def test_plan_as_json_has_the_documented_keys(trials, at, monkeypatch):
    monkeypatch.setattr("trials.steps.plan.SIMULATED", 200)
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
    for words in ("80 %", "ends right", "Where the next hour pays", "h at the machine", "nozzle changes", "m²"):
        assert words in out
