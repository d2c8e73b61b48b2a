"""Which type the answer of a study speaks for: quality first, then money; as values."""

from __future__ import annotations

from dataclasses import dataclass

from trials.decide.decision_result import Action, Because
from trials.decide.results import Comparison, ResponseResult, Study
from trials.decide.window_choice import choose
from trials.decide.window_result import WindowStudy
from trials.infer.answer import Answer


@dataclass(frozen=True)
class Advice:
    """What to do, and why.

    to: the type to change to; because: the comparisons that show it better, by response, none where it is the same for
    less money; others: the remaining types by their answer, in the order of the trial, none twice.
    """

    action: Action
    to: str = ""
    reason: Because = Because.NONE
    because: tuple[tuple[ResponseResult, Comparison], ...] = ()
    others: tuple[tuple[Answer, tuple[str, ...]], ...] = ()


def advice(study: Study) -> Advice:
    """The type with the largest proved gain; else one that is the same for surely less money; today's where every other
    type is worse or the same; else more cutting.

    A type that is better in one decisive response and worse in another is never advised: it counts as worse.
    """
    answers = {row.nozzle: _overall([one.answer for one in row.answers]) for row in study.nozzles if row.answers}
    if study.window is not None and study.window.asked:
        return _of_window(study, study.window, answers)
    if not answers:
        return Advice(Action.NOTHING)
    better = [nozzle for nozzle, answer in answers.items() if answer == Answer.BETTER]
    to = max(better, key=lambda nozzle: _gain(study, nozzle), default="")
    reason = Because.QUALITY if to else Because.NONE
    if not to:
        to = _same_for_less(study, [nozzle for nozzle, answer in answers.items() if answer == Answer.SAME])
        reason = Because.MONEY if to else Because.NONE
    others = _by_answer({nozzle: answer for nozzle, answer in answers.items() if nozzle != to})
    if to:
        return Advice(Action.CHANGE, to, reason, _shown_better(study, to), others)
    is_open = any(answer == Answer.NOT_SETTLED for answer, _ in others)
    return Advice(Action.CUT_MORE if is_open else Action.KEEP, others=others)


def _of_window(study: Study, window: WindowStudy, answers: dict[str, Answer]) -> Advice:
    """By what the window shows; of types that are shown and the same at their best, the surely cheaper one."""
    found = choose(window, next((row.nozzle for row in study.nozzles if row.today), ""))
    action, to, reason = found.action, found.chosen.nozzle, found.reason
    if action == Action.KEEP:
        shown = {each.nozzle for each in window.types if each.share_bound > 0}
        same = [nozzle for nozzle, answer in answers.items() if answer == Answer.SAME and nozzle in shown]
        cheaper = _same_for_less(study, same)
        action, to, reason = (Action.CHANGE, cheaper, Because.MONEY) if cheaper else (action, "", reason)
    to = to if action == Action.CHANGE else ""
    return Advice(action, to, reason, others=_by_answer({n: answer for n, answer in answers.items() if n != to}))


def _overall(answers: list[Answer]) -> Answer:
    """One answer for all decisive responses: worse in one is worse; the same only where all are the same."""
    order = (Answer.WORSE, Answer.BETTER, Answer.NOT_SETTLED, Answer.SAME)
    return next(answer for answer in order if answer in answers)


def _same_for_less(study: Study, same: list[str]) -> str:
    """The cheapest of the types that are the same for practical purposes, if it is surely cheaper than today's."""
    costs = [study.money.of(nozzle) for nozzle in same] if study.money else []
    sure = [cost for cost in costs if cost is not None and cost.value.high < 0.0]
    return min(sure, key=lambda cost: cost.value.value).nozzle if sure else ""


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
    ladder = study.ladder.comparisons if study.ladder else ()
    sizes = [(c.times_worthwhile, c.times_spread, c.value) for _, c in _shown_better(study, nozzle)]
    sizes += [
        (c.times_worthwhile, c.times_spread, c.value)
        for c in ladder
        if c.nozzle == nozzle and c.answer == Answer.BETTER
    ]
    return max((next(abs(size) for size in each if size is not None) for each in sizes), default=0.0)


def _by_answer(answers: dict[str, Answer]) -> tuple[tuple[Answer, tuple[str, ...]], ...]:
    order = (Answer.BETTER, Answer.SAME, Answer.NOT_SETTLED, Answer.WORSE)
    grouped = ((one, tuple(nozzle for nozzle, answer in answers.items() if answer == one)) for one in order)
    return tuple((one, names) for one, names in grouped if names)
