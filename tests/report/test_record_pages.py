"""Grades on the engineer's pages: every coupon is somewhere, in the table and in the list of reasons."""

import re

from trials.findings import About, Finding
from trials.grade.kinds import GradeKind
from trials.report.record_pages import grades_section


def test_every_reason_is_listed_so_that_the_coupons_add_up(trial, extras):
    """Nine different sets of reasons: more than two columns of four."""
    graded = extras.graded.copy()
    usual = [Finding(GradeKind.FEW_READINGS, About(response="squareness"), {"usual": n}) for n in range(3, 12)]
    failed = [place for place, answer in enumerate(graded["meets"]) if answer != "yes"]
    reasons = list(graded["reasons"])
    for k, place in enumerate(failed):
        reasons[place] = (*reasons[place], usual[k % len(usual)])
    graded["reasons"] = reasons
    (listed,) = [block for block in grades_section(graded, trial)["blocks"] if block["kind"] == "columns"]
    assert len(listed["items"]) > 8
    assert sum(int(re.search(r"\((\d+) coupon", line)[1]) for line in listed["items"]) == len(failed)


def test_coupons_left_uncut_have_a_column_of_their_own_where_there_are_any(trial, extras):
    """Planned = not cut + lost + cut in every row, so that the reader can check the table."""
    graded = extras.graded.copy()
    assert "Not cut" not in grades_section(graded, trial)["blocks"][0]["head"]
    graded.loc[graded.index[:7], "outcome"] = "not_cut"
    table = grades_section(graded, trial)["blocks"][0]
    assert table["head"][1:5] == ["Planned", "Not cut", "Lost", "Cut"]
    counts = [[int(cell) for cell in row[1:5]] for row in table["rows"]]
    assert all(planned == uncut + lost + cut for planned, uncut, lost, cut in counts)
    assert sum(row[1] for row in counts) == 7
