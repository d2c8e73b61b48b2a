"""Commands that are killed at some moment, and what must hold of the folder they leave."""

import multiprocessing
import shutil
import signal
import time
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from tests_support import TRIAL_TEXT, readings_table

from trials import steps
from trials.errors import InputError
from trials.store import records

TABLE = "nozzle,specimen,run,Rz\n" + "".join(
    f"{nozzle},{nozzle}{piece},{run},{20 + piece + run}\n" for nozzle in "AB" for piece in (1, 2, 3) for run in (1, 2)
)
DONE_BEFORE = ("frozen already", "holds a trial already", "equals the one on record")
"""What a command says that is done again although it was not killed before its end."""
MOST = 600.0
"""Seconds after which a command that was not killed counts as one that hangs, on a busy machine too."""


@dataclass(frozen=True)
class Kill:
    """One command: the state it starts from, and what it does."""

    state: str
    work: object
    done: object


def _readings(folder, first=1):
    marks = records.load(folder).coupons["coupon"][:6]
    return readings_table(*((mark, first + i, "rz5_um", 30.0 + i) for mark in marks for i in range(3)))


def _adopt(folder):
    said = steps.Adoption(steps.Keys(("nozzle",), ("specimen",)), "A", ("Rz:um",))
    table = folder.parent / "table.csv"
    table.write_text(TABLE, encoding="utf-8")
    steps.adopt(folder / "adopted", table, said)


def _freeze(folder):
    steps.freeze(folder, steps.propose(steps.load(folder).trial))


def _correct(folder):
    row = records.load(folder).readings.iloc[0]
    place = records.ReadingPlace(row["coupon"], "rz5_um", int(row["reading"]))
    records.correct(folder, place, 44.0, "Tester", "killed now and then")


KILLS = {
    "record": Kill(
        "cut", lambda f: records.record_readings(f, _readings(f)), lambda f: len(records.load(f).readings) == 18
    ),
    "correct": Kill("measured", _correct, lambda f: 44.0 in set(records.load(f).readings["value"])),
    "cut": Kill("frozen", steps.cut_as_planned, lambda f: len(records.load(f).cuts) == len(records.load(f).coupons)),
    "adopt": Kill("empty", _adopt, lambda f: len(records.load(f / "adopted").readings) == 12),
    "plan": Kill("new", _freeze, lambda f: records.load(f).frozen),
    "sheet": Kill("frozen", steps.run_sheet, lambda f: any(f.rglob("run-sheet.pdf"))),
    "verdict": Kill(
        "measured", steps.verdict, lambda f: len(records.kept_looks(f)) == 1 and (f / "verdict.pdf").is_file()
    ),
}


def make_states(home):
    """A folder for each state a command starts from."""
    (home / "empty").mkdir()
    (home / "new").mkdir()
    (home / "new" / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
    shutil.copytree(home / "new", home / "frozen")
    _freeze(home / "frozen")
    shutil.copytree(home / "frozen", home / "cut")
    steps.cut_as_planned(home / "cut")
    shutil.copytree(home / "cut", home / "measured")
    found = records.load(home / "measured").coupons
    values = pd.Series(range(len(found))) % 7
    rows = [
        (mark, i, "rz5_um", 30.0 + v + i) for mark, v in zip(found["coupon"], values, strict=True) for i in (1, 2, 3)
    ]
    records.record_readings(home / "measured", readings_table(*rows))
    return home


def _child(name, folder):
    import trials.decide.own_honesty

    trials.decide.own_honesty.TRIALS = 10
    try:
        KILLS[name].work(folder)
    except InputError as error:
        assert any(part in str(error) for part in DONE_BEFORE), str(error)


def run(name, folder, kill_after=None):
    """Do the work in a process of its own, killed after so many seconds; the seconds it took.

    The process is forked from a clean one, so that no thread of this one is missing in it.
    """
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["killing", "trials.decide.study", "trials.steps.verdict"])
    child = context.Process(target=_child, args=(name, folder))
    child.start()
    started = time.monotonic()
    child.join(MOST if kill_after is None else kill_after)
    took = time.monotonic() - started
    killed = child.is_alive()
    child.kill()
    child.join()
    assert kill_after is not None or not killed, "took too long"
    assert killed or child.exitcode in (0, -signal.SIGKILL), "failed without being killed"
    return took


def look_after(name, folder, again=True):
    """What must hold after a kill: the records are sound, and (again) the work can be done again or is done."""
    kill = KILLS[name]
    for place in (folder, folder / "adopted"):
        if (place / "trial.db").exists():
            found = steps.check(place)
            assert found.sound, [finding.kind for finding in found.findings]
            assert (place / "trial.toml").exists(), "the question was not put back"
    if not again:
        return
    run(name, folder)
    assert kill.done(folder), "not done although it was done again"
    leftover = [path for path in Path(folder).rglob("*") if path.suffix == ".db" and path.name != "trial.db"]
    assert leftover == []
