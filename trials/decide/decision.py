"""The decision of a trial: what to do, for what, at which settings, what it gains and costs, what else is worse."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from trials.decide.advice import Advice, advice
from trials.decide.decision_result import Action, Because, Decision, FewerFail, Gain, Question, SideEffect
from trials.decide.kinds import StudyKind
from trials.decide.ladder import LadderComparison
from trials.decide.results import Comparison, NozzleRow, ResponseResult, Study
from trials.decide.window_choice import best_place
from trials.decide.window_result import BestComparison, WindowStudy
from trials.findings import Amount, Place
from trials.infer.answer import Answer
from trials.trial import CLEAN_SPEED

if TYPE_CHECKING:
    from trials.decide.lives import LifeComparison, LivesAnswer

LIFE = "life"


def decide(study: Study) -> Decision:
    """The decision that a study speaks for."""
    found = advice(study)
    rows = {row.nozzle: row for row in study.nozzles}
    today = next((row for row in study.nozzles if row.today), None)
    kept = "" if today is None else today.nozzle
    chosen, against = (found.to, kept) if found.action == Action.CHANGE else (kept, "")
    still_open = any(answer == Answer.NOT_SETTLED for answer, _ in found.others)
    return Decision(
        question=study.asks,
        action=found.action,
        nozzle=chosen,
        against=against,
        because=found.reason,
        place=_place(study, found, chosen),
        safe_speed=_safe_speed(study, chosen),
        others=found.others,
        gains=_gains(study, found),
        fewer_fail=_fewer(study, found.to),
        price=rows[chosen].price if chosen in rows else None,
        price_against=rows[against].price if against in rows else None,
        currency=study.currency,
        money=study.money.of(found.to) if study.money and found.to else None,
        worse=_worse(study, found.to) if found.to else (),
        dominated=_dominated(study, chosen) if found.action in (Action.CHANGE, Action.KEEP) else (),
        more=study.more if still_open and _window(study) is None else None,
        unconfirmed=_unconfirmed(study, chosen),
    )


def decide_lives(found: LivesAnswer) -> Decision:
    """The decision of a life trial: the type that is shown to last longest."""
    prices, currency = found.prices, found.currency
    words = {c.nozzle: c for c in found.comparisons if c.answer is not None}
    today = found.study.today
    better = [c for c in words.values() if c.answer == Answer.BETTER]
    best = max(better, key=lambda c: c.value, default=None)
    others = _by_word({name: c.answer for name, c in words.items() if c.answer and c is not best})
    if not words:
        return Decision(Question.LIFE, Action.NOTHING, today, currency=currency)
    chosen = today if best is None else best.nozzle
    is_open = any(answer == Answer.NOT_SETTLED for answer, _ in others)
    return Decision(
        question=Question.LIFE,
        action=Action.CHANGE if best else Action.CUT_MORE if is_open else Action.KEEP,
        nozzle=chosen,
        against="" if best is None else today,
        because=Because.NONE if best is None else Because.QUALITY,
        others=others,
        gains=() if best is None else (_gain(LIFE, best),),
        price=prices.get(chosen),
        price_against=None if best is None else prices.get(today),
        currency=currency,
    )


def _by_word(answers: Mapping[str, Answer]) -> tuple[tuple[Answer, tuple[str, ...]], ...]:
    order = (Answer.BETTER, Answer.SAME, Answer.NOT_SETTLED, Answer.WORSE)
    grouped = ((one, tuple(name for name, answer in answers.items() if answer == one)) for one in order)
    return tuple((one, names) for one, names in grouped if names)


def _window(study: Study) -> WindowStudy | None:
    """The window, where it is what a trial asks."""
    return study.window if study.window is not None and study.window.asked else None


def _unconfirmed(study: Study, chosen: str) -> bool:
    """Whether coupons are to confirm the best of a type first, or did not confirm it."""
    waits = (StudyKind.CONFIRM_BEST, StudyKind.CHANGE_OVER, StudyKind.BEST_NOT_CONFIRMED)
    return any(step.finding.kind in waits and step.finding.about.nozzle == chosen for step in study.next_steps)


def _place(study: Study, found: Advice, chosen: str) -> Place | None:
    """Where types were compared: by the response that decides, else by any that compares them; of a window the best
    of the type to run."""
    window = _window(study)
    if window is not None and any(each.nozzle == chosen for each in window.types):
        return best_place(window, chosen)
    if study.ladder is not None:
        return study.ladder.place
    compared = [r.comparisons[0].settings for r in sorted(study.results, key=lambda r: not r.primary) if r.comparisons]
    return found.because[0][1].settings if found.because else next(iter(compared), None)


def _fewer(study: Study, nozzle: str) -> FewerFail | None:
    """Edges that fail with a type against today's at one setting: nothing that a ladder or a window asks."""
    if study.asks == Question.LADDER or _window(study) is not None:
        return None
    return next((each for each in study.fewer if each.nozzle == nozzle), None)


def _safe_speed(study: Study, nozzle: str) -> Amount | None:
    """The speed that 95 % of the mounts of a type keep clean at least, where the trial is a ladder."""
    if study.ladder is None:
        return None
    known = (each.clean_95_low for each in study.ladder.types if each.nozzle == nozzle)
    speed = next(known, math.nan)
    return Amount(speed, study.ladder.unit) if math.isfinite(speed) else None


def _gains(study: Study, found: Advice) -> tuple[Gain, ...]:
    window = _window(study)
    if window is not None:
        return _gains_at_best(window, found.to or next((row.nozzle for row in study.nozzles if row.today), ""), found)
    ladder = study.ladder.comparisons if study.ladder else ()
    faster = [_gain(CLEAN_SPEED, c) for c in ladder if c.nozzle == found.to and c.answer == Answer.BETTER]
    return (*faster, *(_gain(result.response, c) for result, c in found.because))


def _gains_at_best(window: WindowStudy, nozzle: str, found: Advice) -> tuple[Gain, ...]:
    """A type against today's, both at their best; where today's stays, its best against today's setting."""
    if found.action == Action.CHANGE:
        return tuple(
            _gain(window.response, c) for c in window.comparisons if c.nozzle == nozzle and c.answer == Answer.BETTER
        )
    own = next((each.best.gain for each in window.types if each.nozzle == nozzle), None)
    if own is None or found.action != Action.KEEP:
        return ()
    return (Gain(window.response, own.kind, own.value, own.low, own.high, AT_ONE_PLACE),)


AT_ONE_PLACE = 0.95
"""Confidence of the gain of a picked best over today's setting, for all settings together."""


def _gain(response: str, c: Comparison | LadderComparison | LifeComparison | BestComparison) -> Gain:
    return Gain(response, str(c.kind), c.value, c.low, c.high, c.confidence)


def _worse(study: Study, nozzle: str) -> tuple[SideEffect, ...]:
    """Secondary responses in which a type is worse than today's by the worthwhile difference or more."""
    pairs = [(r, c) for r in study.results if not r.primary for c in r.comparisons if c.nozzle == nozzle]
    return tuple(
        SideEffect(r.response, r.symbol, r.higher_is_better is False, _proved(r, c))
        for r, c in pairs
        if _rise(r, c) > 0 and c.times_worthwhile is not None and c.times_worthwhile >= 1.0
    )


def _rise(result: ResponseResult, c: Comparison, end: float | None = None) -> float:
    """How much worse a comparison is, above zero if it is; end: one of its limits in place of its value."""
    value = (c.value if end is None else end) - (1.0 if c.kind == "ratio" else 0.0)
    return -value if result.higher_is_better or c.kind == "share" else value


def _proved(result: ResponseResult, c: Comparison) -> bool:
    """Whether both limits of a comparison lie on the worse side."""
    return _rise(result, c, c.low) > 0 and _rise(result, c, c.high) > 0


def _dominated(study: Study, chosen: str) -> tuple[str, ...]:
    """Types, but for today's, that are no better than the chosen one on any count, and surely worse on one."""
    rows = {row.nozzle: row for row in study.nozzles}
    if chosen not in rows:
        return ()
    return tuple(
        name
        for name, row in rows.items()
        if name != chosen
        and not row.today
        and not _better_anywhere(study, name, chosen)
        and _surely_worse(study, rows, name, chosen)
    )


def _better_anywhere(study: Study, name: str, chosen: str) -> bool:
    """Whether a type could be better than another on some count: by its estimate, or because too little is known."""
    ours, theirs = _counts(study, name), _counts(study, chosen)
    if len(theirs) < FEWEST_COUNTS or not theirs.keys() <= ours.keys():
        return True
    return any(ours[count] < theirs[count] for count in theirs)


FEWEST_COUNTS = 2
"""One count is the answer itself, and says nothing of a trade."""


def _counts(study: Study, name: str) -> dict[str, float]:
    """Everything that speaks for or against a type, lower being better."""
    means = [(r, m.mean) for r in study.results for m in r.means if m.nozzle == name]
    found = [(r.response, -mean if r.higher_is_better else mean) for r, mean in means]
    ladder = study.ladder.types if study.ladder else ()
    costs = study.money.types if study.money else ()
    row = next(row for row in study.nozzles if row.nozzle == name)
    found += [(CLEAN_SPEED, -each.typical) for each in ladder if each.nozzle == name]
    found += [("fails", each.with_it) for each in study.fewer if each.nozzle == name]
    found += [("fails", each.today) for each in study.fewer[:1] if row.today]
    found += [("price", row.price)] if row.price is not None else []
    found += [("cost", each.cost.value) for each in costs if each.nozzle == name]
    return dict(found)


def _surely_worse(study: Study, rows: Mapping[str, NozzleRow], name: str, chosen: str) -> bool:
    """Whether a type is shown to be worse in a measured response, or has the higher price."""
    own, theirs = rows[name].price, rows[chosen].price
    if own is not None and theirs is not None and own > theirs:
        return True
    return any(_pair_shows(result, name, chosen) for result in study.results)


def _pair_shows(result: ResponseResult, worse: str, better: str) -> bool:
    for c in (*result.comparisons, *result.pairs):
        if (c.nozzle, c.against) == (worse, better) and _proved(result, c):
            return True
        if (c.nozzle, c.against) == (better, worse) and _rise(result, c, c.low) < 0 and _rise(result, c, c.high) < 0:
            return True
    return False
