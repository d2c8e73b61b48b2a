"""What follows from lives for whoever decides: money of a life, what is not known, what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.decision import decide_lives
from trials.decide.decision_result import Action, Decision, Span
from trials.decide.kinds import StudyKind
from trials.decide.lives import LifeComparison, LivesAnswer, LivesKind
from trials.decide.results import NextStep
from trials.endings import Ended
from trials.findings import About, Amount, Fact, Finding, Weight, each_once
from trials.infer.answer import Answer, Levels
from trials.infer.life import LifeKind
from trials.infer.life.regression import CHARACTERISTIC
from trials.next_command import Blank, Command
from trials.worthwhile import Margins

if TYPE_CHECKING:
    from trials.infer.life import LifeRatio, TypeLife
    from trials.plan.power import Needed
    from trials.trial import Trial

EARLY = 0.25
"""Up to this share failed a failure is called early."""


class LifeTold(StrEnum):
    """What the first page of a paper on lives says is not known, or is to be done."""

    EARLY_OPEN = "life_early_open"
    FAILED_FIRST = "life_failed_first"
    AGES_DIFFER = "life_ages_differ"
    NONE_RAN_LONGER = "life_none_ran_longer"
    LEAST_ASSUMED = "life_least_assumed"
    LIVES_ALONE = "life_lives_alone"
    JOB_NOT_SAID = "life_job_not_said"
    WEIGH_PRICE = "life_weigh_price"
    CHANGE_OVER = "life_change_over"
    WATCH_FIRST = "life_watch_first"
    KEEP_ON = "life_keep_on"
    MORE_PIECES = "life_more_pieces"
    NO_NUMBER = "life_no_number"
    RUN_LONGER = "life_run_longer"
    RUN_ANOTHER = "life_run_another"
    NOT_BY_WEAR = "life_not_by_wear"


@dataclass(frozen=True)
class LifeCost:
    """Money of one type against today's, by the price of its pieces alone.

    breaks_even: ratio of lives from which on it is no dearer; share: of today's money for the same work, infinite
    limits where nothing bounds it, None where no ratio is known; work: an amount of it, in the unit of lives, with the
    money of both types for it, None where a mean life is not known; proved: whether it is no dearer, None where that is
    open.
    """

    nozzle: str
    against: str
    price: float
    price_against: float
    breaks_even: float
    share: Span | None
    work: float | None
    money: tuple[float, float] | None
    proved: bool | None


def life_cost(found: LivesAnswer, nozzle: str) -> LifeCost | None:
    """What a type costs against today's; None where a price is not stated or the pieces are none of the nozzle."""
    today = found.study.today
    price, against = found.prices.get(nozzle), found.prices.get(today)
    compared = _comparison(found, nozzle)
    if price is None or not against or compared is None:
        return None
    dearer = price / against
    work, money = _work(found, nozzle, price, against)
    return LifeCost(
        nozzle=nozzle,
        against=today,
        price=price,
        price_against=against,
        breaks_even=dearer,
        share=_share(dearer, compared),
        work=work,
        money=money,
        proved=True if compared.low >= dearer else False if compared.high < dearer else None,
    )


def _share(dearer: float, c: LifeComparison) -> Span | None:
    if not math.isfinite(c.value) or c.value <= 0:
        return None
    return Span(dearer / c.value, dearer / c.high, dearer / c.low if c.low > 0 else math.inf)


def _work(
    found: LivesAnswer, nozzle: str, price: float, against: float
) -> tuple[float | None, tuple[float, float] | None]:
    """A round amount of work that outlasts a piece of each type, and the money of pieces for it.

    In the long run a piece is bought once per mean life (renewal reward); mean of a Weibull life.
    """
    own, todays = (_mean(found, name) for name in (nozzle, found.study.today))
    if not (math.isfinite(own) and math.isfinite(todays)):
        return None, None
    work = 10.0 ** math.ceil(math.log10(max(own, todays)))
    return work, (price * work / own, against * work / todays)


def _mean(found: LivesAnswer, nozzle: str) -> float:
    """Mean life of a type."""
    whole = next(at for at in _type(found, nozzle).at if math.isclose(at.quantile, CHARACTERISTIC, abs_tol=1e-9))
    return math.gamma(1.0 + 1.0 / found.study.shape) * whole.life


def _type(found: LivesAnswer, nozzle: str) -> TypeLife:
    return next(each for each in found.study.types if each.nozzle == nozzle)


def _comparison(found: LivesAnswer, nozzle: str) -> LifeComparison | None:
    return next((c for c in found.comparisons if c.nozzle == nozzle), None)


def more_pieces(found: LivesAnswer) -> Needed | None:
    """Pieces of each type that would most likely settle every answer, if all are run until they fail.

    From the spread of these lives and the worthwhile difference, never from the difference seen, as a life trial is
    planned (`trials.plan.assess`). None where nothing is open, no difference was declared or no spread is known.
    """
    if found.worthwhile is None or found.study.shape_assumed:
        return None
    if not any(c.answer == Answer.NOT_SETTLED for c in found.comparisons):
        return None
    from trials.plan.power import Counts, specimens_needed

    pieces = {each.nozzle: each.n for each in found.study.types}
    today = pieces.pop(found.study.today)
    fewest = min(pieces.values())
    if min(today, fewest) < 2:
        return None
    sides = Margins.of_share(found.worthwhile, higher_is_better=True)
    return specimens_needed(
        {"specimen": found.study.shape**-2.0},
        sides.smaller,
        Counts(len(pieces) + 1, fewest, today=today / fewest),
        _together(found),
        wider=max(sides.better, sides.worse),
    )


def _together(found: LivesAnswer) -> Levels:
    """The confidence of all comparisons together, of which each has its part."""
    parts = len(found.study.types) - 1
    return Levels(1.0 - parts * (1.0 - found.study.confidence), 1.0 - parts * (1.0 - found.study.sameness))


def told_by_trial(trial: Trial, specimens: Sequence[str]) -> tuple[Finding, ...]:
    """What a life trial cannot say beside its lives: of another lot, another job; specimens: those studied."""
    from trials.decide.study import one_lot, other_jobs

    return (*one_lot(trial, specimens), other_jobs(trial))


def unknown_of_lives(found: LivesAnswer, own: Sequence[Finding] | None = None) -> tuple[Finding, ...]:
    """What these lives do not tell, what could change the decision first.

    own: what a trial cannot say beside its lives (another job, another lot), None for a bare table.
    """
    decided = decide_lives(found)
    about_job = [Finding(LifeTold.JOB_NOT_SAID)] if own is None else list(own)
    open_yet = [*_early(found, decided), *_ages(found), *_seen(found)]
    not_told = [Finding(LifeTold.LIVES_ALONE), *about_job]
    return each_once([*open_yet, *_as_found(found), *not_told])


def _early(found: LivesAnswer, decided: Decision) -> list[Finding]:
    """What is open of the first failures of the type to change to."""
    if decided.action != Action.CHANGE:
        return []
    about = About(nozzle=decided.nozzle, against=decided.against)
    told = [_early_open(ratio, about) for ratio in found.study.own_shapes if _is_open_early(ratio, decided.nozzle)]
    own, todays = (first_failure(_type(found, name)) for name in (decided.nozzle, decided.against))
    if own is not None and todays is not None and own < todays:
        facts: dict[str, Fact] = {"life": Amount(own, found.unit), "todays": Amount(todays, found.unit)}
        told.append(Finding(LifeTold.FAILED_FIRST, about, facts, Weight.LOOK_AT))
    return told


def _is_open_early(ratio: LifeRatio, nozzle: str) -> bool:
    return ratio.of == nozzle and ratio.quantile <= EARLY and ratio.low <= 1.0 <= ratio.high


def _early_open(ratio: LifeRatio, about: About) -> Finding:
    facts: dict[str, Fact] = {"quantile": ratio.quantile, "low": ratio.low, "high": ratio.high}
    return Finding(LifeTold.EARLY_OPEN, about, facts, Weight.COULD_CHANGE)


def first_failure(each: TypeLife) -> float | None:
    """The life of the piece that failed first; None where none failed."""
    return float(each.survival.time[0]) if each.failures else None


def _ages(found: LivesAnswer) -> list[Finding]:
    differ = any(finding.kind == LifeKind.SHAPES_DIFFER for finding in found.study.cautions)
    return [Finding(LifeTold.AGES_DIFFER, weight=Weight.COULD_CHANGE)] if differ else []


def _seen(found: LivesAnswer) -> list[Finding]:
    """Types of which half outlast the longest life seen, and bounds that rest on an assumption."""
    if found.study.shape_assumed:
        return [Finding(LifeTold.LEAST_ASSUMED, weight=Weight.COULD_CHANGE)]
    far = tuple(each for each in found.study.types if _half_outlasts(each))
    rows: tuple[Fact, ...] = tuple((each.nozzle, Amount(each.longest, found.unit)) for each in far)
    return [Finding(LifeTold.NONE_RAN_LONGER, facts={"types": rows}, weight=Weight.LOOK_AT)] if far else []


def _half_outlasts(each: TypeLife) -> bool:
    half = next((at for at in each.at if math.isclose(at.quantile, 0.5, abs_tol=1e-9)), None)
    return half is not None and math.isfinite(half.life) and half.life > each.longest


def _as_found(found: LivesAnswer) -> list[Finding]:
    """What the study itself says that a manager can use; its statistics stand on the pages after."""
    taken_off = any(each.counts.get(Ended.TAKEN_OFF_GOOD) for each in found.ends)
    kinds = {LifeKind.NEITHER_FAILED, LifeKind.FEW_FAILURES}
    kinds |= {LifeKind.TAKEN_OFF_LIKE_OTHERS} if taken_off else set()
    study = found.study
    return [finding for finding in (*study.said, *study.cautions, *found.said) if finding.kind in kinds]


def next_for_lives(found: LivesAnswer) -> tuple[NextStep, ...]:
    """What to do next, most urgent first."""
    decided = decide_lives(found)
    settle = Finding(StudyKind.SETTLE_READING, weight=Weight.COULD_CHANGE)
    steps = [
        NextStep(settle, slip, Command("correct", (Blank.FOLDER, *slip.about.coupons))) for slip in found.open_readings
    ]
    steps += [NextStep(finding) for finding in _after(found, decided)]
    if any(finding.kind == LifeKind.EARLY_FAILURES for finding in found.study.cautions):
        steps.append(NextStep(Finding(LifeTold.NOT_BY_WEAR, facts={"part": found.part.value}, weight=Weight.LOOK_AT)))
    return tuple(steps)


def _after(found: LivesAnswer, decided: Decision) -> list[Finding]:
    """What the decision asks to be done."""
    about = About(nozzle=decided.nozzle)
    part: dict[str, Fact] = {"part": found.part.value}
    if decided.action == Action.CHANGE:
        first = first_failure(_type(found, decided.nozzle))
        watch = [] if first is None else [Finding(LifeTold.WATCH_FIRST, about, {"life": Amount(first, found.unit)})]
        return [*_price(found, decided), Finding(LifeTold.CHANGE_OVER, about, part), *watch]
    if decided.action == Action.KEEP:
        return [Finding(LifeTold.KEEP_ON, about)]
    if not found.comparisons:
        return [Finding(LifeTold.RUN_ANOTHER, about)]
    return [*(finding for finding in found.said if finding.kind == LivesKind.NO_WORTHWHILE), *_more(found, part)]


def _price(found: LivesAnswer, decided: Decision) -> list[Finding]:
    """That the price is to be weighed, where a longer life is not proved to pay for it."""
    cost = life_cost(found, decided.nozzle)
    if cost is None or cost.proved:
        return []
    facts: dict[str, Fact] = {"dearer": cost.proved is False}
    return [Finding(LifeTold.WEIGH_PRICE, About(nozzle=decided.nozzle), facts, Weight.LOOK_AT)]


def _more(found: LivesAnswer, part: dict[str, Fact]) -> list[Finding]:
    """How many pieces to run, or that those still good are to be run on."""
    if found.study.not_compared:
        return [Finding(LifeTold.RUN_LONGER, About(nozzles=found.study.not_compared), part)]
    needed = more_pieces(found)
    if needed is None:
        return []
    from trials.plan.power.settle import MOST

    wanted = settling_number(needed)
    facts: dict[str, Fact] = {**part, "n": wanted, "now": needed.counts.specimens, "chance": needed.chance}
    facts |= {"most": MOST, "worthwhile": found.worthwhile}
    return [Finding(LifeTold.NO_NUMBER if wanted is None else LifeTold.MORE_PIECES, facts=facts)]


def settling_number(needed: Needed) -> int | None:
    """Pieces of each type after which the answer is most likely settled, whether types differ or not."""
    if needed.at_worthwhile is None or needed.at_zero is None:
        return None
    return max(needed.at_worthwhile, needed.at_zero)
