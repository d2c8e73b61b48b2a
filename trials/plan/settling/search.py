"""The cheapest plan that reaches a chance, or the best chance for a budget, among all plans of a space.

Two rounds. First every pattern (what one specimen gets) with the specimens of each type grown one by one, today's as
many as the others or sqrt(k) times as many. Then, for the patterns that came close, every number of today's and of the
others that could still be cheaper. More sheets than needed cost money and degrees of freedom, so none are tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from trials.errors import Infeasible
from trials.plan.settling.allocation import best_units, groups_of_control
from trials.plan.settling.problem import Problem
from trials.plan.settling.request import Asked, Goal, Option, Pattern, Space

Array = np.ndarray
Progress = Callable[[int, int], None]
CLOSE = 1.30  # patterns whose first plan costs up to so many times the best get the second round
CLOSE_CHANCE = 0.06  # the same where a chance is sought for a budget
FRONTIER = 12  # plans on the line of chance against money
FIRST_HOURS = 8.0
SAME_CHANCE, SAME_OUT_OF_REACH = 0.002, 0.01  # of plans so close to the best chance the cheapest is taken
OPEN_PATTERNS = 6  # patterns that are looked at again where the spreads are open
SMALLEST = 2  # specimens of a type: one cannot speak for its type


@dataclass(frozen=True)
class Found:
    """What the search ended with.

    best: the plan; reached: whether it has the asked chance (or fits the budget); frontier: plans of rising money and
    chance, from what eight hours buy (or half the hours of the plan); tried: plans looked at.
    """

    best: Option
    reached: bool
    frontier: tuple[Option, ...]
    tried: int


@dataclass
class _Tried:
    """Every plan looked at, in columns."""

    patterns: list[Pattern] = field(default_factory=list)
    which: list[Array] = field(default_factory=list)
    specimens: list[Array] = field(default_factory=list)
    money: list[Array] = field(default_factory=list)
    hours: list[Array] = field(default_factory=list)
    chance: list[Array] = field(default_factory=list)

    def add(self, pattern: Pattern, specimens: Array, money: Array, hours: Array, chance: Array) -> None:
        self.which.append(np.full(len(money), len(self.patterns)))
        self.patterns.append(pattern)
        self.specimens.append(specimens)
        self.money.append(money)
        self.hours.append(hours)
        self.chance.append(chance)

    def columns(self) -> tuple[Array, Array, Array, Array, Array]:
        return (
            np.concatenate(self.which),
            np.concatenate(self.specimens),
            np.concatenate(self.money),
            np.concatenate(self.hours),
            np.concatenate(self.chance),
        )


def settle(
    problem: Problem, goal: Goal, space: Space, progress: Progress | None = None, below: float | None = None
) -> Found:
    """The cheapest plan with the asked chance, or the best chance for the budget; see the module.

    progress: called as progress(done, of); below: plans that cost as much or more are not looked at. Where the chance
    is out of reach, the plan with the best chance.

    Raises
    ------
    Infeasible
        If fewer than two pieces of a type can be had, no pattern can estimate the curves of the trial, or the budget
        buys no plan.
    """
    pointed = replace(problem, question=replace(problem.question, asked=tuple(map(_closed, problem.question.asked))))
    search = _Search(pointed, goal, space, progress, best_money=math.inf if below is None else below)
    search.run()
    if any(asked.open for asked in problem.question.asked):
        search = _Search(problem, goal, space, None, only=search.best_patterns(OPEN_PATTERNS))
        search.run()
    return search.found()


def _closed(asked: Asked) -> Asked:
    return replace(asked, open=())


@dataclass
class _Search:
    problem: Problem
    goal: Goal
    space: Space
    progress: Progress | None
    only: tuple[Pattern, ...] | None = None
    tried: _Tried = field(default_factory=_Tried)
    best_money: float = math.inf
    best_chance: float = 0.0

    def run(self) -> None:
        patterns = self.patterns()
        firsts = []
        for i, pattern in enumerate(patterns):
            firsts.append((self._first(pattern), pattern))
            self._tell(i + 1, 2 * len(patterns))
        if not self.tried.patterns:
            raise Infeasible(self._why_nothing())
        close = [pattern for first, pattern in sorted(firsts, key=lambda f: f[0]) if self._is_close(first)]
        for i, pattern in enumerate(close):
            self._second(pattern)
            self._tell(len(patterns) + (i + 1) * len(patterns) // len(close), 2 * len(patterns))

    def _tell(self, done: int, of: int) -> None:
        if self.progress is not None:
            self.progress(done, of)

    def _why_nothing(self) -> str:
        if self.goal.has_budget:
            return "The budget buys no plan with two pieces of every type; raise it, or ask with --bare."
        return (
            "No plan of this size can estimate the curves of the trial with two pieces or more of every type; allow "
            'more pieces, fewer levels, or `curves = "common"` under [plan].'
        )

    @property
    def most(self) -> tuple[int, ...]:
        return self.space.limits(self.problem.question.types)

    def patterns(self) -> list[Pattern]:
        """Every pattern of the space that keeps the other pages alive, the likely ones first."""
        if self.only is not None:
            return list(self.only)
        if min(self.most) < SMALLEST:
            kind = self.problem.question.types[int(np.argmin(self.most))]
            raise Infeasible(f"One piece of {kind!r} cannot speak for its type: allow two or more.")
        space, found = self.space, []
        for mounts in space.mounts:
            for coupons in (1, *space.coupons) if space.bare else space.coupons:
                for repeats in self._repeats(coupons):
                    for readings in (1, *space.readings) if space.bare else space.readings:
                        found.append(Pattern(mounts, coupons, repeats, readings))
        return sorted(dict.fromkeys(found), key=self._unlikely)

    def _repeats(self, coupons: int) -> list[int]:
        if not any(len(factor.levels) > 1 for factor in self.problem.trial.factors.values()):
            return [0]
        most = coupons if self.space.bare else coupons - 1
        return [repeats for repeats in self.space.repeats if repeats <= most] + [coupons] * self.space.bare

    def _unlikely(self, pattern: Pattern) -> float:
        """How far the coupons of a specimen lie from the best number by cost and variance, on the log scale."""
        asked, prices = self.problem.question.asked[0], self.problem.prices
        coupon = prices.minutes.coupon + pattern.readings * prices.minutes.reading
        group = prices.minutes.mount + 60.0 * float(np.mean(prices.nozzle)) / max(prices.machine_hour, 1.0)
        variance = asked.variances.get("coupon", 0.0) + asked.variances.get("reading", 0.0) / pattern.readings
        pieces = asked.variances.get("specimen", 0.0) + asked.variances.get("mount", 0.0)
        wanted = min(best_units(coupon, group, variance, pieces), 50.0)
        return abs(math.log(pattern.coupons * pattern.mounts / wanted)) + 0.2 * pattern.readings + pattern.mounts

    def _first(self, pattern: Pattern) -> float:
        """Grow the specimens of every type; returns the cheapest money (or the best chance, negative) reached."""
        others = np.arange(SMALLEST, self.space.most_specimens + 1)
        kinds = len(self.problem.question.types)
        ratios = dict.fromkeys([groups_of_control(kinds - 1), 1.0])
        rows = np.vstack([self._specimens(np.ceil(ratio * others - 0.5).astype(int), others) for ratio in ratios])
        return self._evaluate(pattern, np.unique(rows, axis=0), stop=True)

    def _specimens(self, today: Array, others: Array) -> Array:
        rows = np.repeat(others[:, None], len(self.problem.question.types), axis=1)
        rows[:, self.problem.question.today] = today
        return np.asarray(np.minimum(rows, self.most))

    def _second(self, pattern: Pattern) -> None:
        """Every number of today's and the others' specimens that could still be better."""
        k = len(self.problem.question.types) - 1
        others, today = np.meshgrid(
            np.arange(SMALLEST, self.space.most_specimens + 1), np.arange(SMALLEST, 2 * self.space.most_specimens + 1)
        )
        near = (today >= others - 2) & (today <= 1.5 * math.sqrt(k) * others + 1)
        rows = np.unique(self._specimens(today[near], others[near]), axis=0)
        low = 0.75 * self.best_money if math.isfinite(self.best_money) else 0.0
        money = self.problem.prices.money(pattern, rows)
        self._evaluate(pattern, rows[money > low] if not self.goal.has_budget else rows, stop=True)

    def _evaluate(self, pattern: Pattern, rows: Array, stop: bool) -> float:
        """Chances of plans of one pattern, cheapest first, until the asked chance is reached."""
        money, (machine, bench) = self.problem.prices.money(pattern, rows), self.problem.prices.hours(pattern, rows)
        hours = machine + bench
        order = np.argsort(money, kind="stable")
        order = order[self._affordable(money[order], hours[order])]
        reached = math.inf
        for part in _chunks(order, 24):
            if money[part[0]] >= self.best_money:
                break
            chance = self._chance(pattern, rows[part])
            if chance is None:
                return reached
            self.tried.add(pattern, rows[part], money[part], hours[part], chance)
            self.best_chance = max(self.best_chance, float(chance.max()))
            if self.goal.has_budget:
                reached = min(reached, -float(chance.max()))
                continue
            enough = chance >= self.goal.chance
            if enough.any():
                reached = float(money[part][enough].min())
                self.best_money = min(self.best_money, reached)
                break
        return reached

    def _affordable(self, money: Array, hours: Array) -> Array:
        fits = np.ones(len(money), dtype=bool)
        if self.goal.money is not None:
            fits &= money <= self.goal.money + 1e-9
        if self.goal.hours is not None:
            fits &= hours <= self.goal.hours + 1e-9
        return fits

    def _chance(self, pattern: Pattern, rows: Array) -> Array | None:
        most = int(max(self.space.most_specimens, rows.max()))
        right = self.problem.evaluate(pattern, rows, most, self.goal.all_of_them)
        return None if right is None else right.reached(self.goal)

    def _is_close(self, first: float) -> bool:
        if self.goal.has_budget:
            return -first >= self.best_chance - CLOSE_CHANCE
        return first <= CLOSE * self.best_money and math.isfinite(first)

    def best_patterns(self, count: int) -> tuple[Pattern, ...]:
        """The patterns of the cheapest plans that reach the chance, or of the best chances."""
        which, _, money, _, chance = self.tried.columns()
        enough = chance >= self.goal.chance
        by_chance = self.goal.has_budget or not enough.any()
        order = np.argsort(-chance if by_chance else np.where(enough, money, math.inf), kind="stable")
        patterns = [self.tried.patterns[i] for i in which[order]]
        return tuple(dict.fromkeys(patterns))[:count]

    def found(self) -> Found:
        """The best of all that was tried, and the line that leads to it."""
        which, specimens, money, hours, chance = self.tried.columns()
        enough = chance >= self.goal.chance
        if self.goal.has_budget or not enough.any():
            near = chance >= chance.max() - (SAME_CHANCE if self.goal.has_budget else SAME_OUT_OF_REACH)
            at = int(np.argmin(np.where(near, money, math.inf)))
            reached = self.goal.has_budget
        else:
            at, reached = int(np.lexsort((-chance, np.where(enough, money, math.inf)))[0]), True
        first = min(FIRST_HOURS, 0.5 * float(hours[at]))
        line = [i for i in _frontier(money, hours, chance, first) if money[i] < money[at]]
        line = [*_thinned(line, money, FRONTIER - 1), at]
        options = [self._option(self.tried.patterns[int(which[i])], specimens[i]) for i in line]
        return Found(options[-1], reached, tuple(options), len(money))

    def _option(self, pattern: Pattern, specimens: Array) -> Option:
        counts = tuple(int(n) for n in specimens)
        sheets = int(self.problem.prices.sheets(pattern, specimens[None])[0])
        return self.problem.option(pattern.candidate(counts, sheets), max(self.space.most_specimens, *counts))


def _chunks(order: Array, size: int) -> Iterator[Array]:
    for start in range(0, len(order), size):
        yield order[start : start + size]


def _frontier(money: Array, hours: Array, chance: Array, first: float) -> list[int]:
    """Plans that no cheaper plan beats, from the best on that so many hours buy."""
    order = np.lexsort((-chance, money))
    best, kept = 0.0, []
    for i in order:
        if chance[i] > best + 1e-9:
            kept.append(int(i))
            best = float(chance[i])
    within = [i for i in kept if hours[i] <= first]
    return kept[len(within) - 1 :] if within else kept


def _thinned(line: list[int], money: Array, most: int) -> list[int]:
    """So many plans of the line, about equally far apart in money."""
    if len(line) <= most:
        return line
    own = money[line]
    places = [int(np.argmin(np.abs(own - wanted))) for wanted in np.linspace(own[0], own[-1], most + 1)[:-1]]
    return [line[i] for i in dict.fromkeys(places)]
