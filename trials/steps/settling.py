"""Plans that settle: looked for before anything is frozen, set beside each other, put into the trial file if asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import InputError
from trials.findings import Fact, Finding, PlaceKind
from trials.steps.files import rewrite
from trials.store.records.folder import read_trial, records_place
from trials.trial import Curves, Trial, parse

if TYPE_CHECKING:
    from trials.plan.assess import Assessment
    from trials.plan.settling.as_planned import Judged
    from trials.plan.settling.lines import Line
    from trials.plan.settling.problem import Problem
    from trials.plan.settling.request import Chances, Goal, Option, Space
    from trials.plan.settling.search import Found
    from trials.plan.settling.two_looks import TwoLooks
    from trials.steps.spreads import KnownSpreads

    Places = Mapping[str, Chances | None]

Progress = Callable[[int, int], None]
USUAL_CHANCE = 0.8


@dataclass(frozen=True)
class Wanted:
    """What is asked of a plan that settles.

    chance: None takes that of the trial file, else 80 %; truth: `different`, `same` or `both`; pieces: specimens of a
    type that can be had; hours, money: a budget in place of a chance; spreads_from: folder of a pilot or earlier trial.
    """

    chance: float | None = None
    truth: str = "both"
    all_of_them: bool = False
    bare: bool = False
    pieces: Mapping[str, int] = field(default_factory=dict)
    hours: float | None = None
    money: float | None = None
    spreads_from: Path | None = None


@dataclass(frozen=True)
class Settled:
    """The plan that was found for a trial.

    found: plan and the line of chance against money; lines: what to put into the trial file; places: chances of the
    same coupons at today's settings, averaged over the settings, and at today's with curves common to all types (None
    where that cannot be had); said: what it rests on; two_looks: the same question put twice (None where the file asks
    for more than one look already, a budget was asked for, or it cannot be had).
    """

    trial: Trial
    goal: Goal
    found: Found
    lines: tuple[Line, ...]
    places: Mapping[str, Chances | None]
    said: tuple[Finding, ...]
    written: bool = False
    two_looks: TwoLooks | None = None


def settle_folder(folder: Path | str, wanted: Wanted, write: bool = False, progress: Progress | None = None) -> Settled:
    """Look for the cheapest plan that settles the question of a trial folder; nothing is frozen.

    write: put the plan into the trial file, every other byte as it was.

    Raises
    ------
    InputError
        If the trial file or what is asked cannot be used, or the plan is frozen and is to be written.
    Infeasible
        If no plan can be had.
    """
    from trials.plan.settling.lines import lines_of, put_in

    trial, file = _trial_of(folder, write)
    problem, known = _problem(trial, wanted)
    goal, space = goal_of(trial, wanted), _space(trial, wanted)
    found = _search(problem, goal, space, progress)
    lines = lines_of(trial, found.best.candidate)
    places = _places(problem, found.best)
    pair = _two_looks(problem, goal, space, found)
    said = (*_told(problem, goal, space, found), *_two_places(problem, goal, space, found, places))
    said = (*said, *(() if pair is None else (_pair_finding(problem, found, pair),)))
    if known is not None:
        said = (*said, *known.findings(problem, found.best, goal.chance))
    made = Settled(trial, goal, found, lines, places, said, two_looks=pair)
    if not write:
        return made
    before = file.read_bytes()
    changed = put_in(before.decode("utf-8"), lines, str(file))
    parse(changed, str(file))
    rewrite(file, before, changed.encode("utf-8"))
    return replace(made, written=True)


def _trial_of(folder: Path | str, write: bool) -> tuple[Trial, Path]:
    place = Path(folder)
    trial, _ = read_trial(place)
    if write and records_place(place, trial) is not None:
        raise InputError(
            "the plan is frozen already",
            file=str(folder),
            do="Leave out --write, change it with `trials amend`, or add coupons with `trials extend`.",
        )
    return trial, place / "trial.toml"


def _problem(trial: Trial, wanted: Wanted) -> tuple[Problem, KnownSpreads | None]:
    from trials.plan.settling.problem import problem_of

    if wanted.spreads_from is None:
        return problem_of(trial), None
    from trials.steps.spreads import spreads_from

    known = spreads_from(trial, wanted.spreads_from)
    return problem_of(known.trial, known.open), known


def _search(problem: Problem, goal: Goal, space: Space, progress: Progress | None) -> Found:
    from trials.plan.settling.search import settle

    return settle(problem, goal, space, progress)


def _told(problem: Problem, goal: Goal, space: Space, found: Found) -> tuple[Finding, ...]:
    from trials.plan.settling.told import told

    return told(problem, goal, space, found)


def goal_of(trial: Trial, wanted: Wanted) -> Goal:
    """What is asked as a goal.

    Raises
    ------
    InputError
        If the chance is none, or the truth is none of those to plan for.
    """
    from trials.plan.settling.request import Goal, If

    chance = wanted.chance if wanted.chance is not None else trial.plan.settle or USUAL_CHANCE
    if not 0.0 < chance < 1.0:
        raise InputError(
            "is no chance",
            column="--settle",
            found=f"{100 * chance:g}",
            allowed="above 0 and below 100",
            do="Change it.",
        )
    if wanted.truth not in [truth.value for truth in If]:
        raise InputError(
            "is none of the truths to plan for",
            column="--settle-if",
            found=wanted.truth,
            allowed=", ".join(truth.value for truth in If),
            do="Choose one of them.",
        )
    return Goal(chance, If(wanted.truth), wanted.all_of_them, wanted.hours, wanted.money)


def _space(trial: Trial, wanted: Wanted) -> Space:
    from trials.plan.settling.request import Space

    for kind, count in wanted.pieces.items():
        if kind not in trial.types:
            raise InputError(
                "is no nozzle type of this trial",
                column="--pieces",
                found=kind,
                allowed=", ".join(trial.types),
                do="Correct the name.",
            )
        if count < 2:
            raise InputError(
                f"one piece of {kind!r} cannot speak for its type",
                column="--pieces",
                found=count,
                allowed="2 or more",
                do="Allow two or more.",
            )
    return Space(most=dict(wanted.pieces), bare=wanted.bare)


def _places(problem: Problem, best: Option) -> Places:
    """Chances of the same coupons at other places and with other curves."""
    from trials.errors import Infeasible

    asked = {
        "today": (PlaceKind.TODAY, None),
        "average": (PlaceKind.AVERAGE, None),
        "common_curves": (problem.question.at, Curves.COMMON),
    }
    found: dict[str, Chances | None] = {}
    for name, (at, curves) in asked.items():
        try:
            found[name] = problem.elsewhere(at, curves).option(best.candidate).chances
        except Infeasible:
            found[name] = None
    return found


def _two_places(problem: Problem, goal: Goal, space: Space, made: Found, places: Places) -> list[Finding]:
    """The chances at both places, and what the answer would cost averaged over the settings if that is less."""
    from trials.plan.kinds import PlanKind

    if not any(len(factor.levels) > 1 for factor in problem.trial.factors.values()):
        return []
    facts: dict[str, Fact] = {name: None if c is None else c.reached(goal) for name, c in places.items()}
    facts |= {"at": problem.question.at, "common": problem.trial.plan.curves is Curves.COMMON}
    facts |= {"average_money": _average_money(problem, goal, space, made), "currency": problem.trial.trial.currency}
    return [Finding(PlanKind.TWO_PLACES, facts=facts)]


def _two_looks(problem: Problem, goal: Goal, space: Space, made: Found) -> TwoLooks | None:
    from trials.plan.settling.two_looks import two_looks

    if problem.trial.plan.looks > 1 or goal.has_budget or not made.reached:
        return None
    return two_looks(problem, goal, space, made.best.candidate)


def _pair_finding(problem: Problem, made: Found, pair: TwoLooks) -> Finding:
    from trials.plan.kinds import PlanKind

    kinds = problem.trial.types
    facts: dict[str, Fact] = {name: value for name, value in asdict(pair).items() if isinstance(value, float)}
    facts |= {"first": tuple(zip(kinds, pair.first, strict=True)), "whole": tuple(zip(kinds, pair.whole, strict=True))}
    facts |= {"one": made.best.bill.money, "currency": problem.trial.trial.currency}
    return Finding(PlanKind.TWO_LOOKS, facts=facts)


def _average_money(problem: Problem, goal: Goal, space: Space, made: Found) -> float | None:
    from trials.errors import Infeasible
    from trials.plan.settling.search import settle

    if problem.question.at is PlaceKind.AVERAGE or goal.has_budget or any(a.open for a in problem.question.asked):
        return None
    below = made.best.bill.money if made.reached else None
    try:
        other = settle(problem.elsewhere(PlaceKind.AVERAGE), goal, replace(space, repeats=(0,)), below=below)
    except Infeasible:
        return None
    return other.best.bill.money if other.reached else None


def falls_short(folder: Path | str) -> bool:
    """True where the trial file asks for a chance that its own plan does not have, or has none at all."""
    from trials.plan.choose import make_plan
    from trials.plan.settling.as_planned import judge_plan
    from trials.plan.settling.problem import problem_of

    trial, _ = read_trial(Path(folder))
    if trial.plan.settle is None or records_place(folder, trial) is not None:
        return False
    chances = judge_plan(problem_of(trial), make_plan(trial)).chances
    return chances is None or min(chances.different, chances.same) < trial.plan.settle - 0.005


def settled_json(made: Settled) -> dict[str, Any]:
    """A plan that settles as plain values.

    Keys: settling{chance_different, chance_same, chance_all_different, chance_all_same, asked, truth, reached, hours,
    machine_hours, bench_hours, money, currency, specimens{type: n}, mounts, coupons, coupons_per_mount, repeats,
    readings (per coupon), sheets, toml, written, places{today, average, common_curves}, two_looks{first{type: n},
    whole{type: n}, stop_different, stop_same, expected_different, expected_same, most} or null}, frontier[] (the same
    without the trial's own keys), said[].
    """
    from trials.plan.settling.lines import as_text

    best = _option_json(made.trial, made.found.best)
    asked = {
        "asked": None if made.goal.has_budget else made.goal.chance,
        "budget_hours": made.goal.hours,
        "budget_money": made.goal.money,
        "truth": made.goal.truth,
        "all_of_them": made.goal.all_of_them,
        "reached": made.found.reached,
        "currency": made.trial.trial.currency,
        "toml": as_text(made.lines),
        "written": made.written,
        "two_looks": _pair_json(made),
        "places": {name: None if found is None else asdict(found) for name, found in made.places.items()},
    }
    frontier = [_option_json(made.trial, option) for option in made.found.frontier]
    return {"schema": 2, "frozen": False, "settling": best | asked, "frontier": frontier, "said": list(made.said)}


def _pair_json(made: Settled) -> dict[str, Any] | None:
    if made.two_looks is None:
        return None
    kinds = made.trial.types
    counts = {name: dict(zip(kinds, getattr(made.two_looks, name), strict=True)) for name in ("first", "whole")}
    return asdict(made.two_looks) | counts


def _option_json(trial: Trial, option: Option) -> dict[str, Any]:
    plan, bill, chances = option.candidate, option.bill, option.chances
    return {
        "chance_different": chances.different,
        "chance_same": chances.same,
        "chance_all_different": chances.all_different,
        "chance_all_same": chances.all_same,
        "hours": bill.hours,
        "machine_hours": bill.machine_hours,
        "bench_hours": bill.bench_hours,
        "money": bill.money,
        "specimens": dict(zip(trial.types, plan.specimens, strict=True)),
        "mounts": plan.n_mounts,
        "coupons": plan.n_coupons,
        "coupons_per_mount": plan.coupons,
        "repeats": plan.repeats,
        "readings": plan.readings,
        "sheets": plan.sheets,
    }


@dataclass(frozen=True)
class Side:
    """One of two plans beside each other; assessment holds the smallest differences."""

    name: str
    trial: Trial
    judged: Judged
    assessment: Assessment

    @property
    def smallest(self) -> dict[str, float]:
        """Smallest difference between types seen with a chance of 80 %, by response, on the model's scale."""
        from trials.plan.assess.questions import Asks

        asked = self.trial.plan.compare_at.value
        found: dict[str, float] = {}
        for line in self.assessment.detectable:
            if line.subject.asks is Asks.TYPES and (line.response not in found or line.subject.at == asked):
                found[line.response] = line.size
        return found


def side_by_side(first: Path | str, second: Path | str) -> tuple[Side, Side]:
    """The plans of two trial folders, each as its file has it now.

    Raises
    ------
    InputError
        If a trial file cannot be used.
    Infeasible
        If one has no plan, or its chance cannot be stated.
    """
    return _side(first), _side(second)


def _side(folder: Path | str) -> Side:
    from trials.plan.assess import assess
    from trials.plan.choose import make_plan
    from trials.plan.settling.as_planned import judge_plan
    from trials.plan.settling.problem import problem_of

    trial, _ = read_trial(Path(folder))
    plan = make_plan(trial)
    return Side(str(folder), trial, judge_plan(problem_of(trial), plan), assess(trial, plan))


def sides_json(sides: tuple[Side, Side]) -> dict[str, Any]:
    """Two plans as plain values: plans[{name, title, hours, money, currency, coupons, pieces, chance_*, smallest}]."""
    return {"schema": 2, "plans": [_side_json(side) for side in sides]}


def _side_json(side: Side) -> dict[str, Any]:
    chances, bill, spent = side.judged.chances, side.judged.bill, side.judged.effort
    return {
        "name": side.name,
        "title": side.trial.trial.title,
        "hours": bill.hours,
        "machine_hours": bill.machine_hours,
        "bench_hours": bill.bench_hours,
        "money": bill.money,
        "currency": side.trial.trial.currency,
        "coupons": spent.coupons,
        "mounts": spent.mounts,
        "sheets": spent.sheets,
        "specimens": dict(side.judged.specimens),
        "chance_different": None if chances is None else chances.different,
        "chance_same": None if chances is None else chances.same,
        "chance_all_different": None if chances is None else chances.all_different,
        "chance_all_same": None if chances is None else chances.all_same,
        "smallest": side.smallest,
    }
