"""How many one-token faults do a floor's own tests notice?

Seeded random faults are put into a copy of the tree, one at a time, and those of the floor's own tests that run the
faulty function run against it, the quick ones first; a fault outside functions runs against all of the floor's tests.
A fault is caught when a test fails, or when the tests use a minute more of the processor than they do on the sound
tree (printed as HANGS: a loop that does not end is noticed by whoever waits). One that only another floor's tests would
see counts as a survivor. A survivor is a gap in the tests, or a change that means the same; which of the two is judged
by hand, but for the rules of `same_by_rule` (margins of rounding, seeds): how many those leave out is printed first.

Run as `python tests/benchmarks/faults.py --floor grade --faults 40 --seed 1 --workers 1`.
"""

from __future__ import annotations

import argparse
import ast
import copy
import functools
import importlib
import json
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from queue import Queue
from types import FrameType

import pytest

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("infer", "plan", "grade", "decide", "bench")
COPIED = ("trials", "tests", "designs", "example_data", "pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE")
PRELOADED = ("numpy", "pandas", "scipy.optimize", "scipy.stats", "pydantic")
"""Libraries that the program and its tests load; loaded once, since every fault has a run of its own."""
SPARE_S = 60.0
"""Processor seconds beyond those of the sound tests, after which a run has lost its way."""
ROUNDING = 1e-6
"""A number above zero and below this is a margin for rounding."""

TURNED = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
TURNED |= {ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
SHIFTED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
SWAPPED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
SWAPPED |= {ast.FloorDiv: ast.Mult, ast.Mod: ast.FloorDiv}


@dataclass(frozen=True)
class Fault:
    """One change: the text from `start` to `end` (bytes of the file) becomes `after`."""

    path: Path
    line: int
    kind: str
    start: int
    end: int
    before: str
    after: str

    def __str__(self) -> str:
        before, after = " ".join(self.before.split()), " ".join(self.after.split())
        return f"{self.path}:{self.line}  {self.kind}:  {before}  ->  {after}"


class Seen(StrEnum):
    """What the tests made of a fault."""

    CAUGHT = "caught"
    HANGS = "HANGS"
    SURVIVED = "SURVIVED"


@dataclass(frozen=True)
class Outcome:
    """What the tests made of a fault."""

    fault: Fault
    seen: Seen
    seconds: float

    @property
    def caught(self) -> bool:
        """Whether somebody would notice."""
        return self.seen is not Seen.SURVIVED


def faults_of(path: Path) -> tuple[list[Fault], int]:
    """Every fault that can be put into a module, and how many more the rules leave out."""
    source = (ROOT / path).read_bytes()
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    found, tree = [], ast.parse(source)
    same, left_out = same_by_rule(tree), 0
    for node in _code(tree):
        start = starts[node.lineno - 1] + node.col_offset
        end = starts[node.end_lineno - 1] + node.end_col_offset
        for kind, changed in _changes(node):
            if (id(node), kind) in same:
                left_out += 1
                continue
            after = ast.unparse(changed)
            after = after if isinstance(changed, ast.Constant | ast.Name) else f"({after})"
            found.append(Fault(path, node.lineno, kind, start, end, source[start:end].decode(), after))
    return found, left_out


def same_by_rule(tree: ast.Module) -> set[tuple[int, str]]:
    """Changes (id of the node, kind) that mean the same by construction.

    1. A margin for rounding, a number above 0 and below 1e-6, that becomes half as large again.
    2. `<` for `<=` beside nothing but such a margin: they differ where a computed number is 1e-9 to the last bit.
    3. One round more for a loop over `range(number)` that is left by `return` or `break`, and so ends by itself.
    4. `strict=True` of a zip: a guard for whoever changes the code, of columns that are equally long; `hermitian=True`
       and `optimize=True`: quicker ways to the same product of matrices.
    5. Another seed: any is as good.
    6. One node more for a rule of Gauss that has 16 or more.
    7. `reshape(-2)` for `reshape(-1)`: any negative length is the one that is left.
    8. How many pieces of work are done at once and about what they take, which no figure hangs on.
    """
    numbers = {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    free = ("SEED", "AT_ONCE", "SECONDS_EACH")
    same = {(id(value), "constant") for name, value in numbers.items() if any(part in name for part in free)}
    for node in ast.walk(tree):
        same |= {(id(part), kind) for part, kind in _same_in(node, numbers)}
    return same


def _same_in(node: ast.AST, numbers: Mapping[str, ast.expr]) -> Iterator[tuple[ast.AST, str]]:
    """The expressions of one node that the rules name."""
    if isinstance(node, ast.Constant) and _is_margin(node):
        yield node, "constant"
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        sides = (numbers.get(s.id, s) if isinstance(s, ast.Name) else s for s in (node.left, *node.comparators))
        if any(map(_is_margin, sides)):
            yield node, "boundary"
    elif isinstance(node, ast.For) and (most := _most_rounds(node)) is not None:
        yield numbers.get(most.id, most) if isinstance(most, ast.Name) else most, "constant"
    elif isinstance(node, ast.arguments):
        named = zip(reversed([*node.posonlyargs, *node.args]), reversed(node.defaults), strict=False)
        for argument, default in (*named, *zip(node.kwonlyargs, node.kw_defaults, strict=True)):
            if argument.arg == "seed" and default is not None:
                yield default, "constant"
    elif isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "seed" and node.value is not None:
        yield node.value, "constant"
    elif isinstance(node, ast.Call):
        yield from ((part, "constant") for part in _same_in_call(node))


def _same_in_call(call: ast.Call) -> Iterator[ast.AST]:
    quicker = ("hermitian=True", "optimize=True")
    yield from (given.value for given in call.keywords if ast.unparse(given) in quicker)
    name = ast.unparse(call.func).rsplit(".")[-1]
    if name == "zip":
        yield from (given.value for given in call.keywords if ast.unparse(given) == "strict=True")
    elif name in ("hermegauss", "leggauss"):
        yield from (n for n in call.args if isinstance(n, ast.Constant) and n.value >= 16)
    elif name == "reshape":
        yield from (n.operand for n in call.args if isinstance(n, ast.UnaryOp) and isinstance(n.op, ast.USub))


def _is_margin(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, float) and 0.0 < node.value < ROUNDING


def _most_rounds(loop: ast.For) -> ast.Name | ast.Constant | None:
    """The number or name in `for ... in range(most)`, where the loop may be left before."""
    called = loop.iter
    if not (isinstance(called, ast.Call) and ast.unparse(called.func) == "range" and len(called.args) == 1):
        return None
    leaves = any(isinstance(node, ast.Return | ast.Break) for line in loop.body for node in ast.walk(line))
    most = called.args[0]
    return most if leaves and isinstance(most, ast.Name | ast.Constant) else None


def _code(node: ast.AST) -> Iterator[ast.expr]:
    """Expressions that do something: no annotations, decorators, error messages, formatted texts or public names."""
    skipped = ("annotation", "returns", "decorator_list")
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom) or _is_list_of_names(node):
        return
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return
    if isinstance(node, ast.expr):
        yield node
    for name, value in ast.iter_fields(node):
        if name in skipped:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _code(child)


def _is_list_of_names(node: ast.AST) -> bool:
    return isinstance(node, ast.Assign) and any(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets)


def _changes(node: ast.expr) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(node, ast.Compare):
        yield from _compared(node)
    elif isinstance(node, ast.BinOp) and not _is_text(node):
        if type(node.op) in SWAPPED:
            yield "arithmetic", ast.BinOp(node.left, SWAPPED[type(node.op)](), node.right)
        if isinstance(node.op, ast.Add | ast.Sub):
            yield "dropped term", node.left
    elif isinstance(node, ast.BoolOp):
        yield "and/or", ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert):
        yield "not", node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        yield "constant", ast.Constant(_other(node.value))


def _compared(node: ast.Compare) -> Iterator[tuple[str, ast.expr]]:
    for place, operator in enumerate(node.ops):
        for kind, table in (("comparison", TURNED), ("boundary", SHIFTED)):
            if type(operator) in table:
                changed = copy.copy(node)
                changed.ops = [*node.ops[:place], table[type(operator)](), *node.ops[place + 1 :]]
                yield kind, changed


def _is_text(node: ast.BinOp) -> bool:
    return any(isinstance(n, ast.JoinedStr) or _is_string(n) for n in ast.walk(node))


def _is_string(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


def _other(value: bool | int | float) -> bool | int | float:
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) else (value * 1.5 or 1.0)


class Calls:
    """Which functions of a floor each test runs, and how long it takes (a plugin of the test runner).

    What a fixture runs counts for every test that asks for a fixture of that name.
    """

    def __init__(self, floor: Path, wanted: Mapping[str, float] | None = None) -> None:
        """Trace every test under a floor, or run only the wanted ones, the quick ones first."""
        self.floor, self.wanted = str(floor) + os.sep, wanted
        self.by_test: dict[str, set[str]] = defaultdict(set)
        self.by_fixture: dict[str, set[str]] = defaultdict(set)
        self.fixtures: dict[str, tuple[str, ...]] = {}
        self.seconds: dict[str, float] = defaultdict(float)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        if self.wanted is not None:
            items[:] = sorted((i for i in items if i.nodeid in self.wanted), key=lambda i: self.wanted[i.nodeid])
        self.fixtures = {item.nodeid: tuple(getattr(item, "fixturenames", ())) for item in items}

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
        return (yield from self._traced(self.by_fixture[fixturedef.argname]))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        began = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] += time.process_time() - began

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        return (yield from self._traced(self.by_test[item.nodeid]))

    def _traced(self, into: set[str]) -> Iterator[None]:
        outer = sys.gettrace()
        if self.wanted is None:
            sys.settrace(lambda frame, *_: self._note(frame, into))
        try:
            return (yield)
        finally:
            sys.settrace(outer)

    def _note(self, frame: FrameType, into: set[str]) -> None:
        code = frame.f_code
        if code.co_filename.startswith(self.floor):
            into.add(f"{code.co_filename.removeprefix(self.floor)}:{code.co_name}")

    def found(self) -> dict[str, tuple[float, list[str]]]:
        """Seconds and functions of every test."""
        return {
            test: (self.seconds[test], sorted(own.union(*(self.by_fixture[name] for name in self.fixtures[test]))))
            for test, own in self.by_test.items()
        }


def run_every_time() -> None:
    """Nothing of the program is kept from call to call, so that each test is seen to run all that it rests on."""
    kept = functools.lru_cache

    def lru_cache(maxsize: object = 128, typed: bool = False) -> object:
        if callable(maxsize):
            return of_ours(maxsize, kept)
        return lambda function: of_ours(function, kept(maxsize, typed))

    def of_ours(function: Callable[..., object], keeping: Callable[..., object]) -> object:
        if not function.__module__.startswith("trials."):
            return keeping(function)
        function.cache_clear = lambda: None
        return function

    functools.lru_cache, functools.cache = lru_cache, lru_cache


class Copy:
    """A copy of the tree that carries one fault at a time."""

    def __init__(self, folder: Path, floor: str) -> None:
        """Copy what the tests need."""
        self.folder, self.floor = folder, floor
        leave = shutil.ignore_patterns("__pycache__", ".*")
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, folder / name, ignore=leave)
            elif (ROOT / name).exists():
                shutil.copy(ROOT / name, folder / name)

    def run(self, files: Sequence[str], wanted: Mapping[str, float] | None, longest_s: float | None) -> Seen:
        """Whether the tests pass, in a child that has the big libraries already.

        A child that computes for ever ends by its share of the processor, one that waits for ever after `longest_s`.
        """
        child = multiprocessing.get_context("fork").Process(target=self._child, args=(tuple(files), wanted))
        child.start()
        child.join(longest_s)
        waits = child.is_alive()
        if waits:
            child.kill()
            child.join()
        if waits or child.exitcode == -signal.SIGXCPU:
            return Seen.HANGS
        return Seen.CAUGHT if child.exitcode else Seen.SURVIVED

    def _child(self, files: Sequence[str], wanted: Mapping[str, float] | None) -> None:
        if wanted is not None:
            hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
            resource.setrlimit(resource.RLIMIT_CPU, (round(time.process_time() + sum(wanted.values()) + SPARE_S), hard))
        quiet = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(quiet, stream)
        os.chdir(self.folder)
        sys.path.insert(0, str(self.folder))
        sys.dont_write_bytecode = True
        if wanted is None:
            run_every_time()
        calls = Calls(self.folder / "trials" / self.floor, wanted)
        code = pytest.main(["-x", "-q", "-n0", "-p", "no:cacheprovider", *files], plugins=[calls])
        if wanted is None:
            (self.folder / "calls.json").write_text(json.dumps(calls.found()), encoding="utf-8")
        os._exit(int(code))

    def notices(self, fault: Fault, known: Mapping[str, tuple[float, list[str]]], longest_s: float) -> Seen:
        """Whether a test fails while the fault is in the copy."""
        place = self.folder / fault.path
        sound = place.read_bytes()
        place.write_bytes(sound[: fault.start] + fault.after.encode() + sound[fault.end :])
        try:
            near = tests_near(fault, self.floor, known)
            return self.run(_files(near), near, longest_s) if near else Seen.SURVIVED
        finally:
            place.write_bytes(sound)


def _files(tests: Iterable[str]) -> list[str]:
    return sorted({test.split("::")[0] for test in tests})


def tests_near(fault: Fault, floor: str, known: Mapping[str, tuple[float, list[str]]]) -> dict[str, float]:
    """Tests that run the faulty function; all tests of the floor for a fault outside functions."""
    module = fault.path.relative_to(Path("trials") / floor)
    inside = {f"{module}:{name}" for name in _functions_around(fault)}
    return {test: seconds for test, (seconds, functions) in known.items() if not inside or inside & set(functions)}


def _functions_around(fault: Fault) -> list[str]:
    """Name of the outermost function around a fault, its defaults included; none at the top of a module."""
    tree = ast.parse((ROOT / fault.path).read_bytes())
    around = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.lineno <= fault.line <= (node.end_lineno or 0)
    ]
    return [node.name for node in sorted(around, key=lambda node: node.lineno)[:1]]


def chosen(floor: str, count: int, seed: int, only: str) -> list[Fault]:
    """The faults of one run, in the order drawn."""
    modules = (path.relative_to(ROOT) for path in sorted((ROOT / "trials" / floor).rglob("*.py")))
    by_module = [faults_of(path) for path in modules if only in str(path)]
    every = [fault for found, _ in by_module for fault in found]
    print(f"{len(every)} possible faults; {sum(left for _, left in by_module)} more mean the same by rule", flush=True)
    return random.Random(seed).sample(every, min(count, len(every)))


def hunt(floor: str, faults: Sequence[Fault], workers: int) -> Iterator[Outcome]:
    """Outcomes as they come."""
    os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
    for name in PRELOADED:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as folder:
        copies: Queue[Copy] = Queue()
        for number in range(workers):
            (Path(folder) / str(number)).mkdir()
            copies.put(Copy(Path(folder) / str(number), floor))
        first = copies.get()
        began = time.perf_counter()
        if first.run([f"tests/{floor}"], None, None) is not Seen.SURVIVED:
            raise SystemExit(f"The tests of {floor} fail without any fault; mend them first.")
        known = json.loads((first.folder / "calls.json").read_text(encoding="utf-8"))
        longest_s = 4 * (time.perf_counter() - began) + SPARE_S
        copies.put(first)
        print(f"sound floor: {len(known)} tests, {time.perf_counter() - began:.0f} s", flush=True)

        def one(fault: Fault) -> Outcome:
            mine, start = copies.get(), time.perf_counter()
            try:
                return Outcome(fault, mine.notices(fault, known, longest_s), time.perf_counter() - start)
            finally:
                copies.put(mine)

        with ThreadPoolExecutor(workers) as pool:
            yield from pool.map(one, faults)


def main() -> None:
    """Read the arguments, hunt, and list the survivors."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--floor", choices=FLOORS, required=True)
    asked.add_argument("--faults", type=int, default=40)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=1)
    asked.add_argument("--only", default="", help="part of a module's path")
    given = asked.parse_args()
    outcomes = []
    for outcome in hunt(given.floor, chosen(given.floor, given.faults, given.seed, given.only), given.workers):
        outcomes.append(outcome)
        print(f"{outcome.seen:8} {outcome.seconds:5.0f} s  {outcome.fault}", flush=True)
    survivors = [outcome.fault for outcome in outcomes if not outcome.caught]
    share = 1 - len(survivors) / max(len(outcomes), 1)
    print(
        f"\n{given.floor}: {len(outcomes) - len(survivors)} of {len(outcomes)} caught ({share:.0%}), seed {given.seed}"
    )
    for kind in sorted({outcome.fault.kind for outcome in outcomes}):
        caught = [outcome.caught for outcome in outcomes if outcome.fault.kind == kind]
        print(f"  {kind}: {sum(caught)} of {len(caught)}")
    print("\n".join(f"survived: {fault}" for fault in survivors))


if __name__ == "__main__":
    main()
