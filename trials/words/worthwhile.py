"""Both limits of a worthwhile difference in words: in per cent and in units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trials.responses import Scale
from trials.trial import Trial, expected_level, worthwhile_margins
from trials.words.facts import whole
from trials.words.language import text
from trials.words.numbers import rounded, with_unit
from trials.words.system import in_use, shown_unit
from trials.worthwhile import Margins

if TYPE_CHECKING:
    from trials.decide.results import ResponseResult
    from trials.findings import Finding


def worthwhile_limits(result: ResponseResult) -> str:
    """Both limits of a response that was studied; empty where no worthwhile difference was stated.

    `at least 15 % lower (29.8 µm, beside 35.0 µm) is better, at least 15 % higher (40.2 µm) is worse`
    """
    if result.worthwhile_better is None or result.worthwhile_worse is None:
        return ""
    sides = Margins(result.worthwhile_better, result.worthwhile_worse)
    return _limits(sides, result.scale == Scale.LOG, result.unit, result.worthwhile_level, result.higher_is_better)


def planned_limits(trial: Trial, name: str) -> str:
    """Both limits of a response before cutting; empty where no worthwhile difference is stated."""
    sides, quantity = worthwhile_margins(trial, name), trial.quantity(name)
    if sides is None:
        return ""
    level = expected_level(trial, name)
    return _limits(sides, quantity.scale == Scale.LOG, quantity.unit, level, quantity.higher_is_better)


def planned_sentences(trial: Trial) -> list[str]:
    """One sentence for each response with a worthwhile difference, as a plan prints it."""
    known = {name: planned_limits(trial, name) for name in trial.responses}
    return [
        text("Worthwhile difference in {response}: {limits}.", response=name, limits=limits)
        for name, limits in known.items()
        if limits
    ]


def grade_without_worthwhile(finding: Finding) -> str:
    """A decisive grade that no difference is declared worthwhile for, before cutting."""
    named = {"response": finding.about.response}
    if finding.facts.get("grade") is None:
        return text(
            "{response} decides, but no grade is required and no difference is declared worthwhile: it will end in no "
            'word. State application.required.dross_grade and worthwhile = "20 %" (more of the coupons at that '
            "grade) before anything is cut.",
            **named,
        )
    return text(
        "{response} decides, but no difference is declared worthwhile: it will end in no word. Before anything is "
        'cut, state worthwhile = "20 %" (more of the coupons at grade {grade} or better) under [responses.{response}].',
        grade=whole(finding, "grade"),
        **named,
    )


def _limits(sides: Margins, log: bool, unit: str, level: float | None, higher_is_better: bool) -> str:
    down, up = (sides.worse, sides.better) if higher_is_better else (sides.better, sides.worse)
    size = math.expm1(up) if log else up
    lower, higher = _side(-math.expm1(-down) if log else down, -1, log, unit, level), _side(size, 1, log, unit, level)
    named = {"good": higher, "bad": lower} if higher_is_better else {"good": lower, "bad": higher}
    return text("at least {good} is better, at least {bad} is worse", **named)


def _side(size: float, sign: int, log: bool, unit: str, level: float | None) -> str:
    """One side: a share with the figure that it leads to, or a figure with the share that it is."""
    first = f"{rounded(100.0 * size, 3)} %" if log else f"{rounded(in_use(size, unit), 4)} {shown_unit(unit)}".strip()
    said = text("{size} higher", size=first) if sign > 0 else text("{size} lower", size=first)
    if not level:
        return said
    beside = with_unit(level, unit)
    if log:
        end = with_unit(level * (1 + sign * size), unit)
        return text("{side} ({end}, beside {level})", side=said, end=end, level=beside)
    return text("{side} ({share} of {level})", side=said, share=f"{rounded(100.0 * size / level, 3)} %", level=beside)
