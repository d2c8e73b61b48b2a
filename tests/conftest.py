"""Fixtures shared by all tests."""

import gc
import os
import pickle
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # digits of sums depend on the number of threads

import pytest
from tests_support import TRIAL_TEXT, draw_blank

gc.set_threshold(200_000, 100, 100)  # the collector looks a tenth as often: a tenth of the time of the whole suite

EXAMPLES = Path(__file__).parent.parent / "example_data"
DESIGNS = EXAMPLES.parent / "designs"
MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)
LONGEST = (
    *("test_house.py", "test_ready_made_trials.py", "test_paper.py", "test_settle.py"),
    *("test_nonsense_language.py", "test_way.py", "test_server.py", "test_catalogues.py"),
    *("test_records_steps.py", "test_fuzz.py", "test_extend_to_settle.py", "test_designs_dry_run.py"),
    *("test_search.py", "test_verdict.py", "test_notebook.py", "test_extend_and_lives.py"),
    *("test_response.py", "test_window_example.py", "test_life_study.py"),
)
"""Files that take long are begun first, so that the workers, a file each at a time, end together."""


def pytest_collection_modifyitems(items):
    """The longest files first, the others in their order."""
    items.sort(key=lambda item: LONGEST.index(item.path.name) if item.path.name in LONGEST else len(LONGEST))


@pytest.fixture(scope="session", autouse=True)
def few_simulated_trials():
    """A verdict simulates 4,000 trials like its own, a plan 200; tests of everything else are content with a few.

    For the whole session, so that what fixtures of modules make is made so too.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trials.decide.own_honesty.TRIALS", 10)
        patch.setattr("trials.steps.plan.SIMULATED", 10)
        yield


@pytest.fixture(scope="session", autouse=True)
def one_process():
    """Work is shared out where a test asks for it, however long it is: tests run side by side already."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trials.sharing.ENOUGH", float("inf"))
        yield


@pytest.fixture
def blank_pictures(monkeypatch):
    """Pictures are made but not drawn, for tests of papers that do not look at them; drawing is most of a paper."""
    draw_blank(monkeypatch)


@pytest.fixture
def drawn_pictures():
    """For a test that looks at pictures, where the others of its folder have them blank."""


@pytest.fixture(autouse=True, scope="session")
def few_places():
    """A verdict maps 49 or 81 settings of every type; tests of everything else are content with a few."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trials.decide.window.POINTS", 5)
        patch.setattr("trials.decide.window.FEWER_POINTS", 3)
        yield


@pytest.fixture
def trial_text() -> str:
    """Text of a small, complete trial file."""
    return TRIAL_TEXT


@pytest.fixture(scope="session")
def ready_made(tmp_path_factory):
    """Trial and plan of a ready-made file by name; one takes seconds to search, so each is made once."""
    from trials.plan.choose import make_plan
    from trials.trial import parse

    run, base = os.environ.get("PYTEST_XDIST_TESTRUNUID"), tmp_path_factory.getbasetemp()
    place = base.parent / f"plans-{run}" if run else base / "plans"
    place.mkdir(exist_ok=True)

    @cache
    def made(name):
        trial = parse((DESIGNS / f"{name}.toml").read_text(encoding="utf-8"), f"{name}.toml")
        kept = place / name
        if not kept.exists():
            half = kept.with_suffix(f".{os.getpid()}")
            half.write_bytes(pickle.dumps(make_plan(trial)))
            half.rename(kept)
        return trial, pickle.loads(kept.read_bytes())

    return made


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """Folder of an example trial by name, recorded as the demo does and made once; only to be read."""
    from trials import steps
    from trials.store import intake
    from trials.store import records as store

    @cache
    def made(name):
        source, folder = EXAMPLES / name, tmp_path_factory.mktemp(name)
        (folder / "trial.toml").write_text((source / "trial.toml").read_text(encoding="utf-8"), encoding="utf-8")
        steps.freeze(folder, steps.propose(store.read_trial(folder)[0]), MOMENT)
        records = steps.load(folder)
        readers = {"cuts": intake.read_cuts, "mounts": intake.read_mounts, "sheets": intake.read_sheets}
        files = {kind: source / f"{kind}.csv" for kind in readers}
        found = {kind: readers[kind](path, records) for kind, path in files.items() if path.is_file()}
        store.record_cuts(folder, **found, at=MOMENT)
        rows = intake.read_bench(source / "readings.csv", steps.load(folder)).readings
        store.record_readings(folder, rows, at=MOMENT)
        return folder

    return made


@pytest.fixture(scope="session")
def studied(example):
    """The study of an example trial by name, made once; only to be read."""
    from trials import steps

    return cache(lambda name: steps.fit(example(name)))
