"""From a finding to its sentence: each room of `words` brings the sentences of its kinds, collected here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

from trials.findings import Finding
from trials.words import (
    after_freeze,
    bench,
    card,
    chances,
    chart,
    doubts,
    further_blocks,
    grade,
    ladders,
    lives,
    model,
    money,
    plan,
    plan_chances,
    plan_steps,
    proof,
    records,
    remarks,
    settling,
)

Sentence = Callable[[Finding], str]
ROOMS = (
    *(after_freeze, bench, card, chances, chart, doubts, further_blocks, grade, ladders, lives, model, money, plan),
    *(plan_chances, plan_steps, proof, records, remarks, settling),
)
SENTENCES: Mapping[StrEnum, Sentence] = {kind: said for room in ROOMS for kind, said in room.SENTENCES.items()}


def say(finding: Finding) -> str:
    """The sentence of a finding in the current language; a kind without a sentence is a fault of the program."""
    return SENTENCES[finding.kind](finding)
