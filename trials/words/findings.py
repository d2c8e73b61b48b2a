"""From a finding to its sentence: each room of `words` brings the sentences of its kinds, fetched when first needed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from functools import lru_cache
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trials.findings import Finding

Sentence = Callable[["Finding"], str]
ROOMS: Mapping[str, tuple[str, ...]] = {
    "BenchKind": ("bench",),
    "CardKind": ("card",),
    "ChanceKind": ("chances",),
    "ChartKind": ("chart",),
    "DoubtKind": ("doubts",),
    "GradeKind": ("grade",),
    "InferKind": ("model",),
    "LadderKind": ("ladders",),
    "LifeKind": ("lives",),
    "LifeTold": ("life_told",),
    "LivesKind": ("lives",),
    "MoneyKind": ("money",),
    "PlanKind": ("further_blocks", "plan", "plan_chances", "plan_steps", "settling"),
    "RecordKind": ("after_freeze", "proof", "records"),
    "StudyKind": ("remarks",),
}
"""By the name of an enumeration of kinds, the rooms that hold their sentences."""


def say(finding: Finding) -> str:
    """The sentence of a finding in the current language; a kind without a sentence is a fault of the program."""
    return sentences_of(type(finding.kind).__name__)[finding.kind](finding)


@lru_cache(maxsize=len(ROOMS))
def sentences_of(kinds: str) -> Mapping[StrEnum, Sentence]:
    """Sentences of the rooms of one enumeration of kinds."""
    rooms = [import_module(f"trials.words.{name}") for name in ROOMS[kinds]]
    return {kind: said for room in rooms for kind, said in room.SENTENCES.items()}


def sentences() -> Mapping[StrEnum, Sentence]:
    """Every kind that there is, with its sentence."""
    return {kind: said for kinds in ROOMS for kind, said in sentences_of(kinds).items()}
