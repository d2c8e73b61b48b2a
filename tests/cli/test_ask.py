"""A trial file from answers, a figure as a file, and the help by person."""

import io

import pytest

from trials.cli.panels import PANELS
from trials.errors import InputError
from trials.steps import asking
from trials.trial import parse

ANSWERS = [
    *("S235", "12", "oxygen", "plain, plain", "plain, double"),
    *("3", "1,4", "single", "three", "3", "1.4", "double"),
    *("0.5 0.7 0.9", "0.8", "0.7", "-"),
    *("2", "9", "-", "1", "fifteen", "15 %"),
]
"""Answers in order; `plain, plain`, `three`, `0.8`, `9` and `fifteen` do not fit and are asked for again."""


def test_a_trial_is_made_from_answers_each_checked(trials, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(ANSWERS) + "\n"))
    done = trials("new", "--ask", tmp_path / "t")
    assert done.code == 0 and f"Next: trials plan {tmp_path / 't'} --show" in " ".join(done.out.split())
    for refused in ("plain, plain", "three", "0.8", "'9'", "fifteen"):
        assert refused in done.out
    text = (tmp_path / "t" / "trial.toml").read_text(encoding="utf-8")
    found = parse(text)
    assert (found.today.type, [len(n.specimens) for n in found.nozzles]) == ("plain", [3, 3])
    assert (found.nozzles[0].orifice_mm, found.nozzles[1].wall) == (1.4, "double")
    assert found.factors["pressure"].today == 0.7 and list(found.factors) == ["pressure"]
    assert found.application.cut == "flame" and found.application.required.squareness_range is None
    assert (found.application.required.roughness_range, found.application.required.dross_grade) == (2, 1)
    assert found.responses["roughness"].worthwhile == "15 %"
    assert text.count("#") > 8
    again = trials("new", "--ask", tmp_path / "t")
    assert again.code == 2 and "already here" in again.err


def test_answers_that_end_early_write_nothing(trials, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("S235\n12\n"))
    done = trials("new", "--ask", tmp_path / "t")
    assert done.code == 2 and "nothing was written" in done.err
    assert not (tmp_path / "t").exists()


@pytest.mark.parametrize(
    ("check", "typed"),
    [
        *((asking.number_of, wrong) for wrong in ("", "x", "0", "-1", "nan", "inf")),
        *((asking.words_of, wrong) for wrong in ("", "   ")),
        *((asking.names_of, wrong) for wrong in ("a", "a, a", ",".join(map(str, range(13))))),
        *((asking.levels_of, wrong) for wrong in ("1", "1 1", "a b")),
        *((asking.worthwhile_of, wrong) for wrong in ("", "5", "5 mm", "0 %", "100 %")),
    ],
)
def test_what_does_not_fit_is_refused(check, typed):
    with pytest.raises(InputError):
        check(typed)


@pytest.mark.usefixtures("drawn_pictures")
@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_a_figure_is_written_as_asked(trials, at, tmp_path, ending):
    path = tmp_path / f"a{ending}"
    assert (
        trials("picture", at("measured"), "edges-roughness" if ending == ".png" else "sheet-S1", "--out", path).code
        == 0
    )
    assert path.read_bytes()[:4] == {".png": b"\x89PNG", ".svg": b"<?xm", ".pdf": b"%PDF"}[ending]


def test_an_unknown_figure_is_answered_with_those_there_are(trials, at, tmp_path):
    done = trials("picture", at("measured"), "nothing", "--out", tmp_path / "a.svg")
    assert done.code == 2
    for name in ("edges-roughness", "settings-roughness", "shares-dross", "spread", "sheet-S1"):
        assert name in done.err
    assert not (tmp_path / "a.svg").exists()
    assert "sheet-S1" in trials("picture", at("frozen"), "spread", "--out", tmp_path / "a.svg").err


def test_help_lists_every_command_under_a_person(trials):
    out = trials("--help").out
    places = [out.index(f"{panel}:") for panel in PANELS]
    assert places == sorted(places)
    assert out.index("  fit ") > places[1] and places[2] < out.index("  cut ") < places[3] < out.index("  grade ")
    assert max(map(len, out.splitlines())) <= 80


def test_completion_names_the_commands(trials, monkeypatch):
    monkeypatch.setenv("_TRIALS_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", "trials gr")
    monkeypatch.setenv("COMP_CWORD", "1")
    assert trials().out.split() == ["grade"]


def test_grade_shows_limit_uncertainty_and_zone(trials):
    words = ("--thickness", 6, "--need-squareness", 2, "--uncertainty", "u_mm=0.02")
    lines = trials("grade", "--u", 0.18, *words).out.splitlines()
    row = next(line.split() for line in lines if line.startswith("u ") and "mm" in line and "range" not in line)
    # range 2 at 6 mm: 0.15 + 0.007 * 6 = 0.192; guard band 1.645 * 0.02 / 2 = 0.0164
    assert " ".join(row) == "u 0.192 mm 0.02 mm 0.176 mm 0.176 to 0.208 0.208 mm"
    simple = trials("grade", "--u", 0.18, *words, "--rule", "simple").out
    assert "0.192 mm   none" in simple


def test_grade_leaves_coupons_out_that_are_not_cut_yet(trials, at):
    folder = at("frozen")
    out = trials("grade", folder).out
    assert "54 coupons are not cut yet." in out
    assert not any(mark in out for mark in ("designation none", "not cut yet;"))
