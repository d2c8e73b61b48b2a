"""The shape of the house: imports run one way, start-up loads little, functions stay short, the wheel runs alone."""

import ast
import doctest
import importlib
import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from zipfile import ZipFile

import pytest
from tests_support import SMALL_TEXT, TRIAL_TEXT

from trials.cli import main

ROOT = Path(__file__).parent.parent
MODULES = sorted((ROOT / "trials").rglob("*.py"))
HEAVY = (
    "pandas",
    "scipy",
    "statsmodels",
    "matplotlib",
    "seaborn",
    "pingouin",
    "sqlalchemy",
    "typst",
    "ezdxf",
    "pydantic",
)

MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def run(*command, **options):
    """Run a command of this interpreter in a child process and give what it printed."""
    return subprocess.run([sys.executable, *command], capture_output=True, text=True, check=False, **options)


def test_imports_run_one_way():
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0, done.stdout


def test_lint():
    done = run("-m", "ruff", "check", "trials", "tests", cwd=ROOT)
    assert done.returncode == 0, done.stdout


def test_types():
    pytest.importorskip("mypy")
    done = run("-m", "mypy", cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


def test_examples_in_docstrings_run():
    found = {path: doctest.testmod(importlib.import_module(path)) for path in map(dotted, MODULES)}
    assert {path: result.failed for path, result in found.items() if result.failed} == {}
    assert sum(result.attempted for result in found.values()) > 20


def dotted(path):
    """A module file as it is imported."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_a_notebook_has_every_step_and_no_step_is_called_like_a_room():
    import trials
    from trials import steps

    assert trials.__all__ == steps.__all__
    rooms = {path.name.removesuffix(".py") for path in (ROOT / "trials").iterdir()}
    assert not rooms & set(trials.__all__)
    code = "import trials.grade.coupons, trials; print(trials.grade_trial.__module__, 'pandas' in dir(trials))"
    assert run("-c", code, cwd=ROOT).stdout.split() == ["trials.steps.grade", "False"]


def test_every_place_that_the_pages_name_exists():
    """Paths in code spans of DEVELOPERS.md, whole or from inside the package, and its tree of the house."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    spans = re.findall(r"`([\w.]+/[\w./-]*)`", page.replace("```", ""))
    tree = [*places_of(page.split("```")[1])]
    assert len(spans) > 40 and len(tree) > 50
    spans = [path for path in spans if not path.startswith((".venv/", "build/"))]  # made by chores
    gone = [path for path in spans if not (ROOT / path).exists() and not (ROOT / "trials" / path).exists()]
    assert gone + [path for path in tree if not (ROOT / path).exists()] == []


def places_of(tree):
    """Modules and rooms in the tree of the house; a line without a room belongs to the one above."""
    room = "trials"
    for line in tree.splitlines():
        if head := re.match(r"^ {2}(\w+)/ ", line):
            room = f"trials/{head[1]}"
            yield room
            line = line[head.end() :]
        elif head := re.match(r"^(\w+)/", line):
            room, line = "trials", ""
            yield head[1]
        for name in re.findall(r"(?<![\w/*])[\w/]+(?:\.py\b|\.json\b|/(?=[ ,;:]))", line):
            yield f"{room}/{name}"


def test_help_needs_nothing_heavy():
    code = f"import sys, trials.cli.main as m; m._register(); print([n for n in {HEAVY} if n in sys.modules])"
    done = run("-c", code, cwd=ROOT)
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


@pytest.mark.parametrize("path", MODULES, ids=[str(p.relative_to(ROOT)) for p in MODULES])
def test_modules_and_functions_stay_short(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 500
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            first = node.body[0]
            words = first.end_lineno - first.lineno + 1 if ast.get_docstring(node) else 0
            assert node.end_lineno - node.lineno - words <= 60, node.name


WORKING = {"WorkBudget", "Pool", "Work", "_Tried", "_Search", "_Point"}
"""Dataclasses that change while something is searched, and never leave the search."""


def test_results_are_frozen():
    thawed = set()
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                made = [ast.unparse(each) for each in node.decorator_list]
                if any(each.startswith("dataclass") and "frozen=True" not in each for each in made):
                    thawed.add(node.name)
    # errors freeze their fields themselves, since Python writes on an exception that is raised
    assert thawed == WORKING | {"InputError", "InputErrors"}


def test_pages_of_the_project_name_no_absolute_place():
    words = ("/work" + "/", "../sha" + "red", "/tmp" + "/")
    for path in [*MODULES, ROOT / "README.md", ROOT / "DEVELOPERS.md"]:
        assert not [w for w in words if w in path.read_text(encoding="utf-8")], path


def test_the_wheel_runs_alone(tmp_path):
    built = run("-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path), cwd=ROOT)
    wheels = list(tmp_path.glob("*.whl"))
    assert len(wheels) == 1, built.stdout + built.stderr
    site = tmp_path / "site"
    with ZipFile(wheels[0]) as wheel:  # all of it is Python: unpacked is installed
        wheel.extractall(site)
    env = {**os.environ, "PYTHONPATH": str(site)}
    start = f"import trials; from trials.cli.main import run; assert {str(site)!r} in trials.__file__; run()"
    few = f"import trials.decide.own_honesty as own; own.TRIALS = 10; {start}"
    done = run("-c", few, "demo", str(tmp_path / "demo"), cwd=tmp_path, env=env)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "demo" / "verdict.pdf").read_bytes().startswith(b"%PDF")
    listed = run("-c", start, "new", cwd=tmp_path, env=env)
    assert "compare-nozzles" in listed.stdout, listed.stdout + listed.stderr


LIGHT = ("pydantic",)
ALSO_TABLES = ("pydantic", "pandas", "sqlalchemy")


@pytest.mark.parametrize(
    ("words", "problem", "loaded"),
    [
        ("fit {empty}", "not a trial folder", LIGHT),
        ("plan {slip} --show", "unknown key", LIGHT),
        ("cut {new} {new}/none.csv", "no such file", LIGHT),
        ("record {new} {new}/none.csv", "no such file", LIGHT),
        ("adopt {empty}/own {new}/none.csv --nozzle a", "no such file", LIGHT),
        ("record {frozen} {new}/bad.csv", "not a number", LIGHT),
        ("record {frozen} {new}/headless.csv", "column reading: missing column", LIGHT),
        ("grade {slip}", "unknown key", ALSO_TABLES),
    ],
)
def test_what_cannot_be_used_is_refused_before_libraries_are_loaded(words, problem, loaded, tmp_path, frozen_folder):
    places = {name: tmp_path / name for name in ("empty", "new", "slip")}
    for place in places.values():
        place.mkdir()
    (places["new"] / "trial.toml").write_text(TRIAL_TEXT)
    (places["new"] / "bad.csv").write_text("coupon,reading,rz5_um\nA01,1,thirty\n")
    (places["new"] / "headless.csv").write_text("coupon,rz5_um\nA01,30\n")
    (places["slip"] / "trial.toml").write_text(TRIAL_TEXT.replace("thickness_mm", "thicknes_mm"))
    argv = ["trials", *words.format(**places, frozen=frozen_folder).split()]
    code = (
        f"import sys, trials.cli.main as m; sys.argv = {argv}\n"
        f"try:\n    m.run()\nexcept SystemExit as left:\n"
        f"    print(left.code, [n for n in {HEAVY} if n in sys.modules and n not in {loaded}])"
    )
    done = run("-c", code, cwd=ROOT)
    assert done.stdout.strip() == "2 []" and problem in done.stderr, done.stdout + done.stderr


@pytest.fixture(scope="module")
def frozen_folder(tmp_path_factory):
    """A small trial with a frozen plan."""
    from trials import steps
    from trials.trial import parse

    folder = tmp_path_factory.mktemp("trial")
    (folder / "trial.toml").write_text(SMALL_TEXT)
    steps.freeze(folder, steps.propose(parse(SMALL_TEXT)), MOMENT)
    return folder


def test_linear_algebra_runs_on_one_thread_and_the_collector_seldom(tmp_path):
    """Threads are told as NumPy is loaded, so a command may load none before; what is frozen is not searched."""
    code = (
        "import atexit, gc, sys, trials.cli.main as m\n"
        "atexit.register(lambda: print(gc.get_freeze_count() > 0))\n"
        f"sys.argv = ['trials', 'fit', {str(tmp_path)!r}]\n"
        "try:\n    m.run()\nexcept SystemExit:\n    import numpy, threadpoolctl\n"
        "    print({each['num_threads'] for each in threadpoolctl.threadpool_info()}, gc.get_threshold()[0])"
    )
    env = {name: value for name, value in os.environ.items() if name not in THREADS}
    assert run("-c", code, cwd=ROOT, env=env).stdout.split() == ["{1}", str(main.SELDOM[0]), "True"]


def test_threads_that_the_user_has_set_stay(monkeypatch):
    for name in THREADS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "2")
    monkeypatch.setattr(sys, "argv", ["trials", "--version"])
    with pytest.raises(SystemExit):
        main.run()
    assert [os.environ.get(name) for name in THREADS] == [None, "2", None]
