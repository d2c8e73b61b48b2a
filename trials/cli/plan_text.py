"""A plan and what it can show, as text on the screen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from trials.cli import show

if TYPE_CHECKING:
    import pandas as pd

    from trials.findings import Finding
    from trials.plan.assess import Assessment, Detectable
    from trials.steps.plan import Planned
    from trials.trial import Trial


def print_plan(planned: Planned) -> None:
    """The question, the counts, what the planner found, and what the plan can and cannot show."""
    from trials.words.language import text

    trial, plan = planned.trial, planned.plan
    show.say(trial.trial.title, trial.trial.question)
    print_counts(plan.coupons)
    show.heading(text("What this plan says"))
    show.bullets(_words(plan.found))
    _print_assessment(trial, planned.assessment, plan.found)


def print_counts(coupons: pd.DataFrame) -> None:
    """Specimens, mounts and coupons of each nozzle type."""
    from trials.words.language import text

    rows = []
    for nozzle in coupons["nozzle"].drop_duplicates():
        own = coupons[coupons["nozzle"] == nozzle]
        rows.append([nozzle, own["specimen"].nunique(), own["mount"].nunique(), len(own)])
    show.table([text("nozzle"), text("specimens"), text("mounts"), text("coupons")], rows)


def _words(found: Iterable[Finding]) -> list[str]:
    from trials.words.findings import say

    return [say(finding) for finding in found]


def _print_assessment(trial: Trial, found: Assessment, told: tuple[Finding, ...]) -> None:
    """What a plan can and cannot show, where the next hour pays, what it costs; without what was told already."""
    from trials.words.language import text
    from trials.words.plan_chances import effort_words, next_hour_words, settled_words
    from trials.words.worthwhile import planned_sentences

    show.heading(text("What this plan can show"))
    _print_detectable(trial, found)
    show.bullets(planned_sentences(trial))
    show.bullets(settled_words(name, needed) for name, needed in found.settle.items())
    show.bullets(_words(finding for finding in found.found if finding not in told))
    if found.confounded:
        show.heading(text("What it cannot tell apart"))
        cannot = _words(finding for finding in found.confounded if finding not in told)
        show.bullets(cannot or [text("See above: nothing is confounded beyond it.")])
    if found.next_steps:
        show.heading(text("Where the next hour pays"))
        show.bullets(f"{name}: {next_hour_words(steps)}" for name, steps in found.next_steps.items())
    show.heading(text("Work and material"))
    show.bullets([effort_words(found.effort), *_words(found.effort.assumptions())])


def _print_detectable(trial: Trial, found: Assessment) -> None:
    """The smallest difference that each question sees, by response; without expected spreads how it is judged."""
    from trials.words.language import text

    for name in dict.fromkeys(line.response for line in found.detectable):
        show.say(text("{response}: smallest difference seen with a chance of 80 %", response=name))
        rows = [_row(trial, line) for line in found.detectable if line.response == name]
        heads = ("question", "true differences", "seen", "df", "chance at worthwhile")
        show.table([text(head) for head in heads], rows)
    if not found.detectable:
        show.bullets(_words(question.finding for question in found.questions))


def _row(trial: Trial, line: Detectable) -> list[str]:
    from trials.words.numbers import percent
    from trials.words.plan_chances import df_words, pattern_words, subject_words

    chance = "" if line.chance_at_worthwhile is None else percent(line.chance_at_worthwhile)
    pattern = pattern_words(line.subject, line.pattern)
    return [subject_words(line.subject), pattern, _size(trial, line), df_words(line), chance]


def _size(trial: Trial, line: Detectable) -> str:
    """The size, with the figure of simulated trials where it is not exact."""
    from trials.words.language import text
    from trials.words.plan_chances import difference_words

    quantity = trial.quantity(line.response)
    size = difference_words(quantity, line.size)
    if line.exact:
        return size
    if line.simulated is None:
        return text("about {size}", size=size)
    simulated = difference_words(quantity, line.simulated)
    return text("about {size}; simulated {simulated}", size=size, simulated=simulated)
