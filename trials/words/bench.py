"""Measuring and the study of the bench, in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from trials.bench.kinds import BenchKind, Design, Source
from trials.findings import Amount, Finding
from trials.words.language import plural, text
from trials.words.numbers import fixed, nominal, percent, plain, rounded
from trials.words.system import in_use, shown_unit

if TYPE_CHECKING:
    from trials.bench.agreement import Agreement
    from trials.bench.gauge import GaugeStudy
    from trials.bench.variance_table import Spread


CUTOFFS = ("cutoff", "asked")
"""Facts that are a cut-off, the one used and the one a rule asks for."""


def source(name: str) -> str:
    """Where readings come to differ."""
    return {
        Source.COUPON: text("between places"),
        Source.INSPECTOR: text("between inspectors"),
        Source.COUPON_BY_INSPECTOR: text("inspector on one place"),
        Source.REPEAT: text("same inspector, same place"),
        Source.REPRODUCIBILITY: text("between inspectors, both parts"),
        Source.BENCH: text("the bench in all"),
    }[Source(name)]


def design(found: Design) -> str:
    """How a study was laid out."""
    return {
        Design.CROSSED: text("crossed"),
        Design.NESTED: text("nested"),
        Design.ONE_INSPECTOR: text("one inspector"),
        Design.UNEQUAL_COUNTS: text("unequal counts"),
        Design.ONCE_EACH: text("once each"),
    }[found]


def extent(study: GaugeStudy) -> str:
    """How large a study was and how it was laid out."""
    return text(
        "{readings} of {places} by {people} ({design}).",
        readings=plural("{n} reading", "{n} readings", study.readings),
        places=plural("{n} place", "{n} places", study.coupons),
        people=plural("{n} inspector", "{n} inspectors", study.inspectors),
        design=design(study.design),
    )


def spread_heads(unit: str) -> list[str]:
    """Heads of the table of spreads."""
    return [
        text("where readings differ"),
        text("standard deviation, {unit}", unit=shown_unit(unit)),
        text("95 % interval"),
    ]


def in_order(spreads: Iterable[Spread]) -> list[Spread]:
    """Spreads in the order in which they are printed."""
    return sorted(spreads, key=lambda spread: list(Source).index(spread.source))


def spread_cells(spread: Spread, unit: str) -> list[str]:
    """A row of that table: source, standard deviation and its interval, which is empty where there is none."""
    sizes = (spread.sd, spread.low, spread.high)
    sd, low, high = (None if size is None else rounded(in_use(size, unit), 3) for size in sizes)
    interval = "" if low is None or high is None else text("{low} to {high}", low=low, high=high)
    return [source(spread.source), str(sd), interval]


def agreement_heads() -> list[str]:
    """Heads of the table of kappas."""
    return [text("who"), text("weighted kappa"), text("95 % interval"), text("coupons")]


def pair(one: str, two: str) -> str:
    """Two inspectors."""
    return text("{one} and {two}", one=one, two=two)


def agreement_sentences(found: Agreement) -> list[str]:
    """How all inspectors agree on a grade, figure by figure."""
    said = []
    if found.fleiss is not None:
        kappa = fixed(found.fleiss, 2)
        said.append(text("All inspectors together: Fleiss' kappa {kappa} (grades as mere names).", kappa=kappa))
    if found.icc is not None:
        value, low, high = (fixed(figure, 2) for figure in (found.icc.value, found.icc.low, found.icc.high))
        said.append(
            text("Intraclass correlation of one grade: {value} ({low} to {high}).", value=value, low=low, high=high)
        )
    spread = fixed(found.grade_sd, 2)
    return [*said, text("Grades of one coupon differ by a standard deviation of {spread}.", spread=spread)]


def put_into_trial(folder: Path, command: str) -> str:
    """What to do with the lines that a study of the bench ends with, where the trial is at hand."""
    return text("put the lines into {file}, then `{command}`", file=folder / "trial.toml", command=command)


def put_before_planning() -> str:
    """The same without a trial."""
    return text("put the lines into trial.toml before `trials plan`, or grade a table with --uncertainty")


def study_heading(label: str, column: str) -> str:
    """Over the study of one column."""
    named = text(label)
    return text("{response}, {column}", response=f"{named[0].upper()}{named[1:]}", column=column)


def how_measured(
    instruments: Sequence[str], inspectors: Sequence[str], cutoffs_mm: Sequence[float], depths_mm: Sequence[float]
) -> list[str]:
    """With what, by whom and where edges were measured, one sentence each; what was not noted is left out."""
    named = (("Instruments: {names}.", instruments), ("Inspectors: {names}.", inspectors))
    said = [text(template, names=", ".join(names)) for template, names in named if names]
    said += [text("Cut-off: {values} mm.", values=", ".join(rounded(c, 6) for c in cutoffs_mm))] if cutoffs_mm else []
    depths = ", ".join(plain(depth, "mm") for depth in depths_mm)
    return said + ([text("Depth of the roughness trace: {values}.", values=depths)] if depths_mm else [])


def _number(finding: Finding, name: str) -> float:
    value = finding.facts[name]
    assert isinstance(value, int | float)
    return float(value)


def _count(finding: Finding, name: str) -> int:
    return int(_number(finding, name))


def _amount(finding: Finding, name: str, digits: int = 4) -> str:
    value = finding.facts[name]
    assert isinstance(value, Amount)
    if name in CUTOFFS:
        return nominal(value.value, value.unit)
    return plain(float(f"{value.value:.{digits}g}"), value.unit)


def _spikes(finding: Finding) -> str:
    return plural(
        "{n} point stands far off its neighbours, at {first}",
        "{n} points stand far off their neighbours, the first at {first}",
        _count(finding, "points"),
        first=_amount(finding, "first"),
    )


def _lines(finding: Finding) -> str:
    return plural(
        "{n} line above the column names was passed over",
        "{n} lines above the column names were passed over",
        _count(finding, "lines"),
    )


def _points_twice(finding: Finding) -> str:
    return plural(
        "{n} point stood twice with the same height: dropped once",
        "{n} points stood twice with the same height: dropped once",
        _count(finding, "points"),
    )


def _few_points(finding: Finding) -> str:
    return plural(
        "only {n} point between {low} and {high} depth: u may read too small",
        "only {n} points between {low} and {high} depth: u may read too small",
        _count(finding, "points"),
        low=_amount(finding, "low"),
        high=_amount(finding, "high"),
    )


def _amounts(template: str, **digits: int) -> Callable[[Finding], str]:
    """A sentence whose places are amounts with so many digits; a rule is named as it is."""

    def said(finding: Finding) -> str:
        facts = {name: _amount(finding, name, n) for name, n in digits.items()}
        return text(template, method=finding.facts.get("method", ""), **facts)

    return said


def _alone(template: str) -> Callable[[Finding], str]:
    return lambda finding: text(template)


def _with_its_unit(finding: Finding, name: str, digits: int, sign: bool = False) -> str:
    """A figure of a finding that says in which unit it is, if any."""
    unit = str(finding.facts["unit"])
    return f"{rounded(in_use(_number(finding, name), unit), digits, sign)} {shown_unit(unit)}".strip()


def _uncertain(finding: Finding) -> str:
    value = _with_its_unit(finding, "expanded", 3)
    return text("One reading is uncertain by {value} either way (k = 2).", value=value)


def _share(template: str) -> Callable[[Finding], str]:
    def said(finding: Finding) -> str:
        share = _number(finding, "share")
        return text(template, share=percent(share) if share >= 0.005 else text("less than 1 %"))

    return said


def _needs_coupons(finding: Finding) -> str:
    return text(
        "The bench does not see the worthwhile difference between two single readings; it takes the means of {n} "
        "coupons each, if the coupons were all alike.",
        n=_count(finding, "coupons"),
    )


def _bias(template: str) -> Callable[[Finding], str]:
    def said(finding: Finding) -> str:
        value = _with_its_unit(finding, "bias", 4, sign=True)
        return text(template, value=value, n=_count(finding, "readings"))

    return said


def _pairs(finding: Finding) -> str:
    return text(
        "Two inspectors give a coupon the same grade in {same} of cases and grades at most one apart in {near}.",
        same=percent(_number(finding, "same")),
        near=percent(_number(finding, "within_one")),
    )


def _sees_grade(finding: Finding) -> str:
    difference = rounded(_number(finding, "worthwhile"), 3)
    return text("The bench sees a difference of {difference} in grade between two coupons.", difference=difference)


def _grade_needs(finding: Finding) -> str:
    return text(
        "The bench does not see a difference of {difference} in grade between two coupons; it takes {n} coupons of "
        "each, if they were all alike.",
        difference=rounded(_number(finding, "worthwhile"), 3),
        n=_count(finding, "coupons"),
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    BenchKind.LINES_PASSED_OVER: _lines,
    BenchKind.TRACE_TURNED: _alone("distance ran backwards: trace turned round"),
    BenchKind.POINTS_TWICE: _points_twice,
    BenchKind.RESAMPLED: _amounts("steps were uneven: resampled by straight lines at {spacing}", spacing=4),
    BenchKind.SPIKES_KEPT: lambda f: text("{where}: kept", where=_spikes(f)),
    BenchKind.SPIKES_BRIDGED: lambda f: text("{where}: bridged by straight lines", where=_spikes(f)),
    BenchKind.CUTOFF_CHOSEN: _amounts("cut-off {cutoff} chosen by {method}", cutoff=6),
    BenchKind.CUTOFF_LONGEST: _amounts("longest cut-off that fits, {cutoff}", cutoff=6),
    BenchKind.CUTOFF_TOO_SHORT: _amounts(
        "{method} asks for a cut-off of {asked}, the trace holds {cutoff} only", asked=6, cutoff=6
    ),
    BenchKind.CUTOFF_UNUSUAL: _amounts(
        "at Rz5 {rz5} {method} would ask for a cut-off of {asked}, {evaluated} evaluated; {cutoff} was used",
        rz5=3,
        asked=6,
        evaluated=6,
        cutoff=6,
    ),
    BenchKind.SPACING_WIDE: _amounts(
        "points {spacing} apart, usual are up to {usual}: narrow dales may be missed", spacing=3, usual=6
    ),
    BenchKind.TIP_BLUNT: _amounts(
        "stylus tip of {tip}, usual is up to {usual}: dales may read too shallow", tip=6, usual=6
    ),
    BenchKind.SCAN_SORTED: _alone("points were not in order of depth: sorted"),
    BenchKind.FEW_POINTS: _few_points,
    BenchKind.OFFSET_CONSTANT: _alone("the offset never changes: check that the probe touched the flank"),
    BenchKind.SCAN_SPIKE: _amounts(
        "one point at depth {depth} stands off its neighbours by {away}, more than all the others span: scan it again",
        depth=4,
        away=3,
    ),
    BenchKind.TRACE_CLIPPED: lambda f: plural(
        "{n} point stands level at the end of the range: the trace is clipped, and its roughness too small",
        "{n} points stand level at the end of the range: the trace is clipped, and its roughness too small",
        _count(f, "points"),
    ),
    BenchKind.READING_UNCERTAIN: _uncertain,
    BenchKind.ONE_INSPECTOR: _alone("One inspector took part: what differs between inspectors is not in this figure."),
    BenchKind.UNEQUAL_COUNTS: _alone("Counts are unequal: intervals are given for repeatability only."),
    BenchKind.NOBODY_TWICE: _alone(
        "No inspector measured a coupon twice: what an inspector makes of one coupon is counted as repeatability."
    ),
    BenchKind.BELOW_ZERO: lambda f: text(
        "The estimate of the spread {source} is below zero and counts as zero.", source=source(f.about.source)
    ),
    BenchKind.SHARE_OF_LIMIT: _share("That is {share} of the limit it is graded against."),
    BenchKind.SHARE_OF_SPREAD: _share("The bench makes up {share} of the variance of the trial's readings."),
    BenchKind.SEES_WORTHWHILE: _alone("The bench sees the worthwhile difference between two single readings."),
    BenchKind.NEEDS_COUPONS: _needs_coupons,
    BenchKind.BIAS_BEYOND: _bias(
        "The bench reads {value} against the reference, beyond what {n} readings and the certificate leave open."
    ),
    BenchKind.BIAS_WITHIN: _bias(
        "The bench reads {value} against the reference, within what {n} readings and the certificate leave open."
    ),
    BenchKind.PAIRS_AGREE: _pairs,
    BenchKind.SEES_GRADE: _sees_grade,
    BenchKind.GRADE_NEEDS_COUPONS: _grade_needs,
}
