"""The same figures whoever works: processes of this computer, or a Dask cluster by its address."""

import signal

import numpy as np
import pandas as pd
import pytest
from tests_support import TRIAL_TEXT

from tests.plan.test_simulate import SMALL, UM, plan_arrays
from trials.cli import main
from trials.decide.own_honesty import honesty_of
from trials.decide.study import Evidence
from trials.errors import InputError, WrongArgument
from trials.plan.power import Simulation, simulate_tests
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Pattern
from trials.sharing import shared
from trials.steps import workers
from trials.steps.workers import working
from trials.trial import parse

SETTINGS = [(0.7, 1.0)] * 3
OPEN = tuple({"specimen": s, "mount": 0.0, "coupon": 0.006, "reading": 0.003} for s in np.linspace(0.0, 0.02, 10))


@pytest.fixture(scope="module")
def work():
    """All that is shared out, small: own honesty, power, chances over open spreads; and what was told meanwhile."""
    from tests.decide.conftest import make_table

    table = make_table.__wrapped__()(specimens=5, sheets=1, settings=SETTINGS, spread=(0.0, 0.12, 0.0, 0.08, 0.05))
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    found = Evidence({"roughness": table}, coupons, pd.DataFrame(), dict.fromkeys(("cylindrical", "double"), SETTINGS))
    trial, arrays = parse(TRIAL_TEXT), plan_arrays(SMALL)

    def done():
        seen = []
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("trials.decide.own_honesty.TRIALS", 250)
            honesty = honesty_of(trial, found, lambda *told: seen.append(told))
        power = simulate_tests(*arrays, UM, {"a": np.eye(4)[1:]}, Simulation(60, 3), lambda *told: seen.append(told))
        problem = problem_of(trial, dict.fromkeys(trial.primaries, OPEN))
        right = problem.evaluate(Pattern(1, 4, 1, 2), np.array([[4, 4], [6, 5]]), 6)
        return [honesty, *vars(power["a"]).values(), right.different, right.same, seen]

    return done


@pytest.fixture(scope="module")
def alone(work):
    with working("1"):
        return work()


def same(first, second):
    """To the last bit."""
    pairs = zip(first, second, strict=True)
    return all(np.array_equal(np.asarray(a, dtype=object), np.asarray(b, dtype=object)) for a, b in pairs)


def process_of(_):
    import os
    import time

    time.sleep(0.05)
    return os.getpid()


def test_figures_are_what_they_are_where_nobody_asks(work, alone):
    assert same(work(), alone)
    assert alone[-1] == [(100, 250), (200, 250), (250, 250), (25, 60), (50, 60), (60, 60)]


@pytest.mark.parametrize("processes", ["2", "4"])
def test_two_and_four_processes_give_the_figures_of_one(work, alone, processes):
    with working(processes):
        assert same(work(), alone)
        assert len(set(shared(process_of, range(12), 0.0))) > 1


def test_a_cluster_gives_the_figures_of_one_process(work, alone):
    distributed = pytest.importorskip("distributed", reason="the extra trials[cluster] is not installed")
    settings = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(**settings, processes=True) as cluster, working(cluster.scheduler_address):
        assert same(work(), alone)
        assert len(set(shared(process_of, range(12), 0.0))) == 2


def test_other_versions_on_a_cluster_are_refused():
    class Client:
        def wait_for_workers(self, count, timeout):
            pass

        def run(self, task):
            return {"tcp://a:1": task(), "tcp://b:2": task() | {"numpy": "1.0"}}

    with pytest.raises(InputError, match=r"worker tcp://b:2 has numpy 1\.0, this computer"):
        workers._check_workers(Client(), "tcp://s:8786")


def test_little_work_stays_here_and_much_is_shared(monkeypatch):
    asked = []

    class Parallel:
        def __init__(self, n_jobs, **config):
            asked.append(n_jobs)

        def __call__(self, calls):
            return (work(*args, **more) for work, args, more in calls)

    monkeypatch.setattr("trials.sharing.ENOUGH", 5.0)
    monkeypatch.setattr("joblib.effective_n_jobs", lambda jobs=1: 2 if jobs == -1 else 1)
    monkeypatch.setattr("joblib.Parallel", Parallel)
    assert list(shared(abs, range(3), 4.9)) == [0, 1, 2] and asked == []
    assert list(shared(abs, range(3), 5.0)) == [0, 1, 2] and asked == [-1]
    with working("1"):
        assert list(shared(abs, range(3), 100.0)) == [0, 1, 2] and asked == [-1]


def test_workers_do_not_hear_an_interrupt(hearing):
    with working("2"):
        assert set(shared(hears_interrupts, range(4), 0.0)) == {False}
    assert hears_interrupts(0)


@pytest.fixture
def hearing():
    """This process hears Ctrl-C, also where the tests were started in the background."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def hears_interrupts(_):
    return signal.getsignal(signal.SIGINT) is not signal.SIG_IGN


@pytest.mark.parametrize("kind", [KeyboardInterrupt(), 130])
def test_an_interrupted_command_says_one_line(kind, monkeypatch, capsys):
    def app(**_):
        if isinstance(kind, BaseException):
            raise kind
        return kind

    app.registered_commands = [None]
    monkeypatch.setattr(main, "app", app)
    with pytest.raises(SystemExit) as ended:
        main.run()
    assert ended.value.code == 2 and capsys.readouterr().err == "trials: Stopped; nothing was written.\n"


def fail(piece):
    raise WrongArgument(f"piece {piece}")


def test_an_error_of_a_worker_is_the_error():
    with working("2"), pytest.raises(WrongArgument, match="piece"):
        list(shared(fail, range(3), 0.0))


@pytest.mark.parametrize("asked", ["0", "-1", "two", "1e3", "513", "2.0", "９" * 4000])
def test_a_slip_in_the_number_is_refused(asked):
    with pytest.raises(InputError, match="no number of workers"), working(asked):
        pass


def test_without_the_extra_the_remedy_is_named(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"pip install 'nozzle-trials\[cluster\]'"), working("tcp://127.0.0.1:8786"):
        pass


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nowhere://x", "tcp://", "tcp://a:b"])
def test_a_cluster_that_does_not_answer_is_refused(address, monkeypatch):
    pytest.importorskip("distributed", reason="the extra trials[cluster] is not installed")
    monkeypatch.setattr(workers, "WAIT_SECONDS", 0.5)
    with pytest.raises(InputError, match="no Dask scheduler answers there"), working(address):
        pass
