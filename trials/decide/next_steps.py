"""What to do next after a study, most urgent first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trials.decide.advice import Advice
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
NO_ADVICE = Advice(Action.NOTHING)


def next_steps(
    trial: Trial,
    results: Sequence[ResponseResult],
    evidence: Evidence,
    ladder: LadderAnswer | None = None,
    window: WindowStudy | None = None,
    advised: Advice = NO_ADVICE,
    confirmed: Sequence[Finding] = (),
) -> tuple[NextStep, ...]:
    """What to do next, most urgent first; while a reading is open, how much more to cut is not told: it leans on it.

    advised: what the answer speaks for; no other type than its own is to be changed to. confirmed: what was found of
    coupons that were cut to confirm a best.
    """
    steps = [_settle(slip) for slip in evidence.open_slips]
    undone = int((evidence.coupons["outcome"] == "not cut yet").sum())
    if undone:
        cut = Command("cut", (Blank.FOLDER, Blank.FILE))
        steps.append(NextStep(Finding(StudyKind.NOT_RECORDED_AS_CUT, facts={"n": undone}), command=cut))
    decisive = [r for r in results if r.primary]
    if window is not None and window.asked:
        steps += _after_window(trial, window, advised, bool(evidence.promised), confirmed)
    else:
        steps += _change(trial, decisive, ladder, advised)
    if ladder is not None:
        steps += _after_ladder(ladder)
    for result in decisive:
        told = [f for f in result.more if f.kind != PlanKind.NEEDED or not evidence.open_slips]
        steps += [NextStep(finding, command=EXTEND) for finding in told]
    for result in decisive:
        for check in result.checks:
            if check.kind == StudyKind.CENTRING and check.weight != Weight.NOTHING_FOUND:
                steps.append(NextStep(Finding(StudyKind.CHECK_CENTRING, weight=Weight.LOOK_AT), check))
    return tuple(_each_once(steps)) or (_filed(advised),)


def _filed(advised: Advice) -> NextStep:
    """Nothing else follows; the action says what becomes of today's type."""
    facts: dict[str, Fact] = {"action": str(advised.action)}
    return NextStep(Finding(StudyKind.FILE_VERDICT, facts=facts), command=Command("verdict", (Blank.FOLDER,)))


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


def _change(
    trial: Trial, decisive: Sequence[ResponseResult], ladder: LadderAnswer | None, advised: Advice
) -> list[NextStep]:
    """The type to change to, by what speaks for it first; then, in one step that asks for nothing, those better too."""
    steps = []
    if ladder is not None:
        steps = [_if_faster(trial, ladder, c) for c in ladder.comparisons if c.nozzle == advised.to]
    for result in decisive:
        own = [c for c in result.comparisons if c.nozzle == advised.to]
        steps += [_if_better(trial, result.response, result.pieces, c) for c in own]
    others = next((names for answer, names in advised.others if answer == Answer.BETTER), ())
    if not steps or not others or steps[0].finding.kind == StudyKind.REPEAT_WITH_PIECES:
        return steps[:1]
    return [steps[0], NextStep(Finding(StudyKind.ALSO_BETTER, About(nozzle=advised.to, nozzles=others)))]


def _after_ladder(ladder: LadderAnswer) -> list[NextStep]:
    """What stays open after ladders; one that ended too low or too high is moved before more is cut."""
    if not ladder.more:
        return []
    open_ends = (LadderKind.CLEAN_TO_THE_LAST, LadderKind.NOT_CLEAN_AT_ALL)
    steps = [NextStep(finding) for finding in ladder.said if finding.kind in open_ends]
    return steps + [NextStep(finding, command=EXTEND) for finding in ladder.more]


def _after_window(
    trial: Trial, window: WindowStudy, advised: Advice, promised: bool, confirmed: Sequence[Finding]
) -> list[NextStep]:
    """The best to confirm, where some setting is likely to meet the requirement; then the type to change to.

    promised: coupons that confirm a best are planned already; to a best that they do not confirm nobody goes over.
    """
    name = advised.to or choose(window, trial.today.type).chosen.nozzle
    confirm = next(each.best.confirm for each in window.types if each.nozzle == name)
    told = [finding for finding in confirmed if finding.about.nozzle == name][-1:]
    steps = [NextStep(finding) for finding in told if finding.kind == StudyKind.BEST_NOT_CONFIRMED]
    if steps:
        return steps
    if window.likely and confirm is not None and not promised:
        against = trial.today.type if advised.to else ""
        about = About(response=window.response, nozzle=name, against=against, place=best_place(window, name))
        command = Command("extend", (Blank.FOLDER, "--confirm", "best"))
        facts: dict[str, Fact] = {"coupons": confirm.coupons}
        steps.append(NextStep(Finding(StudyKind.CONFIRM_BEST, about, facts), command=command))
    if advised.to:
        about = About(response=window.response, nozzle=name, against=trial.today.type, place=best_place(window, name))
        waits = bool(steps) or (promised and not told)
        steps.append(_consider(trial, about, StudyKind.CHANGE_OVER if waits else StudyKind.CONSIDER))
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


def _consider(trial: Trial, about: About, kind: StudyKind = StudyKind.CONSIDER) -> NextStep:
    """A type to consider, with its price beside today's; of one that is confirmed first, to change over then."""
    nozzle = next(n for n in trial.nozzles if n.type == about.nozzle)
    facts: dict[str, Fact] = {"price": nozzle.price, "today_price": trial.today.price}
    return NextStep(Finding(kind, about, facts | {"currency": trial.trial.currency}))
