"""Kinds of findings: their values differ over all floors, since JSON and the words know a kind by its value."""

import importlib
import pkgutil
import re
from collections import Counter
from enum import StrEnum
from pathlib import Path

import trials
from trials.words.findings import sentences


def enumerations():
    """Every enumeration of words in the package, by its name."""
    names = [module.name for module in pkgutil.walk_packages(trials.__path__, "trials.")]
    modules = [importlib.import_module(name) for name in names]
    every = {value for module in modules for value in vars(module).values() if isinstance(value, type)}
    return {kind.__name__: kind for kind in every if issubclass(kind, StrEnum) and kind is not StrEnum}


def kinds_of_findings():
    """The enumerations whose members are made into findings anywhere in the source."""
    home = Path(trials.__file__).parent
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(home.rglob("*.py")))
    return sorted(set(re.findall(r"\bFinding\(\s*(?:kind=)?([A-Z]\w+)\.", text)))


def test_no_two_kinds_share_a_value():
    known = enumerations()
    values = Counter(str(member) for name in kinds_of_findings() for member in known[name])
    assert [value for value, n in values.items() if n > 1] == []
    # members with one value would be one key of the sentences: none was lost on the way
    assert len(sentences()) == len(values) > 200


def test_every_kind_of_every_floor_has_its_sentence():
    known = enumerations()
    assert {"PlanKind", "BenchKind", "GradeKind", "InferKind", "LadderKind", "LivesKind"} <= set(kinds_of_findings())
    silent = [member for name in kinds_of_findings() for member in known[name] if member not in sentences()]
    assert silent == []
