"""Ready-made trials that do not end in an ordinary verdict: each goes its own way to the end, or says which it is."""

import json

import numpy as np
import pytest


@pytest.fixture
def cut(trials, tmp_path):
    """A ready-made trial, one line of its file changed if asked, planned, printed and cut as planned."""

    def go(name, old="", new=""):
        folder = tmp_path / name
        assert trials("new", name, folder).code == 0
        text = (folder / "trial.toml").read_text(encoding="utf-8")
        assert old in text
        (folder / "trial.toml").write_text(text.replace(old, new), encoding="utf-8")
        for words in (("plan", folder), ("sheet", folder), ("cut", folder, "--as-planned")):
            done = trials(*words)
            assert done.code == 0 and "Next:" in done.out, done.err
        assert (folder / "papers" / "plan.pdf").read_bytes().startswith(b"%PDF")
        return folder

    return go


def record(trials, folder, lines):
    (folder / "typed.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = trials("record", folder, folder / "typed.csv")
    assert done.code == 0, done.err


def test_nozzle_life_ends_in_lives(trials, cut):
    from trials.steps import load

    folder = cut("nozzle-life")
    lines = ["coupon,reading,life_pierces,ended"]
    rng = np.random.default_rng(3)
    for i, row in enumerate(load(folder).coupons.itertuples()):
        life = rng.weibull(4.0) * (6000 if row.nozzle == "plated" else 3500)
        lines.append(f"{row.coupon},1,{min(life, 6500):.0f},{'taken_off_good' if life > 6500 or i == 0 else 'worn'}")
    record(trials, folder, lines)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for command in ("fit", "verdict"):
        done = trials(command, folder)
        assert done.code == 2 and "trials life" in done.err and done.err.count("\n") == 1
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    assert "Next: trials life" in trials("status", folder).out
    found = trials("life", folder, "--out", folder / "life.pdf")
    assert found.code == 0, found.err
    assert "plated lasts" in found.out and "today's cylindrical" in " ".join(found.out.split())
    facts = json.loads(trials("life", folder, "--json").out)
    good = sum("taken_off_good" in line for line in lines)
    assert sum(each["failures"] for each in facts["types"]) == 30 - good > 0
    assert sum(each.get("worn", 0) for each in facts["ends"]) == 30 - good
    # the trial file declares 30 %, so its question ends in a word
    assert facts["worthwhile"] == pytest.approx(0.30) and facts["comparisons"][0]["answer"] is not None


def test_a_ladder_ends_in_the_fastest_clean_cut(trials, cut):
    from trials.steps import load

    folder = cut("fastest-clean-cut")
    # clean up to these speeds by specimen, in steps of 0.25 from 3 m/min to 5
    tops = {"C": (3.5, 3.75, 3.5, 3.25, 3.75, 3.5, 3.5, 3.5), "S": (4.25, 4.5, 4.25, 4.5, 5.0, 4.0, 4.5, 4.25)}
    top = {f"{letter}{i}": speed for letter, own in tops.items() for i, speed in enumerate(own, 1)}
    lines = ["coupon,reading,rz5_um,dross_grade"]
    for i, row in enumerate(load(folder).coupons.itertuples()):
        grade = 1 if row.speed_m_min <= top[row.specimen] + 1e-9 else 3
        lines += [f"{row.coupon},{r},{30 + i % 4 + r},{grade}" for r in (1,)]
    record(trials, folder, lines)
    found = json.loads(trials("fit", folder, "--json").out)["ladder"]
    assert {row["specimen"]: row["low"] for row in found["mounts"]} == top
    assert {row["specimen"] for row in found["mounts"] if row["high"] is None} == {"S5"}
    (shower,) = found["comparisons"]
    # middles of the steps: 4.56 (S5 at a step above its last) over 3.66; the fit differs by the open end
    assert shower["kind"] == "ratio" and shower["value"] == pytest.approx(4.56 / 3.66, abs=0.03)
    assert shower["answer"] == "better" and 1.0 < shower["low"] < shower["value"] < shower["high"]
    assert {each["nozzle"] for each in found["types"]} == {"cylindrical", "shower"}
    said = " ".join(trials("fit", folder).out.split())
    assert "Change to Shower" in said and "clean up to" in said
    assert "shower is better" in " ".join(trials("verdict", folder).out.split())


def test_checking_the_bench_ends_at_the_bench(trials, cut):
    folder = cut("check-the-bench")
    done = trials("verdict", folder)
    assert done.code == 2 and "trials bench" in done.err and not (folder / "verdict.pdf").exists()


@pytest.mark.parametrize("seed", [1, 2])
def test_six_settings_end_in_an_answer_though_no_drift_can_be_judged(trials, cut, seed):
    from trials.steps import load

    folder = cut("six-settings", '["C1", "C2", "C3"]', '["C1", "C2"]')
    rng = np.random.default_rng(seed)
    lines = ["coupon,reading,rz5_um,u_mm,dross_grade"]
    for row in load(folder).coupons.itertuples():
        edge = rng.normal(0, 0.1)
        for r in (1, 2, 3):
            rough, u = 30 * np.exp(edge + rng.normal(0, 0.07)), 0.2 * np.exp(rng.normal(0, 0.1))
            lines.append(f"{row.coupon},{r},{rough:.1f},{u:.3f},{rng.integers(0, 3) if r == 1 else ''}")
    record(trials, folder, lines)
    done = trials("fit", folder, "--json")
    assert done.code == 0, done.err
    checks = [c for r in json.loads(done.out)["results"] for c in r["checks"] if c["facts"].get("check") == "drift"]
    # With six settings curved and crossed hardly a degree of freedom is left for a trend.
    assert checks and {c["kind"] for c in checks} <= {"check_not_made", "trend_not_known"}
