"""A plan judged before cutting: for the screen, for JSON and for paper."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

from trials.steps.plan import Progress
from trials.store.records.records import Records
from trials.trial import Trial, amount_on_scale

if TYPE_CHECKING:
    from trials.plan.assess import Assessment
    from trials.plan.assess.prediction_map import PredictionMap
    from trials.plan.choose import Plan

SIMULATED = 200
"""Simulated trials per response where the plan has no exact figure."""


def judge(trial: Trial, plan: Plan, trials: int = SIMULATED, progress: Progress | None = None) -> Assessment:
    """What a plan can and cannot show at the spreads that the trial file expects.

    trials: simulated trials per response for what is not exact (0: the approximation alone); progress: called as
    progress(done, of) while they run.
    """
    from trials.plan.assess import assess

    return assess(trial, plan, trials, progress)


def planned(records: Records) -> Plan:
    """The frozen plan of a trial, all its blocks together."""
    from trials.plan.choose import Plan

    return Plan(records.coupons, records.planned_mounts, records.planned_sheets, ())


def assessment_json(trial: Trial, found: Assessment) -> dict[str, Any]:
    """An assessment as plain values.

    Keys: questions[{question, df, judged_against, sentence}], detectable[{response, question, pattern, size (model
    scale), words, df, den_df, exact, simulated (size, or null), chance_at_worthwhile}] with 80 % chance each,
    settled{response: {chance_at_worthwhile, chance_at_zero, specimens_at_worthwhile, specimens_at_zero,
    mounts_at_worthwhile, mounts_at_zero, sentence}}, cannot_tell_apart[], not_estimated[], effective_coupons{},
    efficiency, next_hour{response: sentence}, curves{response: [{varied, count, coupons, readings, df, detectable,
    planned}]}, effort{coupons, mounts, nozzle_changes, sheets, sheet_area_m2, cut_length_m, machine_minutes,
    bench_minutes, gas_m3, assumptions[]}, said[].
    """
    degrees = {question.name: question.df for question in found.questions}
    return {
        "questions": [
            {"question": q.name, "df": q.df, "judged_against": q.rests_on, "sentence": q.sentence}
            for q in found.questions
        ],
        "detectable": [asdict(line) | {"df": degrees[line.question]} for line in found.detectable],
        "settled": {name: _settled(needed) for name, needed in found.settle.items()},
        "cannot_tell_apart": list(found.confounded),
        "not_estimated": list(found.dropped),
        "effective_coupons": found.effective_coupons,
        "efficiency": found.efficiency,
        "next_hour": found.next_hour,
        "curves": {name: curve.to_dict(orient="records") for name, curve in found.curves.items()},
        "effort": asdict(found.effort),
        "said": other_sentences(trial, found),
    }


def amount_words(trial: Trial, name: str, size: float) -> str:
    """A difference on the model's scale as people read it: `32.0 %` or `0.058 mm`."""
    import math

    from trials.units import shown

    quantity = trial.quantity(name)
    if quantity.scale == "log":
        return f"{100 * math.expm1(size):.1f} %"
    return f"{size:.2g} {shown(quantity.unit)}".strip()


def _settled(needed: Any) -> dict[str, Any]:
    return {
        "chance_at_worthwhile": needed.chance_at_worthwhile,
        "chance_at_zero": needed.chance_at_zero,
        "specimens_at_worthwhile": needed.at_worthwhile,
        "specimens_at_zero": needed.at_zero,
        "mounts_at_worthwhile": needed.mounts_at_worthwhile,
        "mounts_at_zero": needed.mounts_at_zero,
        "sentence": needed.sentence,
    }


def other_sentences(trial: Trial, found: Assessment) -> list[str]:
    """What the assessment says beside its tables; a life trial gets the ratio of lives that it can see."""
    told = {question.sentence for question in found.questions}
    told |= {found.effort.sentence, *found.confounded, *(f"{name}: {text}" for name, text in found.next_hour.items())}
    heads = tuple(f"{line.response}, {line.question}:" for line in found.detectable)
    heads += tuple(f"{name}: chance of a settled answer" for name in found.settle)
    lines = [line for line in found.said if line not in told and not line.startswith(heads)]
    if trial.plan.method == "life":
        return [f"{name}: {_life_words(trial, name)}" for name in trial.primaries]
    return lines


def _life_words(trial: Trial, name: str) -> str:
    """The ratio of lives that a life trial detects, from the spread expected between specimens."""
    from trials.infer.life import detectable_ratio

    asked = trial.responses[name].expected
    if asked is None or asked.specimen is None:
        return "what the plan detects cannot be said, no spread between specimens is expected."
    sd = amount_on_scale(asked.specimen, trial.quantity(name), asked.level, f"responses.{name}.expected.specimen")
    counts = [len(nozzle.specimens) for nozzle in trial.nozzles]
    ratio = detectable_ratio(sd, min(counts))
    return (
        f"if all {min(counts)} specimens of each of two types fail, a ratio of lives of {ratio:.2f} is detected with "
        "a chance of 80 % (normal approximation, Weibull lives); each specimen that does not fail tells less."
    )


def plan_paper(records: Records, said: list[str], made_on: date) -> bytes:
    """The plan as PDF: what it can and cannot show; without simulation, so that it comes out the same each time."""
    from trials.report.plan_paper import plan_pdf

    trial, plan = records.trial, planned(records)
    found = judge(trial, plan, 0)
    map_ = _map(trial, plan, found)
    return plan_pdf(trial, records.coupons, found, map_, said, other_sentences(trial, found), made_on)


def _map(trial: Trial, plan: Plan, found: Assessment) -> PredictionMap | None:
    """Prediction error of today's type, for the first primary response that has expected spreads."""
    from trials.plan.assess.prediction_map import prediction_map

    if not len(found.prediction):
        return None
    known = found.prediction["response"].unique()
    name = next((name for name in trial.primaries if name in known), str(known[0]))
    return prediction_map(trial, plan, name, trial.today.type)
