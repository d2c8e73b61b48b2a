"""A plan judged before cutting, as text on the screen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trials.cli import show
from trials.plan.power import percent
from trials.steps.assessing import other_sentences
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.plan.assess import Assessment, Detectable


def print_assessment(trial: Trial, found: Assessment, plan_said: Sequence[str]) -> None:
    """What a plan can and cannot show, where the next hour pays, what it costs; without what was said already."""
    show.heading("What this plan can show")
    degrees = {question.name: question.df for question in found.questions}
    for name in dict.fromkeys(line.response for line in found.detectable):
        show.say(f"{name}: smallest difference seen with a chance of 80 %")
        lines = [line for line in found.detectable if line.response == name]
        rows = [[line.question, line.pattern, _size(trial, line), *_figures(line, degrees)] for line in lines]
        show.table(["question", "true differences", "seen", "df", "chance at worthwhile"], rows)
    if not found.detectable:
        show.bullets(question.sentence for question in found.questions)
    for name, needed in found.settle.items():
        show.bullets(
            [
                f"{name}: chance of a settled answer for one type against today's "
                f"{percent(needed.chance_at_worthwhile)} if it truly differs by the worthwhile difference, "
                f"{percent(needed.chance_at_zero)} if it does not differ. {needed.sentence}"
            ]
        )
    show.bullets(line for line in other_sentences(trial, found) if line not in plan_said)
    cannot = [line for line in dict.fromkeys(found.confounded) if line not in plan_said]
    if found.confounded:
        show.heading("What it cannot tell apart")
        show.bullets(cannot or ["See above: nothing is confounded beyond it."])
    if found.next_hour:
        show.heading("Where the next hour pays")
        show.bullets(f"{name}: {text}" for name, text in found.next_hour.items())
    show.heading("Work and material")
    show.bullets([found.effort.sentence, *found.effort.assumptions])


def _size(trial: Trial, line: Detectable) -> str:
    """The size, with the figure of simulated trials where it is not exact."""
    if line.exact:
        return line.words
    if line.simulated is None:
        return f"about {line.words}"
    from trials.steps.assessing import amount_words

    return f"about {line.words}; simulated {amount_words(trial, line.response, line.simulated)}"


def _figures(line: Detectable, degrees: dict[str, int]) -> list[str]:
    chance = "" if line.chance_at_worthwhile is None else percent(line.chance_at_worthwhile)
    return [f"{degrees[line.question]} and {line.den_df:.3g}", chance]
