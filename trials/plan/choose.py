"""From the question to the coupons: each planning method ends in the same tables of coupons, mounts and sheets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import Infeasible, InputError
from trials.findings import Finding, each_once
from trials.plan.cautions import no_worthwhile, nozzle_cautions
from trials.plan.confounding import confounded
from trials.plan.kinds import PlanKind
from trials.plan.layout import LAYOUT_COLUMNS, LayoutRequest, lay_out, sheet_balance
from trials.plan.methods import coded
from trials.plan.methods import plain as methods
from trials.plan.methods.budget import within_budget
from trials.plan.methods.plain import Draft, Progress
from trials.trial import Method, Trial

Planner = Callable[[Trial, np.random.Generator, Progress | None], Draft]
_PLANNERS: dict[Method, Planner] = {
    Method.FULL: methods.full,
    Method.FRACTION: coded.fraction,
    Method.SCREENING: coded.screening,
    Method.SURFACE: coded.surface,
    Method.OPTIMAL: within_budget,
    Method.LADDER: methods.ladder,
    Method.LIFE: methods.life,
    Method.BENCH: methods.bench,
    Method.PILOT: coded.pilot,
}


@dataclass(frozen=True)
class Plan:
    """What is to be cut.

    coupons: one row per coupon in cutting order (see `trials.plan.layout.lay_out`); mounts: `mount, order, sheet,
    nozzle, specimen`; sheets: `sheet`, in the order of loading; found: what the reader has to know, most important
    first.
    """

    coupons: pd.DataFrame
    mounts: pd.DataFrame
    sheets: pd.DataFrame
    found: tuple[Finding, ...] = ()


def make_plan(trial: Trial, progress: Progress | None = None) -> Plan:
    """Choose the coupons of a trial and lay them out; the same trial and seed give the same plan.

    progress: called as progress(done, of) while an optimal plan is searched for.

    Raises
    ------
    Infeasible
        If the limits, the number of sheets, the sheet's size or the budget leave no plan; the text gives the reason.
    InputError
        If a factor takes the name of a column of the plan.
    """
    _check(trial)
    rng = np.random.default_rng(trial.plan.seed)
    return finish(trial, _PLANNERS[trial.plan.method](trial, rng, progress), rng)


def _check(trial: Trial) -> None:
    if trial.plan.method not in _PLANNERS:
        raise Infeasible(
            f"plan.method '{trial.plan.method}' chooses no coupons; use one of {', '.join(_PLANNERS)}, or "
            "`trials adopt` for a table that was cut already."
        )
    reserved = {"coupon", "order", "sheet", "mount", "nozzle", "specimen", *LAYOUT_COLUMNS}
    for name in trial.factors:
        if name in reserved or trial.factor_column(name) in reserved:
            raise InputError(
                f"factor {name!r} has the name of a column of the plan", column=f"factors.{name}", do="Rename it."
            )


def finish(trial: Trial, draft: Draft, rng: np.random.Generator) -> Plan:
    """Lay the coupons out and put everything that has to be said in one list, most important first."""
    coupons, places = lay_out(trial, LayoutRequest(draft.mounts, draft.runs), rng)
    sheets = pd.DataFrame({"sheet": coupons["sheet"].drop_duplicates().to_list()})
    used = [nozzle for nozzle in trial.nozzles if nozzle.type in set(draft.mounts["nozzle"])]
    found = [
        Finding(PlanKind.SIZE, facts=plan_size(coupons, draft.mounts, sheets)),
        *no_worthwhile(trial),
        *(confounded(trial) if len(used) == len(trial.nozzles) else []),
        *draft.found,
        *sheet_balance(draft.mounts),
        *places,
        *nozzle_cautions(trial, used),
    ]
    first = coupons.drop_duplicates("mount").set_index("mount")["sheet"]
    mounts = draft.mounts.assign(sheet=draft.mounts["mount"].map(first).fillna(draft.mounts["sheet"]))
    return Plan(coupons, mounts, sheets, each_once(found))


def plan_size(coupons: pd.DataFrame, mounts: pd.DataFrame, sheets: pd.DataFrame) -> dict[str, int]:
    """How big the plan is: number of coupons, mounts, specimens and sheets."""
    return {
        "coupons": len(coupons),
        "mounts": len(mounts),
        "specimens": int(mounts["specimen"].nunique()),
        "sheets": len(sheets),
    }
