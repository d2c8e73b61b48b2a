"""What to do next after a study, most urgent first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trials.decide.decision_result import Action
from trials.decide.evidence import Evidence
from trials.decide.kinds import StudyKind
from trials.decide.ladder import LadderAnswer, LadderComparison, LadderKind
from trials.decide.results import Comparison, NextStep, ResponseResult
from trials.decide.window_choice import best_place, choose
from trials.decide.window_result import WindowStudy
from trials.findings import About, Amount, Fact, Finding, Weight
from trials.infer.answer import Answer
from trials.next_command import Blank, Command
from trials.plan.kinds import PlanKind
from trials.trial import Trial

EXTEND = Command("extend", (Blank.FOLDER,))


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
    at_best = window is not None and window.asked
    if window is not None and at_best:
        steps += _after_window(trial, window, confirmed=bool(evidence.promised))
    decisive = [r for r in results if r.primary]
    for result in decisive:
        better = [c for c in result.comparisons if c.answer == Answer.BETTER and not at_best]
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


def _after_window(trial: Trial, window: WindowStudy, confirmed: bool) -> list[NextStep]:
    """The best to confirm, where some setting is likely to meet the requirement; then the type it speaks for."""
    found = choose(window, trial.today.type)
    name, confirm = found.chosen.nozzle, found.chosen.best.confirm
    steps = []
    if window.likely and confirm is not None and not confirmed:
        about = About(response=window.response, nozzle=name, place=best_place(window, name))
        command = Command("extend", (Blank.FOLDER, "--confirm", "best"))
        facts: dict[str, Fact] = {"coupons": confirm.coupons}
        steps.append(NextStep(Finding(StudyKind.CONFIRM_BEST, about, facts), command=command))
    if found.action == Action.CHANGE:
        about = About(response=window.response, nozzle=name, against=trial.today.type, place=best_place(window, name))
        steps.append(_consider(trial, about))
    return steps


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
    return _consider(trial, about)


def _consider(trial: Trial, about: About) -> NextStep:
    """A type to consider, with its price beside today's."""
    nozzle = next(n for n in trial.nozzles if n.type == about.nozzle)
    facts: dict[str, Fact] = {"price": nozzle.price, "today_price": trial.today.price}
    return NextStep(Finding(StudyKind.CONSIDER, about, facts | {"currency": trial.trial.currency}))
