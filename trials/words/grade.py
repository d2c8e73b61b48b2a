"""Grades in words: the reasons, the designation, ranges and answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from trials.findings import Amount, Finding
from trials.grade.iso9013 import NOT_GRADED, WORSE, Designation
from trials.grade.kinds import GradeKind, Item, Meets
from trials.words.language import plural, text
from trials.words.numbers import bare, fixed, plain
from trials.words.requirement import item
from trials.words.system import in_use, shown_unit, unit_in_use

if TYPE_CHECKING:
    import pandas as pd

    from trials.grade.conformity import Zone


def why(reasons: Iterable[Finding]) -> str:
    """The reasons of one coupon, in one line."""
    return "; ".join(SENTENCES[reason.kind](reason) for reason in reasons)


def reasons_counted(reasons: Iterable[Finding], coupons: int) -> str:
    """The reasons that several coupons share, with their number."""
    return plural("{why} ({n} coupon)", "{why} ({n} coupons)", coupons, why=why(reasons))


def designation(found: Designation) -> str:
    """The designation, or that there is none and why."""
    if found.code:
        return found.code
    return text("none: {reasons}", reasons=", ".join(_LACKING[known.kind](known) for known in found.lacking))


def meets(answer: Meets) -> str:
    """The answer as printed."""
    return {Meets.YES: text("yes"), Meets.NO: text("no"), Meets.UNDECIDED: text("undecided")}[answer]


def range_words(grade: int) -> str:
    """A range of ISO 9013 as `trials.grade.iso9013` gives it."""
    if grade == NOT_GRADED:
        return text("not graded")
    return text("worse than the last range") if grade == WORSE else text("range {n}", n=grade)


def _scope(finding: Finding) -> str:
    low, high = finding.facts["low"], finding.facts["high"]
    assert isinstance(low, Amount) and isinstance(high, Amount)
    return text("thickness outside {low} to {high}", low=bare(low.value, low.unit), high=plain(high.value, high.unit))


def _graded_all_the_same(finding: Finding) -> str:
    return text("{scope}, graded by the same formulas", scope=_scope(finding))


def _worse(finding: Finding) -> str:
    return text("{item} worse than range {n}", item=item(finding.about.response), n=finding.facts["last"])


def _not_measured(finding: Finding) -> str:
    known = item(finding.about.response)
    if finding.about.response == Item.DROSS:
        return text("{item} not graded", item=known)
    return text("{item} not measured", item=known)


def _few(finding: Finding) -> str:
    usual = finding.facts["usual"]
    return text("fewer readings of {item} than the usual {n}", item=item(finding.about.response), n=usual)


def _of_item(template: str) -> Callable[[Finding], str]:
    return lambda finding: text(template, item=item(finding.about.response))


def _alone(template: str) -> Callable[[Finding], str]:
    return lambda finding: text(template)


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    GradeKind.SCRAPPED: _alone("scrapped, not graded"),
    GradeKind.NOT_CUT_YET: _alone("not cut yet"),
    GradeKind.NOT_CUT: _alone("left uncut, not graded"),
    GradeKind.NOT_SEVERED: _alone("not severed"),
    GradeKind.ABORTED: _alone("cut aborted"),
    GradeKind.NO_THICKNESS: _alone("no thickness given"),
    GradeKind.OUT_OF_SCOPE: _graded_all_the_same,
    GradeKind.WORSE_THAN_LAST: _worse,
    GradeKind.OVER_LIMIT: _of_item("{item} over the limit"),
    GradeKind.NEAR_LIMIT: _of_item("{item} too near the limit for the uncertainty of the bench"),
    GradeKind.BEYOND_RANGE: _of_item("{item} beyond the range of its instrument, which leaves it open"),
    GradeKind.NOT_MEASURED: _not_measured,
    GradeKind.FEW_READINGS: _few,
    GradeKind.NO_REQUIREMENT: _alone("no requirement stated"),
    GradeKind.ALL_INSIDE: _alone("every required value is inside its limit"),
    GradeKind.NOTHING_GRADED: _alone("neither u nor Rz5 was graded"),
    GradeKind.NO_EDGE: _alone("no edge to grade"),
}
_LACKING = {**SENTENCES, GradeKind.OUT_OF_SCOPE: _scope}


def column_heads() -> dict[str, str]:
    """Heads of the columns of a table of grades, by the name of the column."""
    return {
        "coupon": text("coupon"),
        "nozzle": text("nozzle"),
        "squareness_range": text("u range"),
        "roughness_range": text("Rz5 range"),
        "dross_grade": text("dross"),
        "designation": text("designation"),
        "meets": text("meets"),
        "reasons": text("why"),
    }


def table_cells(graded: pd.DataFrame, columns: Sequence[str]) -> list[list[object]]:
    """Cells of a table of grades: what was not graded is empty; a coupon that meets the requirement needs no reason."""
    rows = graded[list(columns)].to_dict(orient="records")
    return [[_cell(name, row[name], row["meets"] == Meets.YES) for name in columns] for row in rows]


def _cell(column: str, value: Any, met: bool) -> object:
    if column in ("squareness_range", "roughness_range"):
        return {NOT_GRADED: "", WORSE: text("worse")}.get(value, int(value))
    if column == "designation":
        return designation(value)
    if column == "reasons":
        return "" if met else why(value)
    if column == "meets":
        return meets(value)
    return None if value is None or value != value else value


def zone_heads() -> list[str]:
    """Heads of the table of limits and zones."""
    return [text("of"), text("limit"), text("U (k = 2)"), text("met up to"), text("undecided"), text("failed above")]


def zone_cells(zone: Zone) -> list[str]:
    """One item of the requirement: its limit, the uncertainty of a reading, and where a value is proved."""
    digits = {"mm": 3, "um": 1, "in": 4, "uin": 0}[unit_in_use(zone.unit)]
    ends = [fixed(in_use(value, zone.unit), digits) for value in (zone.limit, zone.met, zone.failed)]
    limit, met, failed = (f"{end} {shown_unit(zone.unit)}" for end in ends)
    between = text("{low} to {high}", low=ends[1], high=ends[2])
    open_ = between if zone.failed > zone.met else text("none")
    known = plain(zone.expanded, zone.unit) if zone.expanded else text("not stated")
    return [item(zone.item), limit, known, met, open_, failed]


def not_listed(coupons: int) -> str:
    """How many coupons are left out of the table."""
    return plural("{n} coupon is not cut yet.", "{n} coupons are not cut yet.", coupons)


def tally(counts: Mapping[Meets, int]) -> str:
    """How many coupons meet the requirement, do not, or stay undecided."""
    return text(
        "Meets: {yes} yes, {no} no, {undecided} undecided.",
        yes=counts[Meets.YES],
        no=counts[Meets.NO],
        undecided=counts[Meets.UNDECIDED],
    )


def judged_sentence(judged_by: str) -> str:
    """By which reading a coupon was judged."""
    if judged_by == "mean":
        return text("Judged by the mean of the readings of each coupon; dross by this project's own scale of 0 to 4.")
    return text("Judged by the worst reading of each coupon; dross by this project's own scale of 0 to 4.")


def dross_name(grade: int) -> str:
    """Short name of a dross grade, 0 to 4."""
    return (
        text("no dross"),
        text("loose beads"),
        text("firm beads"),
        text("continuous, removable"),
        text("continuous, fused"),
    )[grade]


def dross_definition(grade: int) -> str:
    """How to tell a dross grade, 0 to 4, at the bench."""
    return (
        text("Nothing sticks to the lower edge; a cloth drawn along it does not catch."),
        text("Single beads that come off with a gloved finger or a soft brush."),
        text("Single beads that need a tool, such as a scraper, and leave the edge whole."),
        text("An unbroken line along the edge that a tool takes off in pieces."),
        text("An unbroken line grown into the edge; only grinding takes it off."),
    )[grade]
