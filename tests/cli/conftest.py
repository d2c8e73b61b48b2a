"""A small trial in every state, made through the commands themselves, and a way to run a command in this process."""

import pickle
import shutil
import sys
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from tests_support import SMALL_TEXT, TRIAL_TEXT


@dataclass(frozen=True)
class Done:
    """What a command left: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


@pytest.fixture(autouse=True)
def pictures(request):
    """Blank, but for tests that ask for drawn ones."""
    if "drawn_pictures" not in request.fixturenames:
        request.getfixturevalue("blank_pictures")


@pytest.fixture(scope="session")
def kept_studies():
    """Studies by what they were made from, as bytes."""
    return {}


@pytest.fixture(autouse=True)
def studied_once(kept_studies, monkeypatch):
    """A study follows from trial and evidence alone: commands that ask for one again get the same, made once a run.

    Each gets objects of its own, so that nothing done to one is seen in another.
    """
    from trials.decide import study, window

    def kept(*asked, **full):
        key = pickle.dumps((asked, full, window.POINTS, window.FEWER_POINTS))
        if key not in kept_studies:
            kept_studies[key] = pickle.dumps(made_anew(*asked, **full))
        return pickle.loads(kept_studies[key])

    made_anew = study.study
    monkeypatch.setattr(study, "study", kept)


@pytest.fixture(scope="session")
def one_parser():
    """Options of all commands are gathered once, as in a process of its own, not before each command of a test."""
    from typer import main

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(main, "get_command", cache(main.get_command))
        yield


@pytest.fixture
def trials(monkeypatch, capsys, one_parser):
    """Run `trials ...` in this process."""
    from trials.cli.main import run

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["trials", *map(str, words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            run()
        got = capsys.readouterr()
        return Done(int(stopped.value.code or 0), got.out, got.err)

    return call


def simulated_readings(folder, path, seed=7):
    """Invented readings of every coupon: double walls 25 % smoother, specimens and coupons differ."""
    from trials.steps import load

    rng = np.random.default_rng(seed)
    coupons = load(folder).coupons
    specimen = {s: rng.normal(0, 0.06) for s in sorted(set(coupons["specimen"]))}
    lines = ["coupon,reading,side,rz5_um,u_mm,dross_grade,inspector"]
    for row in coupons.itertuples():
        level = np.log(35) + specimen[row.specimen] + rng.normal(0, 0.08) - 0.3 * (row.nozzle == "double")
        u = 0.12 + 0.1 * specimen[row.specimen] + rng.normal(0, 0.015)
        dross = int(rng.integers(0, 3))
        for reading in (1, 2, 3):
            rz5, side = np.exp(level + rng.normal(0, 0.05)), "left" if reading % 2 else "right"
            lines.append(f"{row.coupon},{reading},{side},{rz5:.1f},{u + rng.normal(0, 0.004):.3f},{dross},AB")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def made(home, text):
    """Folders of a trial in its states: new, frozen, cut, measured."""
    from trials import steps
    from trials.store import intake, records
    from trials.trial import parse

    (home / "new").mkdir()
    (home / "new" / "trial.toml").write_text(text, encoding="utf-8")
    shutil.copytree(home / "new", home / "frozen")
    steps.freeze(home / "frozen", steps.propose(parse(text)))
    shutil.copytree(home / "frozen", home / "cut")
    records.record_as_planned(home / "cut")
    shutil.copytree(home / "cut", home / "measured")
    simulated_readings(home / "measured", home / "readings.csv")
    rows = intake.read_bench(home / "readings.csv", steps.load(home / "measured")).readings
    records.record_readings(home / "measured", rows)
    return home


@pytest.fixture(scope="session")
def states(tmp_path_factory):
    """The states of the trial of the tests; never written to, see `at`."""
    return made(tmp_path_factory.mktemp("states"), TRIAL_TEXT)


@pytest.fixture(scope="session")
def small_states(tmp_path_factory):
    """The states of the trial with one factor and one response; never written to, see `small`."""
    return made(tmp_path_factory.mktemp("small"), SMALL_TEXT)


@pytest.fixture
def at(states, tmp_path):
    """A private copy of the trial in one state."""
    return lambda state: shutil.copytree(states / state, tmp_path / state)


@pytest.fixture
def small(small_states, tmp_path):
    """A private copy of the smaller trial in one state."""
    return lambda state: shutil.copytree(small_states / state, tmp_path / state)
