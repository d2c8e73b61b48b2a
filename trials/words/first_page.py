"""The answer as a manager reads it: what to change to, how sure, what of the others; sizes as fractions in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trials.decide.advice import Advice, advice
from trials.decide.decision import decide
from trials.decide.decision_result import Action, Decision
from trials.infer.answer import Answer
from trials.plan.kinds import PlanKind
from trials.responses import Scale
from trials.words import ladders, window
from trials.words.decision import at_words, confirmed_first, side_effect_words
from trials.words.findings import say
from trials.words.language import text
from trials.words.names import person
from trials.words.numbers import fixed, listed, percent, with_unit
from trials.words.plan_chances import needed_briefly
from trials.words.study import change_words, step_words, symbol, worthwhile_words

if TYPE_CHECKING:
    from trials.decide.chance_result import ChanceResult
    from trials.decide.lives import LivesAnswer
    from trials.decide.results import Comparison, ResponseResult, Study
    from trials.decide.window_result import WindowStudy
    from trials.findings import Finding

_FRACTIONS = (
    (1 / 20, "a twentieth"),
    (1 / 10, "a tenth"),
    (1 / 8, "an eighth"),
    (1 / 6, "a sixth"),
    (1 / 5, "a fifth"),
    (1 / 4, "a quarter"),
    (1 / 3, "a third"),
    (2 / 5, "two fifths"),
    (1 / 2, "half"),
    (3 / 5, "three fifths"),
    (2 / 3, "two thirds"),
    (3 / 4, "three quarters"),
    (4 / 5, "four fifths"),
    (9 / 10, "nine tenths"),
)


@dataclass(frozen=True)
class AnswerBox:
    """Three short lines in words: what to do and at which settings, how sure, the others; the figures behind them."""

    action: Action
    does: str
    what: str
    at: str
    sure: str
    others: str
    figures: str


def about_words(share: float) -> str:
    """A share as the nearest fraction in words: `about a third`; beyond nine tenths in per cent.

    >>> about_words(0.332), about_words(0.46), about_words(0.02)
    ('about a third', 'about half', 'less than a twentieth')
    """
    if share < 1 / 30:
        return text("less than a twentieth")
    if share > 0.95:
        return text("about {share}", share=percent(share))
    nearest = min(_FRACTIONS, key=lambda pair: abs(math.log(pair[0] / share)))
    return text("about {fraction}", fraction=text(nearest[1]))


def floor_words(share: float) -> str:
    """The largest fraction in words that a share is not below; empty below a twentieth.

    >>> floor_words(0.191), floor_words(0.2), floor_words(0.04)
    ('a sixth', 'a fifth', '')
    """
    reached = [words for size, words in _FRACTIONS if size <= share + 1e-12]
    return text(reached[-1]) if reached else ""


def answer_box(study: Study) -> AnswerBox:
    """The answer in three short lines."""
    found, decided = advice(study), decide(study)
    if study.window is not None and study.window.asked:
        return _window_box(study, study.window, decided)
    what, how_sure = {
        Action.CHANGE: _change,
        Action.KEEP: _keep,
        Action.CUT_MORE: _cut_more,
        Action.NOTHING: _nothing,
    }[found.action](study, found)
    sure = [text("Only a hint, from a look that was not declared.")] if study.exploratory else []
    sure += [how_sure]
    sure += [_not_repeated()] if found.because and not all(r.replicated for r, _ in found.because) else []
    sure += [side_effect_words(study, decided)]
    return AnswerBox(
        action=found.action,
        does=does_words(found.action, study.provisional),
        what=what,
        at=at_words(decided),
        sure=" ".join(filter(None, sure)),
        others=_others(study, found, decided),
        figures=_figures(found),
    )


def _window_box(study: Study, found: WindowStudy, decided: Decision) -> AnswerBox:
    """The answer of a trial that asks for a window: the type to run, its best setting, whether that was confirmed."""
    run = next((each for each in found.types if each.nozzle == decided.nozzle), found.widest)
    if decided.action == Action.CUT_MORE:
        what = text("no setting is shown yet; {nozzle} stays until then", nozzle=_today(study))
        at, sure, but = "", window.nearest_words(found.widest, found), found.widest.nozzle
    else:
        what, at, sure, but = (
            person(run.nozzle),
            window.place_of_best(run, found),
            window.sure_words(run, found),
            run.nozzle,
        )
        at = confirmed_first(at) if decided.unconfirmed and decided.action == Action.KEEP else at
    own = [finding for finding in study.confirmed if finding.about.nozzle == but]
    return AnswerBox(
        action=decided.action,
        does=does_words(decided.action, study.provisional, decided.unconfirmed),
        what=what,
        at=at,
        sure=" ".join(filter(None, [sure, *map(say, own), side_effect_words(study, decided)])),
        others=window.other_types(but, found),
        figures="" if decided.action == Action.CUT_MORE else window.figures_words(run, found),
    )


def does_words(action: Action, provisional: bool = False, unconfirmed: bool = False) -> str:
    """The name of the first line of the answer; provisional: what it would be, if an open reading changed nothing.

    unconfirmed: the setting is first confirmed by coupons.
    """
    if unconfirmed and action == Action.CHANGE:
        return text("Would confirm, then change to") if provisional else text("Confirm, then change to")
    if provisional and action != Action.NOTHING:
        return {
            Action.CHANGE: text("Would change to"),
            Action.KEEP: text("Would keep"),
            Action.CUT_MORE: text("Would cut more"),
        }[action]
    return {
        Action.CHANGE: text("Change to"),
        Action.KEEP: text("Keep"),
        Action.CUT_MORE: text("Cut more"),
        Action.NOTHING: text("No answer"),
    }[action]


def decision_lines(study: Study) -> list[str]:
    """What can be ticked: change, keep, cut more, each with its type."""
    found, today = advice(study), _today(study)
    to = person(found.to) if found.to else text("another type:")
    unconfirmed = bool(found.to) and decide(study).unconfirmed
    change = (
        text("confirm, then change to {nozzle}", nozzle=to) if unconfirmed else text("change to {nozzle}", nozzle=to)
    )
    return [change, text("keep {nozzle}", nozzle=today), text("cut more before deciding")]


def _today(study: Study) -> str:
    return next((person(row.nozzle) for row in study.nozzles if row.today), "")


def _change(study: Study, found: Advice) -> tuple[str, str]:
    same = text("The edge is the same for practical purposes, for less money.")
    sure = " ".join([*(f"{_gain(result, c)}." for result, c in found.because), *_faster(study, found.to)]) or same
    return person(found.to), sure


def _faster(study: Study, nozzle: str) -> list[str]:
    """How much faster a type cuts clean, where the trial asked that."""
    if study.ladder is None:
        return []
    shown = [c for c in study.ladder.comparisons if c.nozzle == nozzle and c.answer == Answer.BETTER]
    return [ladders.faster_sentence(c, study.ladder) for c in shown]


def _keep(study: Study, found: Advice) -> tuple[str, str]:
    size = next((worthwhile_words(r) for r in study.results if r.primary and r.worthwhile is not None), "")
    if [answer for answer, _ in found.others] == [Answer.WORSE]:
        sure = text("Every other type is proved worse.")
    elif size:
        sure = text("No other type is better by the {size} that would be worth a change.", size=size)
    else:
        sure = text("No other type is better.")
    return _today(study), sure


def _cut_more(study: Study, found: Advice) -> tuple[str, str]:
    nothing = all(answer == Answer.NOT_SETTLED for answer, _ in found.others)
    what = text("nothing is settled yet; {nozzle} stays until then", nozzle=_today(study))
    if not nothing:
        what = text("no type is proved better; {nozzle} stays until then", nozzle=_today(study))
    return what, _needed(study)


def _nothing(study: Study, found: Advice) -> tuple[str, str]:
    if len(study.nozzles) < 2:
        why = text("One nozzle type was cut, so there is nothing to compare.")
    else:
        why = text("The decisive response has no readings that can be compared.")
    return text("nothing was compared"), why


def _needed(study: Study) -> str:
    """How many nozzles of each type would settle it, where that is known."""
    if study.more is not None:
        return text("Where nothing is proved, the difference may still go either way.")
    steps = [step.finding for step in study.next_steps if step.finding.kind == PlanKind.NEEDED]
    needed = [n for n in map(_most_specimens, steps) if n is not None]
    if not needed:
        return text("Where nothing is proved, the difference may still go either way.")
    now = steps[0].facts.get("specimens")
    return text(
        "Where nothing is proved, the difference may still go either way; {n} nozzles of each type instead of {now} "
        "would most likely settle it.",
        n=max(needed),
        now=now,
    )


def _most_specimens(finding: Finding) -> int | None:
    known = [finding.facts.get(name) for name in ("specimens_at_worthwhile", "specimens_at_zero")]
    counts = [n for n in known if isinstance(n, int)]
    return max(counts) if len(counts) == len(known) else None


def _not_repeated() -> str:
    return text("It is about these nozzles only: no further nozzle of the types was tried.")


def _figures(found: Advice) -> str:
    """`Rz5 33 % lower, interval 19 to 45 %`, for each response that shows the type better."""
    said = [f"{symbol(r)} {change_words(c, r.unit)}" for r, c in found.because]
    return "; ".join(said)


def _gain(result: ResponseResult, c: Comparison) -> str:
    """`the edge gets about a third smoother, surely more than a sixth`."""
    if c.kind == "share":
        return _more_coupons(c)
    size, bound = _sizes(result, c)
    if not bound:
        return text("{what} gets {size} {adjective}; by how much for sure is open", **_named(result, c), size=size)
    return text("{what} gets {size} {adjective}, surely more than {bound}", **_named(result, c), size=size, bound=bound)


def _more_coupons(c: Comparison) -> str:
    """`About 23 of 100 coupons more reach the required dross grade, surely more than 5`."""
    size, bound = {"n": fixed(100.0 * c.value, 0)}, math.floor(100.0 * c.low + 1e-9)
    if bound < 1:
        return text(
            "About {n} of 100 coupons more reach the required dross grade; by how much for sure is open", **size
        )
    return text(
        "About {n} of 100 coupons more reach the required dross grade, surely more than {bound}", bound=bound, **size
    )


def _sizes(result: ResponseResult, c: Comparison) -> tuple[str, str]:
    """The change and the least of it in words; the least is empty where it is next to nothing or not known."""
    near = min((c.low, c.high), key=lambda end: abs(end - (1.0 if c.kind == "ratio" else 0.0)))
    if c.kind == "ratio":
        return about_words(abs(c.value - 1.0)), "" if math.isnan(near) else floor_words(abs(near - 1.0))
    bound = "" if math.isnan(near) or near == 0 else with_unit(_rounded_down(abs(near)), result.unit, 1)
    return text("about {size}", size=with_unit(abs(c.value), result.unit, 2)), bound


def _rounded_down(size: float) -> float:
    """The first digit of a size, the rest cut off, so that no more is promised than is proved."""
    step = 10.0 ** math.floor(math.log10(size))
    return math.floor(size / step + 1e-9) * step


def _named(result: ResponseResult, c: Comparison) -> dict[str, str]:
    """What gets better, and the word for it."""
    lower = c.value < (1.0 if c.kind == "ratio" else 0.0)
    if result.response == "roughness" and lower:
        return {"what": text("The edge"), "adjective": text("smoother")}
    if result.response == "squareness" and lower and result.scale == Scale.LOG:
        return {"what": text("The edge"), "adjective": text("squarer")}
    name = symbol(result) if result.symbol != result.label else person(symbol(result))
    return {"what": name, "adjective": text("lower") if lower else text("higher")}


def _others(study: Study, found: Advice, decided: Decision) -> str:
    """The other types by their answer, each said once: those that are no better on any count apart from the rest."""
    if found.action == Action.NOTHING:
        return text("None was compared.")
    said = []
    for answer, names in found.others:
        for dominated in (False, True):
            own = [person(name) for name in names if (name in decided.dominated) == dominated]
            said += [_of_others(study, answer, own, person(decided.nozzle) if dominated else "")] if own else []
    return " ".join(said) or text("No other type was in the trial.")


def _of_others(study: Study, answer: Answer, names: Sequence[str], beaten_by: str) -> str:
    """Types with one answer; beaten_by: the type that none of them beats on any count."""
    known = {"names": listed(names)}
    if answer == Answer.NOT_SETTLED:
        said = text("{names}: no proof either way, which is not the same as equal", **known)
    elif answer == Answer.SAME:
        said = text("{names}: the same as {today} for practical purposes", **known, today=_today(study))
    elif answer == Answer.BETTER:
        said = text("{names}: also better than {today}", **known, today=_today(study))
    else:
        said = text("{names}: worse than {today}", **known, today=_today(study))
    if not beaten_by:
        return text("{said}.", said=said)
    if beaten_by == _today(study):
        return text("{said}, and better on no count.", said=said)
    return text("{said}; no better than {nozzle} on any count.", said=said, nozzle=beaten_by)


def trial_size(study: Study) -> str:
    """How many nozzles of each type were tried, in a ladder how many mounts; empty where that is not known."""
    ladder = study.ladder is not None and bool(study.ladder.types)
    known = {each.nozzle: each.n_mounts for each in study.ladder.types} if study.ladder else {}
    counts = {row.nozzle: known.get(row.nozzle, 0) if ladder else row.n_specimens for row in study.nozzles}
    if not all(counts.values()):
        return ""
    numbers = _counted(study, counts)
    return (
        text("Mounts tried: {numbers}", numbers=numbers)
        if ladder
        else text("Nozzles tried: {numbers}", numbers=numbers)
    )


def _counted(study: Study, counts: Mapping[str, int]) -> str:
    today = [row.nozzle for row in study.nozzles if row.today]
    others = {n for name, n in counts.items() if name not in today}
    if len(set(counts.values())) == 1:
        return text("{n} of each type", n=next(iter(counts.values())))
    if len(today) == 1 and len(others) == 1:
        numbers = {"n": counts[today[0]], "each": others.pop()}
        if len(counts) == 2:
            return text("{n} of today's, {each} of the other type", **numbers)
        return text("{n} of today's, {each} of each other type", **numbers)
    return ", ".join(f"{person(name)} {n}" for name, n in counts.items())


def first_steps(study: Study) -> list[str]:
    """What to do next, as the first page says it: of what would settle it no more than the nozzles that it takes."""
    return [
        needed_briefly(step.finding) if step.finding.kind == PlanKind.NEEDED else step_words(step)
        for step in study.next_steps
    ]


def provisional_words(found: Study | LivesAnswer) -> str:
    """That a reading is open; empty where none is."""
    return text("Provisional: a reading is still open.") if found.provisional else ""


def not_to_sign(doubted: Sequence[str]) -> str:
    """Why there is nothing to sign yet; doubted: coupons of which a reading is open, where they are known."""
    which = text(" of coupon {coupons}", coupons=listed(doubted)) if doubted else ""
    return text(
        "Not to be signed yet: a reading{which} is open and could change the answer. Settle it as the next step "
        "says, then make the verdict again.",
        which=which,
    )


def answered_by(study: Study) -> list[str]:
    """Symbols of the measured responses by which the types are compared; none where a ladder answers too."""
    words = {one.response for row in study.nozzles for one in row.answers}
    known = {result.response: symbol(result) for result in study.results}
    return [known[name] for name in known if name in words] if words <= known.keys() else []


def answer_head(study: Study) -> str:
    """Head of the column of answers, with what they go by."""
    symbols = answered_by(study)
    return text("Answer, by {symbols}", symbols=listed(symbols)) if symbols else text("Answer")


def fails_of_hundred(chance: ChanceResult | None) -> tuple[int, int] | None:
    """Of 100 next edges: how many are likely to fail, and how many at most with 95 % confidence."""
    if chance is None or math.isnan(chance.estimate):
        return None
    low = 0.0 if math.isnan(chance.low) else chance.low
    return round(100 * (1 - chance.estimate)), math.ceil(100 * (1 - low) - 1e-9)


def fails_words(chance: ChanceResult | None) -> str:
    """`about 4, at most 46`; where the bound shows nothing, that it is not known."""
    found = fails_of_hundred(chance)
    if found is None:
        return "–"
    about, most = found
    size = text("about {n}", n=about) if about else text("hardly any")
    if most >= 100:
        return text("{size}, perhaps all", size=size)
    if most == 0:
        return size
    return text("{size}, at most {most}", size=size, most=most)
