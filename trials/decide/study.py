"""The whole study of a trial: every response, the nozzle table, what it cannot say, next steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from trials.commands import Blank, Command
from trials.decide.chances import chances
from trials.decide.confirmed import confirmed
from trials.decide.decision_result import Question
from trials.decide.failing import failing, fewer_fail
from trials.decide.kinds import StudyKind
from trials.decide.known_lives import KnownLives
from trials.decide.ladder import LadderAnswer, LadderComparison, LadderKind, answer_ladder
from trials.decide.measured import places
from trials.decide.money import money
from trials.decide.more_cutting import more_cutting
from trials.decide.response import Allowed, Studied, fit_response, study_response
from trials.decide.results import Comparison, NextStep, NozzleRow, ResponseResult, Share, Study, Worded
from trials.decide.window import asks_window, window_of
from trials.decide.window_result import WindowStudy
from trials.findings import About, Amount, Fact, Finding, Place, PlaceKind, Weight, each_once
from trials.infer.answer import Answer, levels
from trials.plan.kinds import PlanKind
from trials.trial import LOST, Method, Trial

EXTEND = Command("extend", (Blank.FOLDER,))


@dataclass(frozen=True)
class Evidence:
    """What was recorded, ready to be studied.

    tables: by response, as-cut readings; coupons: one row per planned or cut coupon with nozzle, specimen, outcome;
    grades: one row per coupon with meets; allowed: planned settings of each type; departures: from the plan;
    confounded: what the plan cannot tell apart; open_slips: readings nobody confirmed; look: which look at the data
    this is (1 first); lives: of nozzle types, from a life trial or as stated; promised: limits that coupons cut to
    confirm a best must fall in, with the number of their block.
    """

    tables: Mapping[str, pd.DataFrame]
    coupons: pd.DataFrame
    grades: pd.DataFrame
    allowed: Allowed
    departures: tuple[Finding, ...] = ()
    confounded: tuple[Finding, ...] = ()
    open_slips: tuple[Finding, ...] = ()
    look: int = 1
    lives: KnownLives | None = None
    promised: tuple[tuple[int, Finding], ...] = ()


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
    window = window_of(trial, studied, evidence.coupons, dross) if in_full or asks_window(trial) else None
    likely = chances(trial, studied, today, evidence.coupons, evidence.grades, dross)
    fails = failing(trial, studied, likely, evidence.coupons, dross)
    needed = [finding for result in results if result.primary for finding in result.more]
    needed += ladder.more if ladder else ()
    return Study(
        title=trial.trial.title,
        question=trial.trial.question,
        results=results,
        nozzles=nozzle_rows(trial, results, evidence, ladder),
        chances=likely,
        departures=evidence.departures,
        cannot_say=cannot_say(trial, results, evidence, window),
        next_steps=next_steps(trial, results, evidence, ladder, window),
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


def asked_by(trial: Trial) -> Question:
    """What a trial asks, by its plan."""
    if trial.plan.method == Method.LADDER:
        return Question.LADDER
    if trial.plan.method == Method.LIFE:
        return Question.LIFE
    return Question.WINDOW if trial.plan.aim == "prediction" else Question.COMPARE


def nozzle_rows(
    trial: Trial, results: Sequence[ResponseResult], evidence: Evidence, ladder: LadderAnswer | None = None
) -> tuple[NozzleRow, ...]:
    """The manager's table: one line per type, in the order of the trial file."""
    rows = []
    for nozzle in trial.nozzles:
        own = evidence.coupons[evidence.coupons["nozzle"] == nozzle.type]
        named = [(r, c) for r in results if r.primary for c in r.comparisons if c.nozzle == nozzle.type]
        clean = [c for c in ladder.comparisons if c.nozzle == nozzle.type] if ladder else []
        words = [Worded(trial.clean_name, c.answer, c.answer_adds) for c in clean if c.answer is not None]
        words += [Worded(r.response, c.answer, c.answer_adds) for r, c in named if c.answer is not None]
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
                answers=tuple(words),
            )
        )
    return tuple(rows)


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
    found += [_other_jobs(trial), _other_settings(trial), Finding(StudyKind.NOT_MEASURED, facts=beside)]
    return each_once(found)


def _one_lot(trial: Trial, results: Sequence[ResponseResult], evidence: Evidence) -> list[Finding]:
    """Compared types all of whose pieces that were cut came from one lot, as far as lots are stated."""
    if not any(r.comparisons for r in results):
        return []
    cut = set(evidence.coupons.loc[evidence.coupons["outcome"] != "not cut yet", "specimen"].astype(str))
    lots = {n.type: {lot for s, lot in zip(n.specimens, n.lots, strict=False) if s in cut} for n in trial.nozzles}
    single = {kind: next(iter(own)) for kind, own in lots.items() if len(own) == 1}
    facts: dict[str, Fact] = {"lots": tuple(single.items())}
    about = About(nozzles=tuple(single))
    return [Finding(StudyKind.ONE_LOT, about, facts, Weight.COULD_CHANGE)] if single else []


def _other_jobs(trial: Trial) -> Finding:
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


def next_steps(
    trial: Trial,
    results: Sequence[ResponseResult],
    evidence: Evidence,
    ladder: LadderAnswer | None = None,
    window: WindowStudy | None = None,
) -> tuple[NextStep, ...]:
    """What to do next, most urgent first; while a reading is open, how much more to cut is not told: it leans on it."""
    steps = [_settle(slip) for slip in evidence.open_slips]
    undone = int((evidence.coupons["outcome"] == "not cut yet").sum())
    if undone:
        cut = Command("cut", (Blank.FOLDER, Blank.FILE))
        steps.append(NextStep(Finding(StudyKind.NOT_RECORDED_AS_CUT, facts={"n": undone}), command=cut))
    if ladder is not None:
        steps += _after_ladder(trial, ladder)
    if window is not None and window.asked and not evidence.promised:
        steps += _after_window(trial, window)
    decisive = [r for r in results if r.primary]
    for result in decisive:
        better = [c for c in result.comparisons if c.answer == Answer.BETTER]
        steps += [_if_better(trial, result.response, result.pieces, c) for c in better]
        told = [f for f in result.more if f.kind != PlanKind.NEEDED or not evidence.open_slips]
        steps += [NextStep(finding, command=EXTEND) for finding in told]
    for result in decisive:
        for check in result.checks:
            if check.kind == StudyKind.CENTRING and check.weight != Weight.NOTHING_FOUND:
                steps.append(NextStep(Finding(StudyKind.CHECK_CENTRING, weight=Weight.LOOK_AT), check))
    filed = NextStep(Finding(StudyKind.FILE_VERDICT), command=Command("verdict", (Blank.FOLDER,)))
    return tuple(_each_once(steps)) or (filed,)


def _each_once(steps: Sequence[NextStep]) -> list[NextStep]:
    kept: list[NextStep] = []
    for step in steps:
        if step not in kept:
            kept.append(step)
    return kept


def _settle(slip: Finding) -> NextStep:
    """A reading to look at again; the command with the coupon where the records name it."""
    return NextStep(
        Finding(StudyKind.SETTLE_READING, weight=Weight.COULD_CHANGE),
        slip,
        Command("correct", (Blank.FOLDER, *slip.about.coupons)),
    )


def _after_ladder(trial: Trial, ladder: LadderAnswer) -> list[NextStep]:
    """What follows from the fastest clean cut; a ladder that ended too low or too high is moved before more is cut."""
    better = [c for c in ladder.comparisons if c.answer == Answer.BETTER]
    steps = [_if_faster(trial, ladder, c) for c in better]
    if not ladder.more:
        return steps
    open_ends = (LadderKind.CLEAN_TO_THE_LAST, LadderKind.NOT_CLEAN_AT_ALL)
    steps += [NextStep(finding) for finding in ladder.said if finding.kind in open_ends]
    return steps + [NextStep(finding, command=EXTEND) for finding in ladder.more]


def _after_window(trial: Trial, window: WindowStudy) -> list[NextStep]:
    """The best that is worth confirming, where some setting is likely to meet the requirement."""
    best = window.widest.best
    if not window.likely or best.confirm is None:
        return []
    place = Place(PlaceKind.STATED, (dict(best.settings),), window.units)
    facts: dict[str, Fact] = {"coupons": best.confirm.coupons}
    about = About(response=window.response, nozzle=window.widest.nozzle, place=place)
    command = Command("extend", (Blank.FOLDER, "--confirm", "best"))
    return [NextStep(Finding(StudyKind.CONFIRM_BEST, about, facts), command=command)]


def _if_faster(trial: Trial, ladder: LadderAnswer, c: LadderComparison) -> NextStep:
    """What follows from a type that cuts clean faster; of pieces only, what follows from a better one."""
    step = _if_better(trial, trial.clean_name, ladder.pieces, c)
    if ladder.pieces:
        return step
    safe = next(each.clean_95_low for each in ladder.types if each.nozzle == c.nozzle)
    facts = {**step.finding.facts, "safe": Amount(safe, ladder.unit), "first": Amount(ladder.steps[0], ladder.unit)}
    return NextStep(Finding(LadderKind.CONSIDER, step.finding.about, facts))


def _if_better(trial: Trial, response: str, pieces: Mapping[str, str], c: Comparison | LadderComparison) -> NextStep:
    """What follows from a better type; from a better piece only that more pieces are needed."""
    about = About(response=response, nozzle=c.nozzle, against=c.against, place=c.settings)
    if pieces:
        names: dict[str, Fact] = {"piece": pieces[c.nozzle], "against_piece": pieces[c.against]}
        return NextStep(Finding(StudyKind.REPEAT_WITH_PIECES, about, names), command=EXTEND)
    nozzle = next(n for n in trial.nozzles if n.type == c.nozzle)
    facts: dict[str, Fact] = {"price": nozzle.price, "today_price": trial.today.price}
    return NextStep(Finding(StudyKind.CONSIDER, about, facts | {"currency": trial.trial.currency}))
