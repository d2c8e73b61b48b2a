"""Lives kept in a life trial: recorded like readings, corrected, studied, handed on; lens and window beside them."""

import json
import math
import shutil
from pathlib import Path

import pytest

from trials import steps
from trials.errors import InputError
from trials.steps import lives
from trials.steps.lives import lives_of_trial, record_lives

DESIGN = Path(__file__).parents[2] / "designs" / "nozzle-life.toml"
HEAD = "nozzle,specimen,part,pierces,ended,cleaned,refitted\n"
ROWS = [
    *[f"cylindrical,C{i},,{n},{end},{i % 2},0" for i, n, end in zip(range(1, 7), (2100, 2900, 3300, 3700, 4100, 4600),
      ("worn", "plugged", "worn", "worn", "plugged", "worn"), strict=True)],
    *[f"plated,P{i},,{n},{end},0,0" for i, n, end in zip(range(1, 7), (4300, 5200, 6100, 6600, 7000, 7000),
      ("worn", "worn", "plugged", "worn", "taken_off_good", "taken_off_good"), strict=True)],
    "cylindrical,C1,lens,9000,lens_burnt,0,0",
    "cylindrical,C1,lens,7000,lens_burnt,2,1",
    "cylindrical,C2,lens,8000,worn,0,0",
    "plated,P1,lens,12000,lens_burnt,0,0",
    "plated,P2,lens,15000,taken_off_good,0,0",
]  # fmt: skip


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    """A life trial whose specimens were put to work; only to be copied."""
    from trials.store import records
    from trials.trial import parse

    folder = tmp_path_factory.mktemp("life") / "frozen"
    folder.mkdir()
    text = DESIGN.read_text(encoding="utf-8")
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    steps.freeze(folder, steps.propose(parse(text)))
    records.record_as_planned(folder)
    return folder


@pytest.fixture
def folder(frozen, tmp_path):
    return shutil.copytree(frozen, tmp_path / "life-trial")


def table(tmp_path, rows, head=HEAD):
    file = tmp_path / "lives.csv"
    file.write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    return file


def test_lives_are_kept_like_readings_and_studied(trials, folder, tmp_path):
    file = table(tmp_path, ROWS)
    dry = trials("life", folder, file, "--dry-run")
    assert dry.code == 0 and "A dry run" in dry.out and not len(steps.load(folder).readings)
    done = trials("life", folder, file, "--who", "AB")
    # 17 lives, 3 nozzles cleaned once, one lens cleaned and put back
    assert done.code == 0 and "22 values recorded, 0 on record already" in done.out and "Next: trials life" in done.out
    assert "0 values recorded, 22 on record already" in trials("life", folder, file).out
    found = json.loads(trials("life", folder, "--json").out)
    assert [each["n"] for each in found["types"]] == [6, 6] and found["part"] == "nozzle"
    assert found["ends"][0] == {"nozzle": "cylindrical", "worn": 4, "plugged": 2}
    assert [cause["cause"] for cause in found["causes"]] == ["worn", "plugged"]
    assert found["care"][0] == {
        "nozzle": "cylindrical", "cleaned_pieces": 3, "cleaned": 3, "refitted_pieces": 0, "refitted": 0
    }  # fmt: skip
    (lens,) = found["beside"]
    assert lens["part"] == "lens" and [each["n"] for each in lens["types"]] == [3, 2]
    assert lens["care"][0]["cleaned"] == 2 and lens["care"][0]["refitted"] == 1
    assert any(line.startswith("A lens under plated lasts") for line in found["sentences"])
    out = trials("life", folder, "--out", tmp_path / "life.pdf")
    assert out.code == 0 and "Lens lives by nozzle type" in out.out and (tmp_path / "life.pdf").stat().st_size > 1000


def test_a_cause_is_corrected_with_a_reason_and_an_older_file_is_refused(trials, folder, tmp_path):
    trials("life", folder, table(tmp_path, ROWS[:2]))
    coupons = steps.load(folder).coupons.set_index("specimen")["coupon"]
    words = ("correct", folder, coupons["C1"], "ended", "damaged", "--who", "AB", "--why", "tip-up seen on video")
    assert trials(*words).code == 0
    rows = steps.load(folder).readings
    assert rows.loc[(rows["coupon"] == coupons["C1"]) & (rows["field"] == "life_pierces"), "ended"].item() == "damaged"
    assert trials("life", folder, table(tmp_path, ROWS[:1])).code == 0  # what the file said first is known
    other = trials("life", folder, table(tmp_path, ["cylindrical,C1,,2100,plugged,1,0"]))
    assert other.code == 2 and "on record as damaged" in other.err and "trials correct" in other.err
    assert trials(*words[:4], "exploded", *words[5:]).code == 2


BAD = [
    (["cylindrical,C99,,10,worn,,"], "row 2, column specimen: not a specimen of this trial"),
    (["cylindrical,c1,,10,worn,,"], "Write 'C1' if it is that piece"),
    (["plated,C1,,10,worn,,"], "row 2, column nozzle: specimen C1 is of type 'cylindrical'"),
    (["cylindrical,,,10,worn,,"], "column specimen: no specimen"),
    (["cylindrical,C1,mirror,10,worn,,"], "column part: not a part that wears"),
    (["cylindrical,C1,,10,worn,often,"], "column cleaned: not a number"),
    (["cylindrical,C1,,10,worn,,", "cylindrical,C1,,11,worn,,"], "row 3, column specimen: a specimen has two lives"),
]


@pytest.mark.parametrize(("rows", "line"), BAD)
def test_a_life_that_cannot_be_kept_is_one_line_and_nothing_is_written(trials, folder, tmp_path, rows, line):
    before = (folder / "trial.db").read_bytes()
    done = trials("life", folder, table(tmp_path, [ROWS[7], *rows] if "row 3" not in line else rows))
    assert done.code == 2 and done.err.count("\n") == 1 and done.out == ""
    assert line.replace("row 2", "row 3") in done.err and (folder / "trial.db").read_bytes() == before


def test_all_problems_come_in_one_answer(trials, folder, tmp_path):
    done = trials("life", folder, table(tmp_path, ["plated,C1,,10,worn,,", "plated,P99,,10,worn,,", ROWS[7]]))
    assert done.code == 2 and done.err.count("\n") == 2 and "row 2" in done.err and "row 3" in done.err


def test_another_unit_another_trial_and_a_name_without_a_file(trials, folder, tmp_path, at):
    hours = table(tmp_path, ["cylindrical,C1,10,worn"], "nozzle,specimen,hours,ended\n")
    done = trials("life", folder, hours)
    assert done.code == 2 and "the lives of this trial are in pierces; found 'hours'" in done.err
    done = trials("life", at("cut"), hours)
    assert done.code == 2 and "not planned for lives" in done.err
    assert trials("life", hours, "--who", "AB").code == 2


def with_lives(text, tmp_path, lives):
    folder = tmp_path / "edges"
    folder.mkdir()
    (folder / "trial.toml").write_text(f"lives = {lives}\n{text}", encoding="utf-8")
    return folder


def test_lives_are_handed_on_as_figures(folder, tmp_path, trial_text):
    record_lives(folder, table(tmp_path, ROWS))
    edges = with_lives(trial_text, tmp_path, '"../life-trial"')
    found = {(one.nozzle, one.part): one for one in lives_of_trial(edges)}
    life = found["plated", "nozzle"]
    study = steps.study_table(steps.recorded_lives(folder))
    whole, tenth, half = study.study.types[1].at
    assert (life.median, life.low, life.high) == (half.life, half.low, half.high) and life.tenth == tenth.life
    # mean of a Weibull life: scale times gamma(1 + 1 / shape)
    assert life.mean == pytest.approx(whole.life * math.gamma(1 + 1 / study.study.shape), rel=1e-12)
    assert (life.unit, life.n, life.failures, life.source) == ("pierces", 6, 4, "../life-trial")
    assert found["cylindrical", "lens"].n == 3


def test_stated_lives_have_a_source_and_no_limits(tmp_path, trial_text):
    lives = '{ figures = { cylindrical = 120.0 }, unit = "hours", source = "store room book 2025" }'
    (life,) = lives_of_trial(with_lives(trial_text, tmp_path, lives))
    assert (life.median, life.mean, life.unit, life.source) == (120.0, 120.0, "hours", "store room book 2025")
    assert math.isnan(life.low) and life.failures == 0


def test_no_lives_and_a_folder_that_is_not_there(tmp_path, trial_text, at):
    assert lives_of_trial(at("new")) == ()
    with pytest.raises(InputError, match="no such life trial; found '../gone'"):
        lives_of_trial(with_lives(trial_text, tmp_path, '"../gone"'))


def test_while_a_life_is_in_doubt_the_answer_is_provisional(trials, folder, tmp_path):
    slipped = [row.replace("P3,,6100,", "P3,,610000,") for row in ROWS]
    assert "tenfold" in (done := trials("life", folder, table(tmp_path, slipped))).out or "times" in done.out
    shown, found = trials("life", folder).out, json.loads(trials("life", folder, "--json").out)
    assert shown.startswith("Provisional: a reading is still open.") and "As the records stand:" in shown
    assert found["provisional"] is True and "Next: trials status" in shown and "Next: trials status" in done.out
    mark = steps.load(folder).coupons.set_index("specimen").loc["P3", "coupon"]
    assert lives.study_table(lives.recorded_lives(folder)).doubted == (mark,)
    assert trials("correct", folder, mark, "life_pierces", "6100", "--who", "AB", "--why", "typed twice").code == 0
    shown, found = trials("life", folder).out, json.loads(trials("life", folder, "--json").out)
    assert "Provisional" not in shown and "As the records stand" not in shown and found["provisional"] is False
