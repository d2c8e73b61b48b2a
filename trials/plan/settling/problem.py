"""A trial as the search sees it: which coupons a pattern deals, what they tell, what they cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from trials.errors import Infeasible, InputError
from trials.findings import PlaceKind
from trials.infer.answer import Levels, levels
from trials.infer.model import Axis, FixedModel, build_model
from trials.plan.dealing import deal, dealt_settings
from trials.plan.settings import Setting, allowed_settings, repeat_setting
from trials.plan.settling.chance import Right, chances_right
from trials.plan.settling.costs import Prices, prices_of
from trials.plan.settling.request import Asked, Candidate, Chances, Option, Pattern, Question
from trials.plan.settling.strata import Strata, build_strata
from trials.responses import Scale
from trials.sharing import shared
from trials.trial import CompareAt, Curves, Level, Method, Trial, expected_spreads, worthwhile_margins

NOZZLE = "nozzle"
OTHER_QUESTIONS = (Method.LADDER, Method.LIFE, Method.BENCH, Method.PILOT, Method.ADOPTED)
AT_ONCE = 4
"""Sets of open variances of a piece of work, which one worker does."""
SECONDS_EACH = 0.25
"""About what each set takes in a whole search."""
Array = np.ndarray


@dataclass(frozen=True)
class Problem:
    """The trial, its question, and its prices."""

    trial: Trial
    question: Question
    prices: Prices

    @cached_property
    def _kept(self) -> dict[tuple[int, int, int, int], Strata | None]:
        return {}

    def strata(self, pattern: Pattern, most: int) -> Strata | None:
        """Sums over up to `most` specimens of each type; None where the curves of the trial cannot be estimated."""
        key = (pattern.mounts, pattern.coupons, pattern.repeats, most)
        if key not in self._kept:
            self._kept[key] = self._build(pattern, most)
        found = self._kept[key]
        return None if found is None else replace(found, pattern=pattern)

    def _build(self, pattern: Pattern, most: int) -> Strata | None:
        hands = [self.hands(kind, pattern, most * pattern.mounts) for kind in self.question.types]
        varied = any(len(hand.dealt[0]) for hand in hands)
        model = self._model(varied)
        rows = [
            model_rows(model, kind, hand.settings)[np.hstack([hand.dealt, hand.fixed])]
            for kind, hand in zip(self.question.types, hands, strict=True)
        ]
        found = build_strata(pattern, rows, self._contrasts(model, varied))
        whole = found.sums[:, most].sum(axis=(0, 1))
        return found if np.linalg.matrix_rank(whole, hermitian=True) == len(whole) else None

    def hands(self, kind: str, pattern: Pattern, mounts: int) -> Hands:
        """What each mount of a type gets, in order of dealing."""
        others = dealt_settings(self.trial, kind, pattern.repeats)
        again, _ = repeat_setting(self.trial, kind)
        fixed = pattern.repeats if others else pattern.coupons
        dealt = np.array(deal(len(others), mounts, pattern.coupons - fixed), dtype=int).reshape(mounts, -1)
        return Hands([*others, again], dealt, np.full((mounts, fixed), len(others)))

    def _model(self, varied: bool) -> FixedModel:
        """The model of the analysis where every setting is cut, or of types alone where none varies."""
        points = [(kind, setting) for kind in self.question.types for setting in allowed_settings(self.trial, kind)]
        axes = [Axis(NOZZLE, self.question.types)]
        if varied:
            axes += [Axis(name, f.levels) for name, f in self.trial.factors.items() if len(f.levels) > 1]
        columns = _columns(axes, points)
        common = self.trial.plan.curves is Curves.COMMON
        return build_model(axes, columns, NOZZLE, units=10**6, common_curves=common)

    def _contrasts(self, model: FixedModel, varied: bool) -> Array:
        """Rows (J, k) of each other type against today's, where the question compares them."""
        settings = [dict(self.trial.today_settings)]
        if varied and self.question.at is PlaceKind.AVERAGE:
            settings = self._common_settings()
        means = np.array([model_rows(model, kind, settings).mean(axis=0) for kind in self.question.types])
        others = [i for i in range(len(means)) if i != self.question.today]
        return np.asarray(means[others] - means[self.question.today])

    def _common_settings(self) -> list[Setting]:
        each = [allowed_settings(self.trial, kind) for kind in self.question.types]
        shared = [setting for setting in each[0] if all(setting in own for own in each)]
        if not shared:
            raise Infeasible("No setting is allowed for every type, so no average over settings compares them.")
        return shared

    def evaluate(
        self, pattern: Pattern, specimens: Array, most: int, together: bool = False, sheets: Array | None = None
    ) -> Right | None:
        """Chances of plans with specimens (B, types); the lowest over the primaries, the mean over open spreads.

        sheets (B,): as few as hold the coupons where None.
        """
        strata = self.strata(pattern, most)
        if strata is None:
            return None
        sheets = self.prices.sheets(pattern, specimens) if sheets is None else sheets
        found = [self._right(strata, asked, specimens, sheets, together) for asked in self.question.asked]
        return Right(*(np.min([getattr(part, name) for part in found], axis=0) for name in _PARTS))

    def _right(self, strata: Strata, asked: Asked, specimens: Array, sheets: Array, together: bool) -> Right:
        sets = asked.open or (asked.variances,)
        lots = [sets[first : first + AT_ONCE] for first in range(0, len(sets), AT_ONCE)]
        task = _Task(strata, asked.better, asked.worse, self.question.levels, specimens, sheets, together)
        each = [right for lot in shared(task.rights, lots, len(asked.open) * SECONDS_EACH) for right in lot]
        return Right(*(np.mean([getattr(part, name) for part in each], axis=0) for name in _PARTS))

    def option(self, candidate: Candidate, most: int | None = None) -> Option:
        """A plan with all its chances and its bill.

        Raises
        ------
        Infeasible
            Where the plan cannot estimate the curves of the trial.
        """
        pattern = Pattern(candidate.mounts, candidate.coupons, candidate.repeats, candidate.readings)
        right = self.evaluate(pattern, np.array([candidate.specimens]), most or max(candidate.specimens), True)
        if right is None:
            raise Infeasible("These coupons cannot estimate the curves of the trial; deal more settings to each mount.")
        chances = Chances(
            float(right.different.min()),
            float(right.same.min()),
            float(right.all_different[0]),
            float(right.all_same[0]),
        )
        return Option(candidate, chances, self.prices.bill(candidate))

    def elsewhere(self, at: PlaceKind, curves: Curves | None = None) -> Problem:
        """The same problem, compared at another place, with the curves of the trial or others."""
        plan = self.trial.plan.model_copy(update={} if curves is None else {"curves": curves})
        return Problem(self.trial.model_copy(update={"plan": plan}), replace(self.question, at=at), self.prices)


@dataclass(frozen=True)
class Hands:
    """Settings of a type, and which of them each mount is dealt and has repeated, (mounts, coupons) each."""

    settings: list[Setting]
    dealt: Array
    fixed: Array


@dataclass(frozen=True, eq=False)
class _Task:
    """Plans of one pattern and one response, judged at many sets of variances: all that a worker needs to know."""

    strata: Strata
    better: float
    worse: float
    levels: Levels
    specimens: Array
    sheets: Array
    together: bool

    def rights(self, sets: Sequence[Mapping[str, float]]) -> list[Right]:
        """Chances at each set."""
        return [self.right(variances) for variances in sets]

    def right(self, variances: Mapping[str, float]) -> Right:
        """Chances at one set of variances."""
        known = self.strata.precision(self.specimens, self.sheets, variances)
        right = chances_right(known, self.better, self.worse, self.levels, self.together)
        return Right(*(np.where(_wide(known.usable, part), part, 0.0) for part in vars(right).values()))


_PARTS = ("different", "same", "all_different", "all_same")


def _wide(usable: Array, part: Array) -> Array:
    return usable[:, None] if part.ndim == 2 else usable


def _columns(axes: Sequence[Axis], points: Sequence[tuple[str, Mapping[str, Level]]]) -> dict[str, Array]:
    found = {NOZZLE: np.array([kind for kind, _ in points], dtype=object)}
    for axis in axes[1:]:
        values = [setting[axis.name] for _, setting in points]
        found[axis.name] = np.array(values, dtype=object if axis.is_text else float)
    return found


def model_rows(model: FixedModel, kind: str, settings: Sequence[Mapping[str, Level]]) -> Array:
    """Rows (settings, k) of one type."""
    return model.matrix(_columns(model.axes, [(kind, setting) for setting in settings]))


def problem_of(trial: Trial, open_spreads: Mapping[str, tuple[Mapping[str, float], ...]] | None = None) -> Problem:
    """The problem that a trial file poses.

    Raises
    ------
    Infeasible
        If there is nothing to compare, the method asks another question, or no primary response has a worthwhile
        difference and expected spreads.
    InputError
        If an expected spread cannot be read.
    """
    if trial.plan.method in OTHER_QUESTIONS:
        raise Infeasible(
            f"plan.method '{trial.plan.method}' asks another question than which type is better; a plan that "
            "settles needs method 'full', 'optimal' or another that compares edges."
        )
    if len(trial.types) < 2:
        raise Infeasible("One nozzle type is compared with none: a plan that settles needs a second [[nozzles]] block.")
    asked = tuple(part for name in trial.primaries if (part := _asked(trial, name, open_spreads or {})) is not None)
    if not asked:
        raise Infeasible(
            "No primary response has both a worthwhile difference and expected spreads, so no chance can be stated; "
            "add [responses.NAME.expected] with coupon and specimen, or run a pilot (`trials new --from pilot`)."
        )
    at = PlaceKind.TODAY if trial.plan.compare_at is CompareAt.TODAY else PlaceKind.AVERAGE
    shared = levels(len(trial.primaries), trial.plan.looks)
    question = Question(trial.types, trial.types.index(trial.today.type), at, shared, asked)
    return Problem(trial, question, prices_of(trial))


def _asked(trial: Trial, name: str, open_spreads: Mapping[str, tuple[Mapping[str, float], ...]]) -> Asked | None:
    margins = worthwhile_margins(trial, name) if trial.quantity(name).scale is not Scale.GRADE else None
    if margins is None:
        return None
    try:
        spreads = expected_spreads(trial, name)
    except ValueError as error:
        raise InputError(str(error), do="Correct the trial file.") from None
    variances = {source: sd**2 for source, sd in spreads.items() if source != "sheet"}
    if not variances.get("coupon", 0.0) + variances.get("reading", 0.0):
        return None
    return Asked(name, variances, margins.better, margins.worse, open_spreads.get(name, ()))
