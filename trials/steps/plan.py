"""Plan a trial: propose coupons, freeze them, judge before cutting what they can show; for screen, JSON and paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.doubts import trial_doubts
from trials.errors import InputError
from trials.steps.doubts import refuse
from trials.steps.journal import plan_findings
from trials.store import records as store
from trials.store.records.folder import read_trial, records_place
from trials.store.records.records import Records
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.plan.assess import Assessment, Detectable
    from trials.plan.assess.prediction_map import PredictionMap
    from trials.plan.choose import Plan
    from trials.plan.power import Needed

Progress = Callable[[int, int], None]
SIMULATED = 200
"""Simulated trials per response where the plan has no exact figure."""


def propose(trial: Trial, progress: Progress | None = None) -> Plan:
    """Coupons that answer the trial's question, not written anywhere yet."""
    from trials.plan.choose import make_plan

    return make_plan(trial, progress)


def freeze(folder: Path | str, plan: Plan, at: datetime | None = None) -> Records:
    """Freeze question and plan of a trial folder; from here on changes need `trials amend`."""
    tables = {"coupons": plan.coupons, "mounts": plan.mounts, "sheets": plan.sheets}
    return store.freeze(folder, tables, plan.found, at)


@dataclass(frozen=True)
class Planned:
    """A plan for the question in a folder, judged before cutting; frozen: it was written and cannot change."""

    trial: Trial
    plan: Plan
    assessment: Assessment
    frozen: bool


def plan_folder(
    folder: Path | str,
    freeze_it: bool,
    choosing: Progress | None = None,
    simulating: Progress | None = None,
    as_written: bool = False,
) -> Planned:
    """Choose and judge the coupons of a trial folder; they are frozen only if asked for.

    choosing, simulating: called as progress(done, of) while coupons are chosen and trials simulated; as_written:
    settings that look unlikely (`trials.doubts`) were confirmed.

    Raises
    ------
    InputError
        If the trial file cannot be used, a setting in it is unlikely and was not confirmed, or the plan is frozen
        already and is to be frozen again.
    Infeasible
        If limits, sheets or budget leave no plan.
    """
    trial, text = read_trial(Path(folder))
    if freeze_it and records_place(folder, trial) is not None:
        raise InputError(
            "the plan is frozen already",
            file=str(folder),
            do="Change it with `trials amend`, add coupons with `trials extend`, or start another with `trials new`.",
        )
    if not as_written:
        refuse(trial_doubts(trial, text), folder)
    plan = propose(trial, choosing)
    found = judge(trial, plan, progress=simulating)
    if freeze_it:
        freeze(folder, plan)
    return Planned(trial, plan, found, freeze_it)


def judge(trial: Trial, plan: Plan, trials: int | None = None, progress: Progress | None = None) -> Assessment:
    """What a plan can and cannot show at the spreads that the trial file expects.

    trials: simulated trials per response for what is not exact (0: the approximation alone, None: `SIMULATED`);
    progress: called as progress(done, of) while they run.
    """
    from trials.plan.assess import assess

    return assess(trial, plan, SIMULATED if trials is None else trials, progress)


def frozen_plan(records: Records) -> Plan:
    """The frozen plan of a trial, all its blocks together, with what was said of the newest."""
    from trials.plan.choose import Plan

    return Plan(records.coupons, records.planned_mounts, records.planned_sheets, tuple(plan_findings(records)))


def plan_json(planned: Planned) -> dict[str, Any]:
    """A plan and its assessment as plain values; every sentence stands beside its kind and facts.

    Keys: schema, frozen, coupons[], said[], assessment{questions[{asks, at, factor, question (words), df,
    judged_against, judged}], detectable[{response, asks, at, factor, question, pattern, pattern_words, size (model
    scale), words, df, den_df, exact, simulated (size, or null), chance_at_worthwhile}] with 80 % chance each,
    settled{response: {chance_at_worthwhile, chance_at_zero, specimens_at_worthwhile, specimens_at_zero,
    mounts_at_worthwhile, mounts_at_zero, mounts_known, words}}, cannot_tell_apart[], not_estimated[] (terms),
    effective_coupons{}, efficiency, next_hour{response: {steps[{more, minutes, detectable, less, gain_per_hour}],
    words}}, curves{response: [{varied, count, coupons, readings, df, detectable, planned}]}, effort{coupons, mounts,
    nozzle_changes, sheets, sheet_area_m2, cut_length_m, machine_minutes, bench_minutes, gas_m3, ..., words,
    assumptions[]}, said[]}.
    """
    from trials.words.plan_chances import effort_words, next_hour_words, subject_words

    trial, plan, found = planned.trial, planned.plan, planned.assessment
    return {
        "schema": 2,
        "frozen": planned.frozen,
        "coupons": plan.coupons.astype(object).where(plan.coupons.notna(), None).to_dict(orient="records"),
        "said": list(plan.found),
        "assessment": {
            "questions": [
                {
                    **asdict(q.subject),
                    "question": subject_words(q.subject),
                    "df": q.df,
                    "judged_against": q.rests_on,
                    "judged": q.finding,
                }
                for q in found.questions
            ],
            "detectable": [_detectable(trial, line) for line in found.detectable],
            "settled": {name: _settled(name, needed) for name, needed in found.settle.items()},
            "cannot_tell_apart": list(found.confounded),
            "not_estimated": list(found.dropped),
            "effective_coupons": found.effective_coupons,
            "efficiency": found.efficiency,
            "next_hour": {
                name: {
                    "steps": [asdict(step) | {"gain_per_hour": step.gain_per_hour} for step in steps],
                    "words": next_hour_words(steps),
                }
                for name, steps in found.next_steps.items()
            },
            "curves": {name: curve.to_dict(orient="records") for name, curve in found.curves.items()},
            "effort": asdict(found.effort)
            | {"words": effort_words(found.effort), "assumptions": list(found.effort.assumptions())},
            "said": list(found.found),
        },
    }


def _detectable(trial: Trial, line: Detectable) -> dict[str, Any]:
    from trials.words.plan_chances import difference_words, pattern_words, subject_words

    facts = asdict(line)
    return {
        "response": facts.pop("response"),
        **facts.pop("subject"),
        "question": subject_words(line.subject),
        "pattern_words": pattern_words(line.subject, line.pattern),
        "words": difference_words(trial.quantity(line.response), line.size),
        **facts,
    }


def _settled(name: str, needed: Needed) -> dict[str, Any]:
    from trials.words.plan_chances import settled_words

    return {
        "chance_at_worthwhile": needed.chance_at_worthwhile,
        "chance_at_zero": needed.chance_at_zero,
        "specimens_at_worthwhile": needed.at_worthwhile,
        "specimens_at_zero": needed.at_zero,
        "mounts_at_worthwhile": needed.mounts_at_worthwhile,
        "mounts_at_zero": needed.mounts_at_zero,
        "mounts_known": needed.mounts_known,
        "words": settled_words(name, needed),
    }


def plan_paper(records: Records, made_on: date) -> bytes:
    """The plan as PDF: what it can and cannot show; without simulation, so that it comes out the same each time."""
    from trials.report.plan_paper import PlanPaper, plan_pdf

    trial, plan = records.trial, frozen_plan(records)
    found = judge(trial, plan, 0)
    return plan_pdf(PlanPaper(trial, plan, found, _map(trial, plan, found)), made_on)


def _map(trial: Trial, plan: Plan, found: Assessment) -> PredictionMap | None:
    """Prediction error of today's type, for the first primary response that has expected spreads."""
    from trials.plan.assess.prediction_map import prediction_map

    if not len(found.prediction):
        return None
    known = found.prediction["response"].unique()
    name = next((name for name in trial.primaries if name in known), str(known[0]))
    return prediction_map(trial, plan, name, trial.today.type)
