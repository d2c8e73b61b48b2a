"""What a name or a cell holds never steers the terminal."""

import subprocess
import sys

import pytest
from decide.test_decision import MORE, made

from trials.cli import show
from trials.cli.study_text import answer_lines
from trials.infer.answer import Answer
from trials.words.decision import decision_rows


@pytest.mark.parametrize("hidden", ["\x1b[2J", "\x9b31m", "\x07", "\u202e", "\r"])
def test_what_would_steer_the_terminal_is_shown_by_its_code(capsys, hidden):
    name = f"a{hidden}b"
    show.say(name)
    show.heading(name)
    show.bullets([name])
    show.next_step(name)
    show.table([name], [[name]])
    show.as_json({"name": name})
    out = capsys.readouterr().out
    assert hidden[0] not in out
    assert "a\\" in out


def test_an_error_names_a_file_without_steering_the_terminal(trials, at):
    done = trials("record", at("cut"), "no\x1b[2Jfile.csv")
    assert done.code == 2
    assert "\x1b" not in done.err
    assert "\\x1b[2J" in done.err


def test_each_problem_of_a_file_stands_on_its_own_line(trials, at, tmp_path):
    (tmp_path / "r.csv").write_text("coupon,reading,rz5_um\nX\x1b1,1,3\nX2,1,4\n", encoding="utf-8")
    done = trials("record", at("cut"), tmp_path / "r.csv")
    lines = done.err.splitlines()
    assert done.code == 2
    assert [line.split("row ")[1][0] for line in lines] == ["2", "3"]
    assert "\x1b" not in done.err


def test_the_plan_that_settles_it_is_a_command_on_the_screen_only():
    study = made({"a": Answer.NOT_SETTLED}, more=MORE)
    said = " ".join(" ".join(answer_lines(study)).split())
    assert "`trials plan FOLDER --settle 80 --spreads-from FOLDER`" in said
    assert not any("`" in words for _, words in decision_rows(study))
    assert "`" not in " ".join(answer_lines(made({"a": Answer.WORSE}, more=MORE)))


def test_a_correction_is_shown_before_it_is_written(trials, at):
    from trials import steps

    folder = at("measured")
    first = steps.load(folder).readings.iloc[0]
    words = ("--reading", int(first["reading"]), "--who", "AB", "--why", "read again")
    done = trials("correct", folder, first["coupon"], first["field"], "--withdraw", *words)
    assert done.code == 0
    assert first["field"] == "rz5_um" and f"Rz5: {first['value']:g} µm -> withdrawn" in done.out
    refused = trials("correct", folder, first["coupon"], first["field"], *words)
    assert (refused.code, "--withdraw" in refused.err) == (2, True)


def test_a_fit_needs_no_library_of_pictures_and_no_slow_part_of_scipy(states):
    unused = (
        "statsmodels",
        "seaborn",
        "matplotlib",
        "scipy.optimize",
        "scipy.stats",
        "scipy.interpolate",
    )
    code = (
        f"import sys, trials.cli.main as m; sys.argv = ['trials', 'fit', {str(states / 'measured')!r}]\n"
        f"try:\n    m.run()\nexcept SystemExit:\n    print([n for n in {unused} if n in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "What to do next" in done.stdout and done.stderr.strip() == "[]", done.stdout + done.stderr
