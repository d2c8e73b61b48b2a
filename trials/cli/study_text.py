"""A study as text on the screen."""

from __future__ import annotations

from trials.cli import show
from trials.decide.chance_result import ChanceResult
from trials.decide.results import ResponseResult, Study
from trials.decide.study import size_words
from trials.findings import each_once
from trials.units import shown
from trials.words.chances import asked_words, likely, notes
from trials.words.findings import say
from trials.words.numbers import percent


def print_study(study: Study) -> None:
    """The whole study, answer first."""
    show.say(study.title, study.question, "", study.sentence)
    for result in study.results:
        _print_response(result)
    if study.chances:
        show.heading("Chance that the next edge meets the requirement")
        rows = [
            [c.nozzle, asked_words(c.asked), likely(c.estimate), likely(c.low), _met(c), notes(c)]
            for c in study.chances
        ]
        show.table(["nozzle", "requirement", "chance", "at least", "met so far", ""], rows)
        show.say("at least: with 95 % confidence; a new sheet, nozzle, fitting and coupon each time.")
        show.bullets(say(finding) for finding in each_once(f for c in study.chances for f in c.rests_on))
    for name, lines in (
        ("As it happened", study.departures),
        ("What this trial cannot say", study.cannot_say),
        ("What to do next", study.next_steps),
    ):
        if lines:
            show.heading(name)
            show.bullets(lines)


def _print_response(result: ResponseResult) -> None:
    kind = "decides" if result.primary else "secondary"
    show.heading(f"{result.label} ({result.response}, {kind})")
    show.say(f"{result.n_readings} readings on {result.n_coupons} coupons. Nozzle types rest on {result.rests_on}.")
    if result.terms:
        rows = [[t.term, t.df, f"{t.den_df:.1f}", f"{t.F:.2f}", _p(t.p)] for t in result.terms]
        show.table(["term", "df", "den df", "F", "p"], rows)
    if result.spread:
        show.say("Spread of one reading:")
        show.bullets(f"{s.words} ({s.share:.0%} of the variance)" for s in result.spread)
    unit = shown(result.unit)
    if result.means:
        show.say(f"Typical edge at {result.means[0].settings}:")
        rows = [[m.nozzle, f"{m.mean:.4g}", f"{m.low:.4g} to {m.high:.4g}"] for m in result.means]
        show.table(["nozzle", f"typical {unit}".strip(), "95 % interval"], rows)
    if result.comparisons:
        rows = [[c.nozzle, c.against, size_words(c, unit), _p(c.p), _answer(c)] for c in result.comparisons]
        show.table(["nozzle", "against", "change", "p", "answer"], rows)
    show.bullets([*result.said, *result.more, *(c.sentence for c in result.checks)])


def _answer(c) -> str:
    return "" if c.answer is None else f"{c.answer}, {c.answer_adds}" if c.answer_adds else c.answer


def _p(p: float | None) -> str:
    if p is None or p != p:
        return "none"
    return f"{p:.3f}" if p >= 0.001 else f"{p:.1e}"


def _met(c: ChanceResult) -> str:
    return "" if c.share_met is None else f"{percent(c.share_met)} of {c.n_coupons}"
