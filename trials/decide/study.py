"""The whole study of a trial: every response, the nozzle table, what it cannot say, next steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from trials.decide.advice import advice
from trials.decide.chance_result import ChanceResult
from trials.decide.chances import Sources, chances, sources_of
from trials.decide.confirmed import confirmed
from trials.decide.decision_result import Question
from trials.decide.evidence import Evidence
from trials.decide.failing import Failing, failing, fewer_fail
from trials.decide.kinds import StudyKind
from trials.decide.ladder import LadderAnswer, LadderComparison, answer_ladder
from trials.decide.measured import places
from trials.decide.money import money
from trials.decide.more_cutting import more_cutting
from trials.decide.next_steps import next_steps
from trials.decide.response import Studied, fit_response, study_response
from trials.decide.results import Comparison, NozzleRow, ResponseResult, Share, Study, Worded
from trials.decide.window_choice import asks_window
from trials.decide.window_result import BestComparison, WindowStudy
from trials.findings import About, Amount, Fact, Finding, Place, Weight, each_once
from trials.infer.answer import levels
from trials.trial import LOST, Method, Trial


def study(trial: Trial, evidence: Evidence, in_full: bool = False) -> Study:
    """Study every response that has readings and put the answer together.

    in_full: with the operating window though the trial does not ask for it, on a coarser grid.
    """
    late = evidence.look > trial.plan.looks
    shared = levels(trial.deciding, trial.plan.looks)
    alone = levels(1, trial.plan.looks)
    lost = evidence.coupons[evidence.coupons["outcome"].isin(LOST)]
    fits = {n: fit_response(trial, n, evidence.tables[n]) for n in trial.responses if n in evidence.tables}
    results = tuple(
        study_response(trial, found, evidence.allowed, shared if trial.responses[name].primary else alone, late, lost)
        if isinstance(found, Studied)
        else found
        for name, found in fits.items()
    )
    studied = {name: found for name, found in fits.items() if isinstance(found, Studied)}
    today = places(trial, evidence.allowed)["today"]
    dross = evidence.tables.get("dross")
    ladder = answer_ladder(trial, evidence.coupons, dross, shared if trial.clean else alone)
    window = _window(trial, studied, evidence.coupons, dross) if in_full or asks_window(trial) else None
    known = sources_of(trial, studied)
    likely, fails = _chances(trial, studied, today, evidence, known)
    needed = [finding for result in results if result.primary for finding in result.more]
    needed += ladder.more if ladder else ()
    found = Study(
        title=trial.trial.title,
        question=trial.trial.question,
        results=results,
        nozzles=nozzle_rows(trial, results, evidence, ladder, window),
        chances=likely,
        departures=evidence.departures,
        cannot_say=cannot_say(trial, results, evidence, window),
        exploratory=late,
        provisional=bool(evidence.open_slips),
        ladder=ladder,
        window=window,
        confirmed=confirmed(trial, evidence.promised, evidence.tables),
        asks=asked_by(trial),
        fewer=fewer_fail(fails, trial.today.type),
        money=money(trial, today, fails, evidence.lives, ladder),
        more=None if evidence.open_slips else more_cutting(trial, needed, evidence.coupons),
        currency=trial.trial.currency,
    )
    steps = next_steps(trial, results, evidence, ladder, window, advice(found), found.confirmed)
    return replace(found, next_steps=steps)


def _chances(
    trial: Trial, studied: Mapping[str, Studied], place: Place, evidence: Evidence, known: Sources
) -> tuple[tuple[ChanceResult, ...], tuple[Failing, ...]]:
    """Chances at one place with the edges that fail; none of a ladder, whose coupons end where it is no longer clean.

    A cut lost at a high step says nothing of a low one, and no curve over the steps was chosen to hold below the end.
    """
    if asked_by(trial) == Question.LADDER:
        return (), ()
    coupons, dross = evidence.coupons, evidence.tables.get("dross")
    likely = chances(trial, studied, place, coupons, evidence.grades, dross, known)
    return likely, failing(trial, studied, likely, coupons, dross, known)


def _window(
    trial: Trial, studied: Mapping[str, Studied], coupons: pd.DataFrame, dross: pd.DataFrame | None
) -> WindowStudy | None:
    from trials.decide.window import window_of  # loaded only where a window is asked for

    return window_of(trial, studied, coupons, dross)


def asked_by(trial: Trial) -> Question:
    """What a trial asks, by its plan."""
    if trial.plan.method == Method.LADDER:
        return Question.LADDER
    if trial.plan.method == Method.LIFE:
        return Question.LIFE
    return Question.WINDOW if trial.plan.aim == "prediction" else Question.COMPARE


def nozzle_rows(
    trial: Trial,
    results: Sequence[ResponseResult],
    evidence: Evidence,
    ladder: LadderAnswer | None = None,
    window: WindowStudy | None = None,
) -> tuple[NozzleRow, ...]:
    """The manager's table: one line per type, in the order of the trial file; of a window trial, each at its best."""
    rows = []
    compared = _compared(trial, results, ladder, window)
    for nozzle in trial.nozzles:
        own = evidence.coupons[evidence.coupons["nozzle"] == nozzle.type]
        rows.append(
            NozzleRow(
                nozzle=nozzle.type,
                form=nozzle,
                today=nozzle.today,
                price=nozzle.price,
                n_specimens=int(own["specimen"].replace("", pd.NA).nunique()),
                n_coupons=int((own["outcome"] == "cut").sum()),
                n_lost=int(own["outcome"].isin(["not_severed", "aborted", "scrapped"]).sum()),
                means={r.response: m.mean for r in results for m in r.means if m.nozzle == nozzle.type},
                share_met=share_met(trial, evidence.grades, own["coupon"]),
                answers=tuple(
                    Worded(name, c.answer, c.answer_adds)
                    for name, c in compared
                    if c.nozzle == nozzle.type and c.answer
                ),
            )
        )
    return tuple(rows)


def _compared(
    trial: Trial, results: Sequence[ResponseResult], ladder: LadderAnswer | None, window: WindowStudy | None
) -> list[tuple[str, Comparison | LadderComparison | BestComparison]]:
    """Comparisons that end in a word, with their response; where a window is asked, those of each at its best."""
    if window is not None and window.asked:
        return [(window.response, c) for c in window.comparisons]
    clean = ladder.comparisons if ladder else ()
    decisive = [(r.response, c) for r in results if r.primary for c in r.comparisons]
    return [*((trial.clean_name, c) for c in clean), *decisive]


def share_met(trial: Trial, grades: pd.DataFrame, own: pd.Series[str]) -> Share | None:
    """Coupons that met the requirement, lost cuts counted as not meeting, scrapped ones left out; None without one."""
    if not any(value is not None for value in trial.application.required.model_dump().values()):
        return None
    rows = grades[grades["coupon"].isin(own) & ~grades["outcome"].isin(["scrapped", "not_cut", "not cut yet", ""])]
    if rows.empty:
        return None
    return Share(int((rows["meets"] == "yes").sum()), len(rows), int((rows["meets"] == "undecided").sum()))


def cannot_say(
    trial: Trial, results: Sequence[ResponseResult], evidence: Evidence, window: WindowStudy | None = None
) -> tuple[Finding, ...]:
    """What the trial cannot say, most important first."""
    found = [*evidence.confounded]
    if any(r.rests_on is not None and not r.replicated for r in results):
        found.append(Finding(StudyKind.ONLY_THESE_PIECES))
    found += _one_lot(trial, results, evidence)
    if trial.plan.method == "adopted":
        found.append(Finding(StudyKind.ORDER_NOT_KNOWN))
    if trial.deciding > 2:
        found.append(Finding(StudyKind.MANY_PRIMARIES, facts={"n": trial.deciding}))
    beside: dict[str, Fact] = {
        "lives": evidence.lives is not None,
        "cost": trial.costs.stated,
        "window": window is not None,
    }
    found += [other_jobs(trial), _other_settings(trial), Finding(StudyKind.NOT_MEASURED, facts=beside)]
    return each_once(found)


def _one_lot(trial: Trial, results: Sequence[ResponseResult], evidence: Evidence) -> list[Finding]:
    """Compared types all of whose pieces that were cut came from one lot."""
    if not any(r.comparisons for r in results):
        return []
    cut = evidence.coupons.loc[evidence.coupons["outcome"] != "not cut yet", "specimen"]
    return one_lot(trial, cut.astype(str).tolist())


def one_lot(trial: Trial, specimens: Sequence[str]) -> list[Finding]:
    """Types all of whose pieces among these came from one lot, as far as lots are stated."""
    cut = set(specimens)
    lots = {n.type: {lot for s, lot in zip(n.specimens, n.lots, strict=False) if s in cut} for n in trial.nozzles}
    single = {kind: next(iter(own)) for kind, own in lots.items() if len(own) == 1}
    facts: dict[str, Fact] = {"lots": tuple(single.items())}
    about = About(nozzles=tuple(single))
    return [Finding(StudyKind.ONE_LOT, about, facts, Weight.COULD_CHANGE)] if single else []


def other_jobs(trial: Trial) -> Finding:
    """That another job than that of the trial was not looked at."""
    asked = trial.application
    thickness = Amount(asked.thickness_mm, "mm") if asked.thickness_mm else None
    material = None if asked.material == "not given" else asked.material
    facts: dict[str, Fact] = {"thickness": thickness, "material": material or None, "gas": asked.gas or None}
    return Finding(StudyKind.OTHER_JOBS, facts=facts)


def _other_settings(trial: Trial) -> Finding:
    """Facts: of each factor its name, its unit, and its levels as words or as (lowest, highest)."""
    ranges: list[Fact] = []
    for name, factor in trial.factors.items():
        figures = [level for level in factor.levels if not isinstance(level, str)]
        levels: tuple[float | str, ...] = factor.levels if factor.is_text else (min(figures), max(figures))
        ranges.append((name, factor.unit, levels))
    return Finding(StudyKind.OTHER_SETTINGS, facts={"ranges": tuple(ranges)})
