"""Lives on the command line: tables, records, words, paper."""

import json
import sys
from pathlib import Path

import pytest

LIVES = Path(__file__).parents[2] / "example_data" / "nozzle_life" / "lives.csv"


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


@pytest.mark.usefixtures("drawn_pictures")
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
    ("a,1,10,no\na,2,12,no\nb,3,5,yes\nb,4,7,yes\nc,5,9,no\n", "Neither c nor a failed"),
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
    ("Plain,1,10,yes\nplain,2,12,yes\n", "row 3, column nozzle: differs from 'Plain' above only in case or spaces"),
    ("double wall,1,10,yes\ndoublewall,2,12,yes\n", "found 'doublewall'. Write 'double wall' in every row"),
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


ENDED = "nozzle,specimen,hours,ended\n"
CAUSES = "a,1,10,worn\na,2,20,plugged\na,3,33,Out of centre\nb,4,30,taken_off_good\nb,5,40,worn\nb,6,44,worn\n"


def test_a_column_says_how_each_life_ended(trials, tmp_path):
    (tmp_path / "lives.csv").write_text(ENDED + CAUSES, encoding="utf-8")
    found = json.loads(trials("life", tmp_path / "lives.csv", "--json").out)
    assert found["ends"] == [
        {"nozzle": "a", "worn": 1, "plugged": 1, "out_of_centre": 1},
        {"nozzle": "b", "worn": 2, "taken_off_good": 1},
    ]
    assert [each["failures"] for each in found["types"]] == [3, 2]


ENDED_REFUSED = [
    (ENDED + "a,1,10,exploded\n", "column ended: not a cause of the end; found 'exploded'; allowed: worn, plugged"),
    (ENDED + "a,1,10,\n", "column ended: not said whether it failed"),
    ("nozzle,hours,failed,ended\na,10,no,worn\n", "failed and ended contradict each other"),
    ("nozzle,hours\na,10\n", "missing column"),
]


@pytest.mark.parametrize(("text", "line"), ENDED_REFUSED)
def test_an_end_that_says_nothing_is_one_line(trials, tmp_path, text, line):
    (tmp_path / "lives.csv").write_text(text, encoding="utf-8")
    done = trials("life", tmp_path / "lives.csv")
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""


@pytest.mark.parametrize(
    ("share", "word", "adds"),
    [
        ("25 %", "better", "by at least the worthwhile difference"),
        ("50 %", "better", "how much is open"),
    ],
)
def test_lives_end_in_the_four_words(trials, share, word, adds):
    # ratio 1.78, 95 % limits 1.30 to 2.63, 90 % limits inside them
    found = json.loads(trials("life", LIVES, "--worthwhile", share, "--json").out)
    (c,) = found["comparisons"]
    assert (c["nozzle"], c["against"], c["settings"], c["kind"]) == ("plated", "plain", "", "ratio")
    assert (c["answer"], c["answer_adds"]) == (word, adds)
    (ratio,) = found["ratios"]
    assert (c["value"], c["low"], c["high"], c["p"]) == tuple(ratio[k] for k in ("ratio", "low", "high", "p"))
    assert found["sentences"][0].split("; ")[1].startswith(word)


def test_without_a_worthwhile_difference_there_is_no_word_and_it_says_so(trials):
    found = json.loads(trials("life", LIVES, "--json").out)
    assert found["comparisons"][0]["answer"] is None and found["worthwhile"] is None
    assert "lives_no_worthwhile" in [one["kind"] for one in found["findings"]]
    assert any("No worthwhile difference is declared" in line for line in found["sentences"])


@pytest.mark.parametrize("share", ["15 hours", "much", "-5 %", "0 %"])
def test_a_worthwhile_difference_of_a_table_is_a_share(trials, share):
    done = trials("life", LIVES, f"--worthwhile={share}")
    assert done.code == 2 and "not a worthwhile difference of lives" in done.err and done.err.count("\n") == 1
