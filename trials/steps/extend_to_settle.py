"""Going on until the question is settled: the cheapest extension of a trial that was cut, new specimens included."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import Infeasible, InputError
from trials.findings import Fact, Finding, Weight, each_once
from trials.steps.extend import Extension, check_extendable, declaration, extension_json
from trials.steps.settling import Wanted, goal_of
from trials.store.records import NOT_CUT, Records, coupon_table, load, retired
from trials.trial import Outcome, Trial

if TYPE_CHECKING:
    from trials.plan.settling.further import FoundFurther, FurtherSpace, Given
    from trials.plan.settling.problem import Problem
    from trials.plan.settling.request import Goal

Progress = Callable[[int, int], None]
Marks = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class SettlingExtension:
    """The cheapest extension that settles.

    extension: its coupons, as `add_extension` takes it; found: what the search ended with; goal: what was asked; new:
    marks of new specimens by type; again: specimens that are mounted once more.
    """

    extension: Extension
    found: FoundFurther
    goal: Goal
    currency: str
    new: Marks
    again: Marks


def settling_extension(
    folder: Path | str, wanted: Wanted, nozzles: Sequence[str] = (), progress: Progress | None = None
) -> SettlingExtension:
    """Look for the cheapest extension of a trial that was cut after which it settles; nothing is written.

    wanted: as for `settle_folder`; pieces are new specimens that can be had; budgets are not asked for here. nozzles:
    types to extend beside today's, all where empty. Spreads are those that the trial's own readings show, with what
    they leave open, else the expected ones. The difference seen so far plays no part.

    Raises
    ------
    InputError
        If nothing is frozen or cut yet, the trial cannot be extended, or what is asked cannot be read.
    Infeasible
        If the trial has the asked chance already, or nothing can be added.
    """
    from trials.plan.settling.further import settle_further

    records = load(folder)
    check_extendable(records)
    trial = records.trial
    space = _space(trial, wanted, nozzles)
    problem, spreads = _problem(records)
    goal = goal_of(trial, wanted)
    given = _given(records, problem, space)
    found = settle_further(given, goal, space, progress)
    return _laid_out(records, _Search(given, goal, found, spreads))


@dataclass(frozen=True)
class _Search:
    given: Given
    goal: Goal
    found: FoundFurther
    spreads: tuple[Finding, ...]


def _space(trial: Trial, wanted: Wanted, nozzles: Sequence[str]) -> FurtherSpace:
    from trials.plan.settling.further import FurtherSpace

    for option, names in (("--nozzle", nozzles), ("--pieces", wanted.pieces)):
        unknown = next((name for name in names if name not in trial.types), None)
        if unknown is not None:
            raise InputError(
                "is no nozzle type of this trial",
                column=option,
                found=unknown,
                allowed=", ".join(trial.types),
                do="Correct the name.",
            )
    kept = {trial.today.type, *(nozzles or trial.types)}
    return FurtherSpace(tuple(kind for kind in trial.types if kind in kept), dict(wanted.pieces))


def _problem(records: Records) -> tuple[Problem, tuple[Finding, ...]]:
    """The problem at the spreads of the trial's own readings, or at the expected ones; and which they are."""
    from trials.plan.kinds import PlanKind
    from trials.plan.settling.problem import problem_of
    from trials.steps.spreads import spreads_from

    try:
        known = spreads_from(records.trial, records.folder)
    except InputError:
        return problem_of(records.trial), (Finding(PlanKind.FURTHER_BY_EXPECTED),)
    dfs: tuple[Fact, ...] = tuple((name, spread.df) for name, spread in known.spreads.items())
    said = Finding(PlanKind.FURTHER_BY_OWN, facts={"dfs": dfs})
    return problem_of(known.trial, known.open), (said,)


def _given(records: Records, problem: Problem, space: FurtherSpace) -> Given:
    """Coupons that cut, and those that still will be; pieces that can still be mounted."""
    from trials.plan.settling.further import Given

    table = coupon_table(records)
    kept = table[table["outcome"].isin([Outcome.CUT.value, NOT_CUT])].reset_index(drop=True)
    missing = sorted(set(records.trial.types) - set(kept["nozzle"]))
    if missing:
        raise Infeasible(f"Nothing of {missing[0]!r} was cut, so no chance can be stated; extend in another way.")
    gone = {one.specimen for one in retired(records)}
    there = {
        nozzle.type: tuple(mark for mark in nozzle.specimens if mark not in gone)
        for nozzle in records.trial.nozzles
        if nozzle.type in space.types
    }
    return Given(problem, kept, there)


def _laid_out(records: Records, search: _Search) -> SettlingExtension:
    from trials.plan.extend import SettlingBlock, settling_block

    trial, best = records.trial, search.found.best.further
    there = search.given.there if best.again else {}
    new = _new_marks(trial, best.new)
    pieces = {kind: (*there.get(kind, ()), *new.get(kind, ())) for kind in trial.types}
    block = int(records.coupons["block"].max()) + 1
    asked = SettlingBlock(pieces, best.coupons, best.repeats, best.sheets, trial.plan.seed + block)
    plan = settling_block(_with_pieces(trial, new), records.coupons, records.mounts, asked)
    lead, *rest = plan.found
    said = each_once([lead, _settles(trial, search, new, there), *search.spreads, declaration(records), *rest])
    declared = len(records.looks) < trial.plan.looks
    extension = Extension(replace(plan, found=said), block, declared, new)
    return SettlingExtension(extension, search.found, search.goal, trial.trial.currency, new, there)


def _new_marks(trial: Trial, counts: Sequence[int]) -> dict[str, tuple[str, ...]]:
    from trials.plan.settling.lines import more_marks

    taken = {mark for nozzle in trial.nozzles for mark in nozzle.specimens}
    found = {}
    for nozzle, count in zip(trial.nozzles, counts, strict=True):
        marks = more_marks(nozzle.type, list(nozzle.specimens), count, taken)
        taken |= set(marks)
        if marks:
            found[nozzle.type] = tuple(marks)
    return found


def _with_pieces(trial: Trial, new: Marks) -> Trial:
    grown = tuple(n.model_copy(update={"specimens": (*n.specimens, *new.get(n.type, ()))}) for n in trial.nozzles)
    return trial.model_copy(update={"nozzles": grown})


def _settles(trial: Trial, search: _Search, new: Marks, there: Marks) -> Finding:
    from trials.plan.kinds import PlanKind

    best, now = search.found.best, search.found.now
    facts: dict[str, Fact] = {
        **asdict(best.chances),
        "now_different": now.different,
        "now_same": now.same,
        "asked": search.goal.chance,
        "reached": search.found.reached,
        "hours": best.bill.hours,
        "machine_hours": best.bill.machine_hours,
        "bench_hours": best.bill.bench_hours,
        "money": best.bill.money,
        "currency": trial.trial.currency,
        "new": tuple((kind, marks) for kind, marks in new.items()),
        "again": sum(len(marks) for marks in there.values()),
        "coupons": best.further.coupons,
        "repeats": best.further.repeats,
    }
    weight = Weight.PLAIN if search.found.reached else Weight.COULD_CHANGE
    return Finding(PlanKind.FURTHER_SETTLES, facts=facts, weight=weight)


def settling_extension_json(made: SettlingExtension, added: bool) -> dict[str, Any]:
    """The cheapest extension that settles as plain values.

    Keys: those of `extension_json`, and settling{asked, truth, all_of_them, reached, chance_different, chance_same,
    chance_all_different, chance_all_same, now_different, now_same, hours, machine_hours, bench_hours, money, currency,
    new{type: marks}, again{type: marks}, mounts, coupons, coupons_per_mount, repeats, sheets}.
    """
    best, now, plan = made.found.best, made.found.now, made.extension.plan
    settling = {
        "asked": made.goal.chance,
        "truth": made.goal.truth,
        "all_of_them": made.goal.all_of_them,
        "reached": made.found.reached,
        **{f"chance_{name}": value for name, value in asdict(best.chances).items()},
        "now_different": now.different,
        "now_same": now.same,
        "hours": best.bill.hours,
        "machine_hours": best.bill.machine_hours,
        "bench_hours": best.bill.bench_hours,
        "money": best.bill.money,
        "currency": made.currency,
        "new": {kind: list(marks) for kind, marks in made.new.items()},
        "again": {kind: list(marks) for kind, marks in made.again.items()},
        "mounts": len(plan.mounts),
        "coupons": len(plan.coupons),
        "coupons_per_mount": best.further.coupons,
        "repeats": best.further.repeats,
        "sheets": best.further.sheets,
    }
    return extension_json(made.extension, added) | {"settling": settling}
