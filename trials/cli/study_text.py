"""A study as text on the screen."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Sequence

from trials.cli import show
from trials.cli.ladder_text import print_ladder
from trials.decide.chance_result import ChanceResult
from trials.decide.results import ResponseResult, Study
from trials.findings import Weight, each_once
from trials.responses import Scale
from trials.units import shown
from trials.words import ladders
from trials.words.answer import word_of
from trials.words.chances import asked_words, at_least, likely, notes
from trials.words.check_groups import check_groups
from trials.words.decision import decision_rows, for_the_file, money_notes, plan_words
from trials.words.findings import say
from trials.words.first_page import answer_box, answered_by, provisional_words
from trials.words.in_use import study_in_use
from trials.words.language import plural, text
from trials.words.numbers import listed, number, p_value, percent
from trials.words.settings import at_place, term_words
from trials.words.study import (
    answer_sentence,
    basis_words,
    beside_headline,
    change_words,
    covered,
    effect_name,
    effect_words,
    interval_words,
    label,
    means_heading,
    named,
    remarks,
    spread_words,
    step_words,
    symbol,
)

SCREEN = 80
SCREEN_LINES = 40
AROUND = 8  # lines of the head and the note of the table and of the next command, with the empty ones
MOST_POINTS = 4
LEAST_LINES, MOST_LINES = 2, 5  # of one point


def print_answer(study: Study, look_further: str) -> None:
    """One screen: the answer, a line per nozzle type, the checks that could change it, what to do next.

    look_further: the command that prints the rest.
    """
    study = study_in_use(study)
    head, rows = _types(study)
    top, lists = answer_lines(study), _lists(study, look_further, LEAST_LINES)
    for most in range(MOST_LINES, LEAST_LINES, -1):  # as much of each sentence as the screen has room for
        longer = _lists(study, look_further, most)
        if len(top) + len(rows) + len(longer) + AROUND <= SCREEN_LINES:
            lists = longer
            break
    _write([*top, ""])
    show.table(head, rows)
    _write([*_told_apart(study), *lists, "", text("All figures: {command}", command=look_further)])


def _write(lines: Sequence[str]) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))


def _lists(study: Study, look_further: str, most: int) -> list[str]:
    """Checks that could change the answer and next steps, so many lines each."""
    checks = [c for result in study.results if result.primary for c in result.checks if c.weight == Weight.COULD_CHANGE]
    return [
        *_some(text("Could change the answer"), [say(check) for check in checks], look_further, most),
        *_some(text("What to do next"), [step_words(step) for step in study.next_steps], look_further, most),
    ]


def answer_lines(study: Study) -> list[str]:
    """The answer in the words of the first page of a verdict, as lines of the screen."""
    box = answer_box(study)
    lines = [study.title, *_folded(study.question), ""]
    lines += [provisional_words(study)] if study.provisional else []
    sure = f"{box.sure} ({box.figures})" if box.figures else box.sure
    what = f"{box.what} {box.at}".strip()
    parts = [(box.does, what), (text("How sure"), sure), (text("The others"), box.others), *decision_rows(study)[:1]]
    width = max(len(name) for name, _ in parts) + 2
    for name, words in parts:
        lines += _folded(words, name.ljust(width), " " * width)
    plan = plan_words(study)
    return [*lines, *(_folded(plan, " " * width, " " * width) if plan else [])]


def _folded(words: str, first: str = "", later: str = "", most: int = 0) -> list[str]:
    lines = textwrap.wrap(
        words,
        SCREEN,
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
        max_lines=most or None,
        placeholder=" …",
    )
    return lines or [first]


def _some(heading: str, found: Sequence[str], look_further: str, most: int) -> list[str]:
    """A list kept short, and where the rest stands."""
    if not found:
        return []
    lines = ["", heading]
    for words in found[:MOST_POINTS]:
        lines += _folded(words, "- ", "  ", most)
    if len(found) > MOST_POINTS:
        lines.append(text("  and {n} more: {command}", n=len(found) - MOST_POINTS, command=look_further))
    return lines


def _types(study: Study) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of the table of nozzle types, narrow enough for the screen."""
    main = next((r for r in study.results if r.primary and r.means), None)
    head, rows = [text("nozzle")], [[_short(row.nozzle, 24)] for row in study.nozzles]
    if main is not None:
        means = {m.nozzle: m for m in main.means}
        head.append(f"{symbol(main)} {shown(main.unit)}".strip())
        head.append(text("95 % interval"))
        for cells, row in zip(rows, study.nozzles, strict=True):
            mean = means.get(row.nozzle)
            cells += [number(mean.mean), interval_words(mean.low, mean.high, 3)] if mean else ["", ""]
    if study.ladder is not None and study.ladder.types:
        head.append(ladders.cell_head(study.ladder))
        for cells, row in zip(rows, study.nozzles, strict=True):
            cells.append(ladders.cell_words(study.ladder, row.nozzle))
    if any(row.share_met for row in study.nozzles):
        head.append(text("met"))
        for cells, row in zip(rows, study.nozzles, strict=True):
            cells.append(text("{n} of {cut}", n=row.share_met.met, cut=row.n_coupons) if row.share_met else "")
    head.append(text("answer"))
    for cells, row in zip(rows, study.nozzles, strict=True):
        cells.append(text("today's nozzle") if row.today else "; ".join(text(one.answer) for one in row.answers))
    return head, rows


def _told_apart(study: Study) -> list[str]:
    """That shares met and answers are about other things, so that they need not agree."""
    symbols = answered_by(study)
    if not symbols or not any(row.share_met for row in study.nozzles):
        return []
    told = text(
        "Met: everything required, coupons of all settings. Answer: by {symbols} alone.", symbols=listed(symbols)
    )
    return _folded(told)


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else f"{words[: most - 1]}…"


def print_study(study: Study) -> None:
    """The whole study, answer first."""
    study = study_in_use(study)
    _write(answer_lines(study))
    show.say("", text("In figures: {sentence}", sentence=answer_sentence(study)))
    if study.ladder is not None:
        print_ladder(study.ladder)
    for result in study.results:
        _print_response(result)
    _print_chances(study)
    _print_list(
        text("What it gains and costs"),
        [*(f"{name}: {said}" for name, said in decision_rows(study)), *money_notes(study), *for_the_file(study)],
    )
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
    _print_effects(result)
    show.bullets([*remarks(result), *map(say, result.more)])
    _print_checks(result)


def _print_checks(result: ResponseResult) -> None:
    """Checks in groups, the gravest first."""
    for group in check_groups(result.checks):
        show.say(f"{group.title}:")
        show.bullets(map(say, group.checks))


def _print_terms(result: ResponseResult) -> None:
    if result.terms:
        rows = [[term_words(t.parts), f"{t.F:.2f}", _df(t.df, t.den_df), p_value(t.p)] for t in result.terms]
        show.table([text("term"), "F", text("df"), "p"], rows)
    beside = beside_headline(result)
    if beside:
        show.say(beside)
    if result.spread:
        show.say(text("Spread of one reading:"))
        show.bullets(
            text("{spread} ({share} of the variance)", spread=spread_words(s, result), share=percent(s.share))
            for s in result.spread
        )


def _df(df: int, den_df: float) -> str:
    """Both degrees of freedom of a test."""
    return text("{df} and {den_df}", df=df, den_df=f"{den_df:.1f}")


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
            p_value(c.p),
            word_of(c.answer, c.answer_adds),
        ]
        for c in result.comparisons
    ]
    show.table([text("nozzle"), text("against"), text("change"), "p", text("answer")], rows)
    show.say(text("Changes: {covered}.", covered=covered(result.comparisons)))


def _print_effects(result: ResponseResult) -> None:
    """What one unit more of each setting does, a row per type."""
    if not result.effects:
        return
    rows = [[named(e.nozzle, result), effect_name(e), *effect_words(e, result.unit)] for e in result.effects]
    show.table([text("nozzle"), text("setting"), text("change"), text("95 % interval")], rows)
    place = at_place(result.effects[0].settings, start=True)
    show.say(text("{place}; each interval by itself. Curves bend: elsewhere the change is another.", place=place))


def _print_chances(study: Study) -> None:
    if not study.chances:
        return
    show.heading(text("Chance that the next edge meets the requirement"))
    rows = [
        [c.nozzle, asked_words(c.asked), likely(c.estimate), at_least(c.low), _met(c), notes(c)] for c in study.chances
    ]
    head = [text("nozzle"), text("requirement"), text("chance"), text("at least"), text("met so far"), ""]
    show.table(head, rows)
    show.say(text("at least: with 95 % confidence; a new sheet, nozzle, fitting and coupon each time."))
    show.bullets(map(say, each_once(f for c in study.chances for f in c.rests_on)))


def _met(c: ChanceResult) -> str:
    if c.share_met is None:
        return ""
    return text("{share} of {n}", share=percent(c.share_met), n=c.n_coupons)
