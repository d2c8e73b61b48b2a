"""What to do with the answer of a study, as values: change to a type, keep today's, or cut more."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from trials.decide.results import Comparison, ResponseResult, Study
from trials.infer.answer import Answer


class Action(StrEnum):
    """What a manager does next with nozzle types."""

    CHANGE = "change"
    KEEP = "keep"
    CUT_MORE = "cut more"
    NOTHING = "nothing to compare"


@dataclass(frozen=True)
class Advice:
    """What to do, and why.

    to: the type to change to; because: the comparisons that show it better, by response; others: the remaining types
    by their answer, in the order of the trial, none twice.
    """

    action: Action
    to: str = ""
    because: tuple[tuple[ResponseResult, Comparison], ...] = ()
    others: tuple[tuple[Answer, tuple[str, ...]], ...] = ()


def advice(study: Study) -> Advice:
    """The type with the largest proved gain; today's where every other type is worse or the same; else more cutting.

    A type that is better in one decisive response and worse in another is never advised: it counts as worse.
    """
    answers = {row.nozzle: _overall([one.answer for one in row.answers]) for row in study.nozzles if row.answers}
    if not answers:
        return Advice(Action.NOTHING)
    better = [nozzle for nozzle, answer in answers.items() if answer == Answer.BETTER]
    to = max(better, key=lambda nozzle: _gain(study, nozzle), default="")
    others = _by_answer({nozzle: answer for nozzle, answer in answers.items() if nozzle != to})
    if to:
        return Advice(Action.CHANGE, to, _shown_better(study, to), others)
    is_open = any(answer == Answer.NOT_SETTLED for answer, _ in others)
    return Advice(Action.CUT_MORE if is_open else Action.KEEP, others=others)


def _overall(answers: list[Answer]) -> Answer:
    """One answer for all decisive responses, the most telling first."""
    order = (Answer.WORSE, Answer.BETTER, Answer.NOT_SETTLED, Answer.SAME)
    return next(answer for answer in order if answer in answers)


def _shown_better(study: Study, nozzle: str) -> tuple[tuple[ResponseResult, Comparison], ...]:
    return tuple(
        (result, c)
        for result in study.results
        if result.primary
        for c in result.comparisons
        if c.nozzle == nozzle and c.answer == Answer.BETTER
    )


def _gain(study: Study, nozzle: str) -> float:
    """Largest gain in worthwhile differences; in spreads of an edge, or as it is, where none is stated."""
    gains = [
        next(abs(size) for size in (c.times_worthwhile, c.times_spread, c.value) if size is not None)
        for _, c in _shown_better(study, nozzle)
    ]
    return max(gains, default=0.0)


def _by_answer(answers: dict[str, Answer]) -> tuple[tuple[Answer, tuple[str, ...]], ...]:
    order = (Answer.BETTER, Answer.SAME, Answer.NOT_SETTLED, Answer.WORSE)
    grouped = ((one, tuple(nozzle for nozzle, answer in answers.items() if answer == one)) for one in order)
    return tuple((one, names) for one, names in grouped if names)
