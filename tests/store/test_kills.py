"""Killed at any moment, a command leaves all of its work or nothing; a full disk leaves nothing."""

import os
import random
import resource
import shutil

import pytest
from killing import KILLS, look_after, make_states, run
from tests_support import readings_table

from trials import steps
from trials.errors import InputError
from trials.store import records

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
TIMES = {"record": 4, "correct": 4, "cut": 3, "adopt": 4, "plan": 3}
SLOW = {"sheet": 3.0, "verdict": 3.0}
"""Seconds within which these are killed, once each and without doing them again: the benchmark does."""


@pytest.fixture(scope="module")
def states(tmp_path_factory):
    home = make_states(tmp_path_factory.mktemp("states"))
    run("cut", shutil.copytree(home / "frozen", home / "first"))  # the process that others are forked from is up
    return home


@pytest.mark.parametrize("name", TIMES)
def test_a_killed_command_leaves_all_or_nothing(name, states, tmp_path):
    kill, rng = KILLS[name], random.Random(name)
    took = run(name, shutil.copytree(states / kill.state, tmp_path / "whole"))
    assert kill.done(tmp_path / "whole")
    for number in range(TIMES[name]):
        folder = shutil.copytree(states / kill.state, tmp_path / str(number))
        run(name, folder, kill_after=rng.uniform(0.1, 1.0) * took)
        look_after(name, folder)


@pytest.mark.parametrize("name", SLOW)
def test_a_killed_paper_leaves_the_records_sound(name, states, tmp_path):
    folder = shutil.copytree(states / KILLS[name].state, tmp_path / "trial")
    run(name, folder, kill_after=random.Random(name).uniform(0.1, 1.0) * SLOW[name])
    look_after(name, folder, again=False)
    names = {path.name for path in folder.rglob("*.pdf")} | {path.name for path in folder.rglob("*.xlsx")}
    assert not any(path.stat().st_size == 0 for path in folder.rglob("*.pdf")), names


def test_a_full_disk_leaves_the_records_as_they_were(states, tmp_path):
    """No file may grow beyond what it has: what a process sees of a full disk without the rights to make one."""
    folder = shutil.copytree(states / "cut", tmp_path / "trial")
    before = (folder / "trial.db").read_bytes()
    rows = readings_table(
        *((m, i, "rz5_um", 30.0 + i) for m in records.load(folder).coupons["coupon"] for i in range(1, 60))
    )
    child = os.fork()
    if child == 0:
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (len(before), len(before)))
            records.record_readings(folder, rows)
        except InputError as error:
            os._exit(3 if "cannot be written" in str(error) and "\n" not in str(error) else 4)
        except BaseException:
            os._exit(5)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 3
    assert steps.check(folder).sound and len(records.load(folder).readings) == 0
    assert records.record_readings(folder, rows).added == len(rows)
