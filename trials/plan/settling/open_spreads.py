"""Spreads of a pilot or an earlier trial, with what their few degrees of freedom leave open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from trials.findings import About, Fact, Finding, Weight
from trials.infer.chance import MeanSquare, draw, floor, variances
from trials.plan.kinds import PlanKind
from trials.plan.settling.problem import Problem
from trials.plan.settling.request import Candidate, Option, Pattern

DRAWS = 32
"""Sets of variances over which a chance is averaged."""
SEED = 20417
SOURCES = ("specimen", "mount", "coupon", "reading")
LOW, HIGH = 0.1, 0.9
MOST = 60
"""Specimens of each type up to which a need is looked for."""


@dataclass(frozen=True)
class OpenSpreads:
    """Of one response: variances by source as estimated, and sets of them that are equally likely given the data.

    df: degrees of freedom between specimens; source: the trial they come from.
    """

    point: Mapping[str, float]
    drawn: tuple[Mapping[str, float], ...]
    df: float
    source: str


def open_spreads(squares: tuple[MeanSquare, ...], source: str, draws: int = DRAWS) -> OpenSpreads:
    """Variances behind the mean squares, and draws of them: each mean square over a fresh chi-square / df.

    Generalised pivotal quantities (Weerahandi 1993, JASA 88, 899-905); the chi-squares are a Latin hypercube, so that
    few draws cover what is possible evenly. A negative variance counts as zero; a sheet is left out.
    """
    from scipy import stats

    places = stats.qmc.LatinHypercube(len(squares), rng=np.random.default_rng(SEED)).random(draws).T
    chi = np.array([stats.chi2.ppf(place, square.df) for place, square in zip(places, squares, strict=True)])
    drawn, point = floor(draw(squares, chi)), floor(variances(squares))
    kept = [name for name in SOURCES if name in point]
    sets = tuple({name: float(drawn[name][i]) for name in kept} for i in range(draws))
    df = next((square.df for square in squares if square.name in ("specimen", "mount")), squares[-1].df)
    return OpenSpreads({name: float(point[name]) for name in kept}, tuple(map(_positive, sets)), df, source)


def _positive(found: Mapping[str, float]) -> Mapping[str, float]:
    """The same with a coupon spread above zero, without which nothing could be planned."""
    rest = found.get("coupon", 0.0) + found.get("reading", 0.0)
    return found if rest > 0 else {**found, "coupon": max(1e-12, 1e-6 * max(found.values(), default=0.0))}


def range_of(problem: Problem, best: Option, name: str, known: OpenSpreads, chance: float) -> Finding:
    """The chance of a plan over the open spreads of a response, and the specimens that they would ask for."""
    each = [_chance(_alone(problem, name, one), best.candidate) for one in known.drawn]
    needs = sorted(_needed(_alone(problem, name, one), best.candidate, chance) for one in known.drawn)
    facts: dict[str, Fact] = {
        "source": known.source,
        "df": known.df,
        "mean": float(np.mean(each)),
        "low": float(np.quantile(each, LOW)),
        "high": float(np.quantile(each, HIGH)),
        "asked": chance,
        "fewest": _at(needs, LOW),
        "most": _at(needs, HIGH),
        "limit": MOST,
    }
    return Finding(PlanKind.SPREADS_OPEN, About(response=name), facts, Weight.LOOK_AT)


def _at(needs: list[int], share: float) -> int | None:
    found = needs[min(int(share * len(needs)), len(needs) - 1)]
    return None if found > MOST else found


def _alone(problem: Problem, name: str, found: Mapping[str, float]) -> Problem:
    asked = next(asked for asked in problem.question.asked if asked.response == name)
    one = (replace(asked, variances=found, open=()),)
    return replace(problem, question=replace(problem.question, asked=one))


def _chance(problem: Problem, candidate: Candidate) -> float:
    chances = problem.option(candidate).chances
    return min(chances.different, chances.same)


def _needed(problem: Problem, candidate: Candidate, chance: float) -> int:
    """Fewest specimens of each type that reach the chance with what each specimen gets; MOST + 1 where none does."""
    counts = np.arange(2, MOST + 1)
    rows = np.repeat(counts[:, None], len(problem.question.types), axis=1)
    pattern = Pattern(candidate.mounts, candidate.coupons, candidate.repeats, candidate.readings)
    right = problem.evaluate(pattern, rows, MOST)
    if right is None:
        return MOST + 1
    reached = np.minimum(right.different.min(axis=1), right.same.min(axis=1)) >= chance
    return int(counts[np.argmax(reached)]) if reached.any() else MOST + 1
