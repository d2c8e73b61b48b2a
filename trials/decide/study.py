"""The whole study of a trial: every response, the nozzle table, the sentence for the manager, limits and next steps."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from trials.decide.chances import chances
from trials.decide.measured import places
from trials.decide.response import Allowed, Studied, explored, fit_response, study_response
from trials.decide.results import Comparison, NozzleRow, ResponseResult, Study
from trials.decide.wording import listed, with_unit
from trials.infer.answer import HOW_MUCH_OPEN, levels
from trials.trial import Trial


@dataclass(frozen=True)
class Evidence:
    """What was recorded, ready to be studied.

    tables: by response, as-cut readings; coupons: one row per planned or cut coupon with nozzle, specimen, outcome;
    grades: one row per coupon with meets; allowed: planned settings of each type; departures: sentences;
    confounded: sentences on what the plan cannot tell apart; look: which look at the data this is (1 first).
    """

    tables: Mapping[str, pd.DataFrame]
    coupons: pd.DataFrame
    grades: pd.DataFrame
    allowed: Allowed
    departures: tuple[str, ...] = ()
    confounded: tuple[str, ...] = ()
    open_slips: tuple[str, ...] = ()
    look: int = 1


def study(trial: Trial, evidence: Evidence) -> Study:
    """Study every response that has readings and put the answer together."""
    first = levels(max(1, len(trial.primaries)), trial.plan.looks)
    second = levels(1, trial.plan.looks)
    fits = {n: fit_response(trial, n, evidence.tables[n]) for n in trial.responses if n in evidence.tables}
    results = [
        study_response(trial, found, evidence.allowed, first if trial.responses[name].primary else second)
        if isinstance(found, Studied)
        else found
        for name, found in fits.items()
    ]
    late = evidence.look > trial.plan.looks
    results = [explored(r) if late else r for r in results]
    studied = {name: found for name, found in fits.items() if isinstance(found, Studied)}
    today = places(trial, evidence.allowed)["today"]
    return Study(
        title=trial.trial.title,
        question=trial.trial.question,
        sentence=answer_sentence(trial, results),
        results=tuple(results),
        nozzles=nozzle_rows(trial, results, evidence),
        chances=chances(trial, studied, today, evidence.coupons, evidence.grades, evidence.tables.get("dross")),
        departures=evidence.departures,
        cannot_say=cannot_say(trial, results, evidence),
        next_steps=next_steps(trial, results, evidence),
        exploratory=late,
    )


def answer_sentence(trial: Trial, results: Sequence[ResponseResult]) -> str:
    """The answer in one sentence, from the primary responses."""
    parts = [_response_clause(trial, result) for result in results if result.primary and result.comparisons]
    if not parts:
        if len(trial.nozzles) < 2:
            return "One nozzle type was cut, so there is nothing to compare."
        return "No answer yet: the decisive response has no readings that can be compared."
    return " ".join(parts)


def _response_clause(trial: Trial, result: ResponseResult) -> str:
    against, place = result.comparisons[0].against, result.comparisons[0].settings
    short = trial.quantity(result.response).short
    said = [
        f"{c.nozzle} is {c.answer} than today's {against}{_added(c)} ({short} {size_words(c, result.unit)})"
        for word in ("better", "worse")
        for c in result.comparisons
        if c.answer == word
    ]
    for word in ("same for practical purposes", "not settled"):
        names = [c.nozzle for c in result.comparisons if c.answer == word]
        if names:
            said.append(f"{listed(names)}: {word}")
    open_ = " Nothing above the coupon was repeated." if "nothing above" in result.rests_on else ""
    where = place if place.startswith("average") else f"at {place}"
    return f"{'; '.join(said)} ({where}{'' if said[0].find(short) >= 0 else f', by {short}'}).{open_}"


def _added(c: Comparison) -> str:
    if c.answer_adds == HOW_MUCH_OPEN:
        return f", {HOW_MUCH_OPEN}"
    return f" {c.answer_adds}" if c.answer_adds else ""


def size_words(c: Comparison, unit: str) -> str:
    """The size of a comparison with its interval: `33 % lower, interval 19 to 45 %`."""
    if c.kind == "difference":
        size = f"{c.value:+.3g} {unit}".strip()
        return size if math.isnan(c.low) else f"{size}, interval {c.low:+.3g} to {c.high:+.3g}"
    value, low, high = (100 * (x - 1) for x in (c.value, c.low, c.high))
    if math.isnan(low):
        return f"{abs(value):.0f} % {'lower' if value < 0 else 'higher'}"
    if high < 0:
        return f"{-value:.0f} % lower, interval {-high:.0f} to {-low:.0f} %"
    if low > 0:
        return f"{value:.0f} % higher, interval {low:.0f} to {high:.0f} %"
    return f"{value:+.0f} %, interval {low:+.0f} to {high:+.0f} %"


def nozzle_rows(trial: Trial, results: Sequence[ResponseResult], evidence: Evidence) -> tuple[NozzleRow, ...]:
    """The manager's table: one line per type, today's first as in the trial file."""
    rows = []
    for nozzle in trial.nozzles:
        own = evidence.coupons[evidence.coupons["nozzle"] == nozzle.type]
        cut = own[own["outcome"] == "cut"]
        means = {
            r.response: with_unit(m.mean, trial.quantity(r.response))
            for r in results
            for m in r.means
            if m.nozzle == nozzle.type
        }
        words = [_short_word(c) for r in results if r.primary for c in r.comparisons if c.nozzle == nozzle.type]
        rows.append(
            NozzleRow(
                nozzle=nozzle.type,
                described=nozzle.described(),
                today=nozzle.today,
                price=nozzle.price,
                n_specimens=int(own["specimen"].replace("", pd.NA).nunique()),
                n_coupons=len(cut),
                n_lost=int(own["outcome"].isin(["not_severed", "aborted", "scrapped"]).sum()),
                means=means,
                share_met=_share_met(trial, evidence.grades, own["coupon"]),
                answer="today's nozzle" if nozzle.today else "; ".join(w for w in words if w),
            )
        )
    return tuple(rows)


def _short_word(c: Comparison) -> str:
    if c.answer is None:
        return ""
    return f"{c.answer}, {c.answer_adds}" if c.answer == "better" and c.answer_adds else c.answer


def _share_met(trial: Trial, grades: pd.DataFrame, own: pd.Series) -> str:
    """`22 of 27` coupons that met the requirement, lost cuts counted as not meeting, scrapped ones left out."""
    if not any(value is not None for value in trial.application.required.model_dump().values()):
        return ""
    rows = grades[grades["coupon"].isin(own) & ~grades["outcome"].isin(["scrapped", "not cut yet", ""])]
    if rows.empty:
        return ""
    open_ = int((rows["meets"] == "undecided").sum())
    text = f"{int((rows['meets'] == 'yes').sum())} of {len(rows)}"
    return f"{text} ({open_} undecided)" if open_ else text


def cannot_say(trial: Trial, results: Sequence[ResponseResult], evidence: Evidence) -> tuple[str, ...]:
    """What the trial cannot say, most important first."""
    said = list(evidence.confounded)
    bare = [r for r in results if r.rests_on.endswith("nothing above the coupon was repeated")]
    if bare:
        said.append(
            "Whether the difference belongs to the nozzle type: no second piece or second fitting of a type was cut, "
            "so another nozzle of the same type may do otherwise."
        )
    if trial.plan.method == "adopted":
        said.append("Whether the order of cutting was random: this table was cut without a plan of this tool.")
    if len(trial.primaries) > 2:
        said.append(f"{len(trial.primaries)} responses were called decisive: each answer is the weaker for it.")
    said.append(f"Anything about {_job(trial)}.")
    said.append(f"Anything outside the settings that were cut ({_ranges(trial)}).")
    said.append("Lens life and nozzle life: not measured here. Best settings, operating window and cost: not computed.")
    return tuple(dict.fromkeys(said))


def _job(trial: Trial) -> str:
    asked = trial.application
    parts = [
        f"{asked.thickness_mm:g} mm" if asked.thickness_mm else "",
        "" if asked.material == "not given" else asked.material,
        f"with {asked.gas}" if asked.gas else "",
    ]
    named = " ".join(part for part in parts if part)
    return f"another material, thickness or gas than {named}" if named else "another material, thickness or gas"


def _ranges(trial: Trial) -> str:
    parts = []
    for name, factor in trial.factors.items():
        if factor.is_text:
            parts.append(f"{name} {listed(factor.levels)}")
        else:
            parts.append(f"{name} {min(factor.levels):g} to {max(factor.levels):g} {factor.unit}".rstrip())
    return ", ".join(parts) or "one setting"


def next_steps(trial: Trial, results: Sequence[ResponseResult], evidence: Evidence) -> tuple[str, ...]:
    """What to do next, most urgent first."""
    steps = [f"Settle this reading first: {text}" for text in evidence.open_slips]
    undone = int((evidence.coupons["outcome"] == "not cut yet").sum())
    if undone:
        steps.append(f"{undone} planned coupons are not recorded as cut: record them or say why not.")
    for result in results:
        if not result.primary:
            continue
        for c in result.comparisons:
            if c.answer == "better":
                steps.append(_if_better(trial, c))
        steps += list(result.more)
    steps += [c.sentence for r in results if r.primary for c in r.checks if c.flagged and c.name == "centring"]
    return tuple(dict.fromkeys(steps)) or ("File this verdict; no further step follows from the decisive response.",)


def _if_better(trial: Trial, c: Comparison) -> str:
    nozzle = next(n for n in trial.nozzles if n.type == c.nozzle)
    today = trial.today
    price = ""
    if nozzle.price is not None and today.price is not None:
        price = f" ({nozzle.price:.2f} against {today.price:.2f} {trial.trial.currency} a piece)"
    return f"Consider {c.nozzle} for this job at {c.settings}{price}; confirm with a few parts before changing over."
