"""Which type a window speaks for, at which settings: the requirement first, then the edge of each at its best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trials.decide.decision_result import Action, Because
from trials.decide.window_result import BestComparison, TypeWindow, WindowStudy
from trials.findings import Place, PlaceKind
from trials.infer.answer import Answer
from trials.trial import Method, Trial


@dataclass(frozen=True)
class WindowChoice:
    """What to do with the types of a window.

    chosen: the type to run, each at its own best; of more cutting, the one that comes nearest; reason: what a change
    rests on; against: its comparison with today's type, both at their bests, where a change rests on it.
    """

    action: Action
    chosen: TypeWindow
    reason: Because = Because.NONE
    against: BestComparison | None = None


def asks_window(trial: Trial) -> bool:
    """Whether the window is what a trial asks: a plan for prediction over two factors or more."""
    numeric = [name for name, factor in trial.factors.items() if len(factor.numbers) > 1]
    return len(numeric) > 1 and (trial.plan.method is Method.SURFACE or trial.plan.aim == "prediction")


def choose(window: WindowStudy, today: str) -> WindowChoice:
    """A type that is shown to meet the requirement where today's is not; else the one that is better at its best, if
    it is shown too; else today's where it is shown; without any that is shown, one that is better, else more cutting.

    A type whose edge is worse at its best than today's at its own is never chosen.
    """
    words = {c.nozzle: c for c in window.comparisons}
    own = next((each for each in window.types if each.nozzle == today), None)
    others = [each for each in window.types if each.nozzle != today and not _is(words, each, Answer.WORSE)]
    shown = [each for each in others if each.share_bound > 0]
    if shown and (own is None or own.share_bound == 0):
        return WindowChoice(Action.CHANGE, _widest(shown), Because.REQUIREMENT)
    better = [each for each in (shown if window.shown else others) if _is(words, each, Answer.BETTER)]
    if better:
        to = max(better, key=lambda each: _size(words[each.nozzle]))
        return WindowChoice(Action.CHANGE, to, Because.QUALITY, words[to.nozzle])
    if own is not None and (own.share_bound > 0 or not window.likely):
        return WindowChoice(Action.KEEP, own)
    return WindowChoice(Action.CUT_MORE, window.widest)


def best_place(window: WindowStudy, nozzle: str) -> Place:
    """The best settings of a type: the factors of the map and those over which it was sought."""
    best = next(each.best for each in window.types if each.nozzle == nozzle)
    named = {name: level for name, level in best.settings.items() if name in (*window.across, *window.searched)}
    return Place(PlaceKind.STATED, (named,), window.units)


def _is(words: dict[str, BestComparison], each: TypeWindow, answer: Answer) -> bool:
    return each.nozzle in words and words[each.nozzle].answer == answer


def _widest(types: Sequence[TypeWindow]) -> TypeWindow:
    return max(types, key=lambda each: (each.share_bound, each.share_estimate, each.best.chance))


def _size(c: BestComparison) -> float:
    """How far apart two bests are, a ratio counted alike in both directions."""
    return max(c.value, 1.0 / c.value) if c.kind == "ratio" else abs(c.value)
