"""The cheapest extension that settles, given what is cut: further pieces, further mounts, coupons at today's setting.

What is known after it follows from the layout alone, with the sheets taken out: of each specimen, with mounts nested in
it, X'V^-1X in closed form (Woodbury), summed over specimens. The difference seen so far plays no part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from trials.errors import Infeasible
from trials.findings import PlaceKind
from trials.infer.model import Axis, FixedModel, build_model
from trials.plan.assess.run_order import dummies, rank
from trials.plan.settling.chance import Right, chances_right
from trials.plan.settling.problem import NOZZLE, Problem, model_rows
from trials.plan.settling.request import Asked, Bill, Chances, Goal, Pattern, coupon_variance
from trials.plan.settling.strata import Precision
from trials.trial import Curves, Level, Trial

Array = np.ndarray
Progress = Callable[[int, int], None]
MOST_NEW = 40  # further specimens of a type up to which plans are looked for
COUPONS = (2, 3, 4, 5, 6)
OPEN_KINDS = 3  # kinds of extension that are looked at again where the spreads are open
SINGULAR = 1e-9


@dataclass(frozen=True)
class Further:
    """An extension: `new` specimens by type in the order of the trial, and whether each piece that is there is mounted
    once more; coupons in each of these mounts, `repeats` of them at today's setting; as few sheets as hold them."""

    new: tuple[int, ...]
    again: bool
    coupons: int
    repeats: int
    sheets: int


@dataclass(frozen=True)
class FurtherOption:
    """An extension with the chances of the whole trial after it, and its own bill."""

    further: Further
    chances: Chances
    bill: Bill


@dataclass(frozen=True)
class FoundFurther:
    """What the search ended with: the extension, whether it has the asked chance, the chances of what is cut alone."""

    best: FurtherOption
    reached: bool
    now: Chances


@dataclass(frozen=True)
class FurtherSpace:
    """Where extensions are looked for: types that get coupons, and how many new specimens of each can be had."""

    types: tuple[str, ...]
    most: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Given:
    """What is cut: its coupons with `nozzle, specimen, mount, sheet` and the settings as cut; there: pieces of each
    type that can still be mounted."""

    problem: Problem
    coupons: pd.DataFrame
    there: Mapping[str, tuple[str, ...]]

    @property
    def trial(self) -> Trial:
        """The trial."""
        return self.problem.trial

    @cached_property
    def varied(self) -> bool:
        """Whether any setting was varied."""
        columns = [self.trial.factor_column(name) for name in self.trial.factors]
        return any(self.coupons[column].nunique() > 1 for column in columns)

    @cached_property
    def model(self) -> FixedModel:
        """The model that the coupons so far carry, without sheets."""
        trial, settings = self.trial, {NOZZLE: self.coupons[NOZZLE].to_numpy(object)}
        axes = [Axis(NOZZLE, self.problem.question.types)]
        for name, asked in trial.factors.items():
            cells = self.coupons[trial.factor_column(name)]
            if cells.nunique() > 1:
                axes.append(Axis(name, asked.levels))
                settings[name] = cells.to_numpy(object if asked.is_text else float)
        common = trial.plan.curves is Curves.COMMON
        return build_model(axes, settings, NOZZLE, None, len(self.coupons), common)

    @cached_property
    def rows(self) -> Array:
        """Model rows (n, k) of the coupons so far."""
        table = {NOZZLE: self.coupons[NOZZLE].to_numpy(object)}
        for axis in self.model.axes[1:]:
            column = self.coupons[self.trial.factor_column(axis.name)]
            table[axis.name] = column.to_numpy(object if axis.is_text else float)
        return np.asarray(self.model.matrix(table))

    @cached_property
    def contrasts(self) -> tuple[Array, Array]:
        """Contrasts (J, k) of each other type against today's: where they are compared, and averaged."""
        question, names = self.problem.question, [axis.name for axis in self.model.axes[1:]]
        columns = [self.trial.factor_column(name) for name in names]
        cut = {kind: set(map(tuple, part[columns].to_numpy(object))) for kind, part in self.coupons.groupby(NOZZLE)}
        shared = set.intersection(*cut.values()) or set.union(*cut.values())
        common = [dict(zip(names, point, strict=True)) for point in sorted(shared, key=str)]
        today = [dict(self.trial.today_settings)]
        average = self._against(common)
        return (self._against(today) if question.at is PlaceKind.TODAY else average), average

    def _against(self, settings: Sequence[Mapping[str, Level]]) -> Array:
        question = self.problem.question
        means = np.array([model_rows(self.model, kind, settings).mean(axis=0) for kind in question.types])
        return np.asarray(np.delete(means, question.today, axis=0) - means[question.today])

    def readings(self, asked: Asked) -> int:
        """Readings a coupon of a response; frozen."""
        return self.trial.responses[asked.response].readings

    def bill(self, further: Further) -> Bill:
        """Hours and money of an extension; only new pieces are bought."""
        prices, pattern = self.problem.prices, self._pattern(further)
        counts = np.array([self._mounts(further)])
        machine, bench = prices.hours(pattern, counts)
        there = counts[0] - np.array(further.new)
        money = float(prices.money(pattern, counts)[0] - there @ np.array(prices.nozzle))
        return Bill(float(machine[0]), float(bench[0]), money)

    def _pattern(self, further: Further) -> Pattern:
        readings = max(self.readings(asked) for asked in self.problem.question.asked)
        return Pattern(1, further.coupons, further.repeats, readings)

    def _mounts(self, further: Further) -> list[int]:
        """Mounts of each type."""
        return [n + further.again * len(self.there.get(t, ())) for t, n in zip(self.types, further.new, strict=True)]

    @property
    def types(self) -> tuple[str, ...]:
        """Nozzle types in the order of the trial."""
        return self.problem.question.types

    def sheets(self, further: Further) -> int:
        """Fewest sheets that hold an extension."""
        return int(self.problem.prices.sheets(self._pattern(further), np.array([self._mounts(further)]))[0])

    def right(self, all_further: Sequence[Further | None], together: bool = False) -> Right:
        """Chances after each extension (None: what is cut alone), the lowest over primaries, the mean over spreads."""
        layouts = [self._layout(further) for further in all_further]
        found = []
        for asked in self.problem.question.asked:
            each = [self._right(layouts, asked, variances, together) for variances in asked.open or (asked.variances,)]
            found.append([np.mean([getattr(part, name) for part in each], axis=0) for name in _PARTS])
        return Right(*(np.min(parts, axis=0) for parts in zip(*found, strict=True)))

    def _right(self, layouts: list[_Layout], asked: Asked, variances: Mapping[str, float], together: bool) -> Right:
        known = _precision(layouts, variances, coupon_variance(variances, self.readings(asked)), self.contrasts)
        right = chances_right(known, asked.better, asked.worse, self.problem.question.levels, together)
        parts = vars(right).values()
        return Right(
            *(np.where(known.usable[:, None] if part.ndim == 2 else known.usable, part, 0.0) for part in parts)
        )

    def chances(self, further: Further | None) -> Chances:
        """All chances of the trial after an extension, or of what is cut alone."""
        right = self.right([further], together=True)
        one = float(right.different.min()), float(right.same.min())
        return Chances(*one, float(right.all_different[0]), float(right.all_same[0]))

    def _layout(self, further: Further | None) -> _Layout:
        so_far = [self.coupons[name].astype(str).to_list() for name in ("specimen", "mount", "sheet", NOZZLE)]
        blocks = [self.rows]
        for kind, count in zip(self.types, self._mounts(further) if further else [], strict=bool(further)):
            if not count or further is None:
                continue
            pieces = [*(self.there[kind] if further.again else ()), *(f"{kind}+{i}" for i in range(count))][:count]
            hand = self.problem.hands(kind, self._pattern(further), count)
            rows = model_rows(self.model, kind, hand.settings)[np.hstack([hand.dealt, hand.fixed])]
            blocks.append(rows.reshape(-1, rows.shape[-1]))
            each, sheets = further.coupons, max(self.sheets(further), 1)
            so_far[0] += [piece for piece in pieces for _ in range(each)]
            so_far[1] += [f"{kind}+{i}" for i in range(count) for _ in range(each)]
            so_far[2] += [f"+{i % sheets}" for i in range(count) for _ in range(each)]
            so_far[3] += [kind] * (count * each)
        return _Layout(np.vstack(blocks), *(np.array(labels, dtype=object) for labels in so_far))


_PARTS = ("different", "same", "all_different", "all_same")


@dataclass(frozen=True)
class _Layout:
    """Coupons with their model rows (n, k) and labels (n,)."""

    rows: Array
    specimen: Array
    mount: Array
    sheet: Array
    nozzle: Array

    @cached_property
    def codes(self) -> tuple[Array, Array]:
        """Mount of each coupon (n,), specimen of each mount (M,), as numbers."""
        _, first, mount = np.unique(self.mount, return_index=True, return_inverse=True)
        return mount, np.unique(self.specimen, return_inverse=True)[1][first]

    @cached_property
    def fixed(self) -> Array:
        """Model rows and a column for each sheet but one."""
        return np.hstack([self.rows, dummies(self.sheet)[:, 1:]])

    @cached_property
    def between_df(self) -> int:
        """Degrees of freedom between specimens; where one visits several sheets these cost none."""
        units = list(dict.fromkeys(zip(self.specimen, self.sheet, self.nozzle, strict=True)))
        pieces, kinds = len(set(self.specimen)), np.array([unit[2] for unit in units], dtype=object)
        if len(units) > pieces:
            return pieces - len(set(kinds))
        sheets = np.array([unit[1] for unit in units], dtype=object)
        return len(units) - rank(np.hstack([dummies(kinds), dummies(sheets)]))

    @cached_property
    def coupon_df(self) -> int:
        """Degrees of freedom of coupons inside mounts."""
        mount, _ = self.codes
        sums, sizes = _sums(self.fixed, mount), np.bincount(mount)
        inside = self.fixed - (sums / sizes[:, None])[mount]
        return len(mount) - len(sizes) - int(np.linalg.matrix_rank(inside.T @ inside, hermitian=True, tol=1e-8))

    def information(self, variances: Mapping[str, float], coupon: float) -> Array:
        """X'V^-1X (k, k) for coupons in mounts in specimens."""
        mount, piece = self.codes
        of_mount, of_piece = variances.get("mount", 0.0), variances.get("specimen", 0.0)
        sizes, sums = np.bincount(mount), _sums(self.fixed, mount)
        own = coupon + sizes * of_mount
        found = self.fixed.T @ self.fixed / coupon - (sums * (of_mount / (coupon * own))[:, None]).T @ sums
        whole, weight = _sums(sums / own[:, None], piece), np.bincount(piece, sizes / own)
        return np.asarray(found - (whole * (of_piece / (1.0 + of_piece * weight))[:, None]).T @ whole)


def _sums(rows: Array, codes: Array) -> Array:
    found = np.zeros((codes.max() + 1, rows.shape[1]))
    np.add.at(found, codes, rows)
    return found


def _precision(
    layouts: list[_Layout], variances: Mapping[str, float], coupon: float, contrasts: tuple[Array, Array]
) -> Precision:
    """What layouts know of comparisons: what an average over settings leaves rests on pieces, the rest on coupons."""
    compared, between, usable = [], [], []
    for layout in layouts:
        phi, sound = _turned(layout.information(variances, coupon))
        k = layout.rows.shape[1]
        here, average = (contrast @ phi[:k, :k] @ contrast.T for contrast in contrasts)
        compared.append(here)
        between.append(np.minimum(np.diagonal(here), np.diagonal(average)))
        usable.append(sound and layout.between_df >= 1)
    dfs = np.array([max(layout.between_df, 1) for layout in layouts], dtype=float)
    rest = np.array([max(layout.coupon_df, 1) for layout in layouts], dtype=float)
    apart = np.array(between)
    return Precision(np.array(compared), apart, dfs, np.repeat(rest[:, None], apart.shape[1], axis=1), np.array(usable))


def _turned(whole: Array) -> tuple[Array, bool]:
    """The inverse, and whether there is one."""
    length = np.sqrt(np.maximum(np.diagonal(whole), 1e-300))
    scaled = whole / np.outer(length, length)
    sound = bool(np.linalg.eigvalsh(scaled)[0] > SINGULAR)
    return (np.linalg.inv(scaled) / np.outer(length, length) if sound else np.eye(len(whole))), sound


def settle_further(given: Given, goal: Goal, space: FurtherSpace, progress: Progress | None = None) -> FoundFurther:
    """The cheapest extension after which the trial has the asked chance; the one with the best chance if none has.

    Raises
    ------
    Infeasible
        If what is cut has the asked chance already, or nothing can be added.
    """
    now = given.chances(None)
    if now.reached(goal) >= goal.chance:
        raise Infeasible(
            f"What is cut has the asked chance already ({100 * now.reached(goal):.0f} %): nothing needs to be added. "
            "Ask for a higher one, or extend in another way."
        )
    closed = _closed(given)
    search = _Search(closed, goal, space, progress)
    search.run(_kinds(given))
    if any(asked.open for asked in given.problem.question.asked):
        again = _Search(given, goal, space, None)
        again.run(search.best_kinds(OPEN_KINDS))
        search = again
    if search.best is None:
        raise Infeasible("Nothing can be added: no piece can be mounted once more, and none can be had.")
    best = FurtherOption(search.best, given.chances(search.best), given.bill(search.best))
    return FoundFurther(best, search.reached, now)


def _closed(given: Given) -> Given:
    question = given.problem.question
    asked = tuple(replace(one, open=()) for one in question.asked)
    return replace(given, problem=replace(given.problem, question=replace(question, asked=asked)))


Kind = tuple[bool, int, int]  # again, coupons, repeats


def _kinds(given: Given) -> list[Kind]:
    at_today = given.varied and given.problem.question.at is PlaceKind.TODAY
    return [
        (again, coupons, repeats)
        for again in (False, True)
        for coupons in COUPONS
        for repeats in sorted({0, coupons - 1, coupons} if at_today else {0})
    ]


@dataclass
class _Search:
    given: Given
    goal: Goal
    space: FurtherSpace
    progress: Progress | None
    best: Further | None = None
    reached: bool = False
    money: float = math.inf
    chance: float = -1.0
    seen: dict[Kind, tuple[float, float]] = field(default_factory=dict)

    def run(self, kinds: Sequence[Kind]) -> None:
        for i, kind in enumerate(kinds):
            for line in self._lines(kind):
                self._look(kind, line)
            self._tell(i + 1, len(kinds) + 1)
        if self.best is not None:
            kind = (self.best.again, self.best.coupons, self.best.repeats)
            self._look(kind, self._near(kind, self.best))
        self._tell(len(kinds) + 1, len(kinds) + 1)

    def _tell(self, done: int, of: int) -> None:
        if self.progress is not None:
            self.progress(done, of)

    def best_kinds(self, count: int) -> list[Kind]:
        """Kinds that reach the chance for the least money, then those with the best chance."""
        return sorted(self.seen, key=lambda kind: self.seen[kind])[:count]

    def _lines(self, kind: Kind) -> Iterator[list[Further]]:
        """Extensions that grow: of all types alike, today's sqrt(k) times as many, of one side alone."""
        others = len(self.space.types) - 1
        shares = [(1.0, 1.0), (math.sqrt(max(others, 1)), 1.0)] + ([(1.0, 0.0), (0.0, 1.0)] if kind[0] else [])
        for today, other in dict.fromkeys(shares):
            counts = [(math.ceil(today * n - 0.5), math.ceil(other * n - 0.5)) for n in range(MOST_NEW + 1)]
            yield self._made(kind, counts)

    def _near(self, kind: Kind, best: Further) -> list[Further]:
        """Every number of today's and of the others' close to the best."""
        at = self.given.problem.question.today
        today, other = best.new[at], max((n for i, n in enumerate(best.new) if i != at), default=0)
        counts = [(a, b) for b in range(max(0, other - 3), other + 3) for a in range(max(0, today - 4), today + 6)]
        return self._made(kind, counts)

    def _made(self, kind: Kind, counts: list[tuple[int, int]]) -> list[Further]:
        made = []
        for today, other in counts:
            new = tuple(self._count(name, today, other) for name in self.given.types)
            further = Further(new, *kind, sheets=1)
            if sum(self.given._mounts(further)):
                made.append(Further(new, *kind, sheets=self.given.sheets(further)))
        return list(dict.fromkeys(made))

    def _count(self, name: str, today: int, other: int) -> int:
        if name not in self.space.types:
            return 0
        wanted = today if name == self.given.trial.today.type else other
        return min(wanted, self.space.most.get(name, MOST_NEW))

    def _look(self, kind: Kind, line: list[Further]) -> None:
        """The cheapest of the line with the asked chance, if it is cheaper than the best so far."""
        money = np.array([self.given.bill(further).money for further in line])
        order = [int(i) for i in np.argsort(money, kind="stable") if money[i] < self.money]
        if not order or self._take(kind, line, money, order[-1:]) is False:
            return
        for start in range(0, len(order), 12):
            if self._take(kind, line, money, order[start : start + 12]):
                return

    def _take(self, kind: Kind, line: list[Further], money: Array, places: list[int]) -> bool:
        """Whether one of these reaches the chance; the cheapest that does is kept, else that with the best chance."""
        chances = self._chances([line[i] for i in places])
        for i, chance in zip(places, chances, strict=True):
            enough = bool(chance >= self.goal.chance)
            self.seen[kind] = min(
                self.seen.get(kind, (math.inf, math.inf)), (money[i] if enough else math.inf, -chance)
            )
            better = money[i] < self.money if enough else not self.reached and chance > self.chance + 0.005
            if better:
                self.best, self.chance, self.reached = line[i], float(chance), self.reached or enough
                self.money = float(money[i]) if enough else self.money
        return bool((chances >= self.goal.chance).any())

    def _chances(self, line: list[Further]) -> Array:
        right = self.given.right(line, self.goal.all_of_them)
        named = [
            t in self.space.types for i, t in enumerate(self.given.types) if i != self.given.problem.question.today
        ]
        return right.reached(self.goal, np.array(named))
