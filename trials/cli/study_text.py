"""A study as text on the screen."""

from __future__ import annotations

from collections.abc import Iterable

from trials.cli import show
from trials.cli.ladder_text import print_ladder
from trials.decide.chance_result import ChanceResult
from trials.decide.results import ResponseResult, Study
from trials.findings import each_once
from trials.responses import Scale
from trials.units import shown
from trials.words.answer import word_of
from trials.words.chances import asked_words, likely, notes
from trials.words.findings import say
from trials.words.language import plural, text
from trials.words.numbers import number, percent
from trials.words.settings import term_words
from trials.words.study import (
    answer_sentence,
    basis_words,
    change_words,
    covered,
    interval_words,
    label,
    means_heading,
    named,
    p_words,
    remarks,
    spread_words,
    step_words,
)


def print_study(study: Study) -> None:
    """The whole study, answer first."""
    show.say(study.title, study.question, "", answer_sentence(study))
    if study.provisional:
        show.say(text("Provisional: a reading is still open; see what to do next."))
    if study.ladder is not None:
        print_ladder(study.ladder)
    for result in study.results:
        _print_response(result)
    _print_chances(study)
    _print_list(text("As it happened"), map(say, study.departures))
    _print_list(text("What this trial cannot say"), map(say, study.cannot_say))
    _print_list(text("What to do next"), map(step_words, study.next_steps))


def _print_list(heading: str, lines: Iterable[str]) -> None:
    known = list(lines)
    if known:
        show.heading(heading)
        show.bullets(known)


def _print_response(result: ResponseResult) -> None:
    role = "{response} ({name}, decides)" if result.primary else "{response} ({name}, secondary)"
    show.heading(text(role, response=label(result), name=result.response))
    readings = plural("{n} reading", "{n} readings", result.n_readings)
    coupons = plural("{n} coupon", "{n} coupons", result.n_coupons)
    counts = text("{readings} on {coupons}.", readings=readings, coupons=coupons)
    show.say(f"{counts} {text('Nozzle types rest on {units}.', units=basis_words(result))}")
    _print_terms(result)
    _print_means(result)
    _print_comparisons(result)
    show.bullets([*remarks(result), *map(say, (*result.more, *result.checks))])


def _print_terms(result: ResponseResult) -> None:
    if result.terms:
        rows = [
            [term_words(t.parts), t.df, f"{t.den_df:.1f}", f"{t.F:.2f}", p_words(t.p)]  # degrees of freedom and F
            for t in result.terms
        ]
        show.table([text("term"), text("df"), text("den df"), "F", "p"], rows)
    if result.spread:
        show.say(text("Spread of one reading:"))
        show.bullets(
            text("{spread} ({share} of the variance)", spread=spread_words(s, result), share=percent(s.share))
            for s in result.spread
        )


def _print_means(result: ResponseResult) -> None:
    if not result.means:
        return
    show.say(means_heading(result, result.means[0].settings))
    middle = text("mean") if result.scale == Scale.GRADE else text("typical")
    head = f"{middle} {shown(result.unit)}".strip()
    rows = [[named(m.nozzle, result), number(m.mean, 4), interval_words(m.low, m.high)] for m in result.means]
    show.table([text("nozzle"), head, text("95 % interval")], rows)


def _print_comparisons(result: ResponseResult) -> None:
    if not result.comparisons:
        return
    rows = [
        [
            named(c.nozzle, result),
            named(c.against, result),
            change_words(c, result.unit),
            p_words(c.p),
            word_of(c.answer, c.answer_adds),
        ]
        for c in result.comparisons
    ]
    show.table([text("nozzle"), text("against"), text("change"), "p", text("answer")], rows)
    show.say(text("Changes: {covered}.", covered=covered(result.comparisons)))


def _print_chances(study: Study) -> None:
    if not study.chances:
        return
    show.heading(text("Chance that the next edge meets the requirement"))
    rows = [
        [c.nozzle, asked_words(c.asked), likely(c.estimate), likely(c.low), _met(c), notes(c)] for c in study.chances
    ]
    head = [text("nozzle"), text("requirement"), text("chance"), text("at least"), text("met so far"), ""]
    show.table(head, rows)
    show.say(text("at least: with 95 % confidence; a new sheet, nozzle, fitting and coupon each time."))
    show.bullets(map(say, each_once(f for c in study.chances for f in c.rests_on)))


def _met(c: ChanceResult) -> str:
    if c.share_met is None:
        return ""
    return text("{share} of {n}", share=percent(c.share_met), n=c.n_coupons)
