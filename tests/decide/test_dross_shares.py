"""Grades that decide: four words by shares of coupons at the required grade, and no word without a declared share."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from tests_support import TRIAL_TEXT, told

from trials.decide.dross_shares import by_shares, shares_said, worthwhile_share
from trials.decide.kinds import StudyKind
from trials.decide.prepare import prepare
from trials.decide.response import Studied, fit_response, study_response
from trials.decide.results import Comparison
from trials.errors import InputError
from trials.findings import Place, PlaceKind
from trials.infer.answer import Added, Answer, levels
from trials.infer.means import share_differences
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.plan.power import Counts, specimens_needed
from trials.report.response_pages import _size_cells
from trials.trial import parse, worthwhile_margins
from trials.words.first_page import _gain
from trials.words.study import change_words

PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
ALLOWED = {kind: [(p, s) for p in (0.5, 0.7, 0.9) for s in (0.6, 1.0, 1.4)] for kind in ("cylindrical", "double")}


def trial_with(worthwhile: str):
    declared = f'worthwhile = "{worthwhile}"\n' if worthwhile else ""
    text = TRIAL_TEXT.replace("primary = true\n", "")
    return parse(text.replace("[responses.dross]\n", f"[responses.dross]\nprimary = true\n{declared}"))


def grades(make_table, good: dict[str, int]) -> pd.DataFrame:
    """So many of the nine coupons of each specimen have grade 1 or 0, the others 2 or 3; one row per coupon."""
    table = make_table(readings=1)
    for (kind, _), rows in table.groupby(["nozzle", "specimen"]):
        marks = [1.0 if i < good[kind] else 2.0 + i % 2 for i in range(len(rows))]
        table.loc[rows.index, "value"] = np.roll(marks, int(rows.index[0]) // 9)
    return table


def words_of(trial, table, lost=None):
    ready = prepare(trial, "dross", table)
    return by_shares(trial, ready, ALLOWED, levels(1), lost)


def test_more_coupons_at_the_grade_is_better(make_table):
    trial = trial_with("20 %")
    assert worthwhile_share(trial, "dross") == 0.2 and worthwhile_margins(trial, "dross") is None
    (found,) = words_of(trial, grades(make_table, {"cylindrical": 2, "double": 8}))
    assert (found.nozzle, found.kind, found.answer) == ("double", "share", Answer.BETTER)
    assert found.value == pytest.approx(6 / 9) and found.times_worthwhile == pytest.approx(6 / 9 / 0.2)
    assert change_words(found, "").startswith("67 of 100 coupons more at the required grade, interval ")
    assert _gain(None, found).startswith("About 67 of 100 coupons more reach the required dross grade, surely more")


def test_lost_coupons_do_not_reach_the_grade(make_table):
    table = grades(make_table, {"cylindrical": 4, "double": 4})
    lost = pd.DataFrame({"nozzle": ["double"] * 3, "specimen": ["d0", "d1", "d2"], "coupon": ["x", "y", "z"]})
    (bare,), (found,) = words_of(trial_with("20 %"), table), words_of(trial_with("20 %"), table, lost)
    assert bare.value == pytest.approx(0.0, abs=1e-12)
    assert found.value == pytest.approx(4 / 10 - 4 / 9)


def test_one_specimen_of_each_type_gives_no_word(make_table):
    table = grades(make_table, {"cylindrical": 2, "double": 8})
    (found,) = words_of(trial_with("20 %"), table[table["specimen"].isin(["c0", "d0"])])
    assert found.answer == Answer.NOT_SETTLED and np.isnan(found.low) and found.p is None


def test_the_study_says_what_the_word_rests_on(make_table):
    table = grades(make_table, {"cylindrical": 2, "double": 8})
    for worthwhile, kind in (("20 %", StudyKind.GRADES_BY_SHARES), ("", StudyKind.GRADES_WITHOUT_WORTHWHILE)):
        trial = trial_with(worthwhile)
        studied = fit_response(trial, "dross", table)
        assert isinstance(studied, Studied)
        result = study_response(trial, studied, ALLOWED, levels(1))
        assert kind in [finding.kind for finding in result.said]
        assert result.comparisons[0].answer == (Answer.BETTER if worthwhile else Answer.NOT_SETTLED)


def test_a_plan_says_where_no_difference_was_declared():
    found = [f for f in make_plan(trial_with("")).found if f.kind == PlanKind.GRADE_WITHOUT_WORTHWHILE]
    assert 'worthwhile = "20 %"' in told(found)[0] and "grade 1 or better" in told(found)[0]
    assert PlanKind.GRADE_WITHOUT_WORTHWHILE not in [f.kind for f in make_plan(trial_with("20 %")).found]


@pytest.mark.parametrize(("worthwhile", "grade", "message"), [("120 %", True, "no share"), ("20 %", False, "at which")])
def test_a_share_that_cannot_be_used_is_refused(worthwhile, grade, message):
    text = TRIAL_TEXT.replace("[responses.dross]\n", f'[responses.dross]\nworthwhile = "{worthwhile}"\n')
    with pytest.raises(InputError, match=message):
        parse(text if grade else text.replace(", dross_grade = 1", ""))


def test_every_figure_of_a_word_by_shares(make_table):
    """Six of nine against two of nine, and three of nine: figures of the differences themselves, at each confidence."""
    trial = trial_with("20 %")
    found = words_of(trial, grades(make_table, {"cylindrical": 2, "double": 5}))[0]
    met, tried = np.array([2.0] * 3 + [5.0] * 3), np.full(6, 9.0)
    types = np.array(["cylindrical"] * 3 + ["double"] * 3, dtype=object)
    wide = share_differences(met, tried, types, "cylindrical").at(levels(1).difference)
    assert found.value == pytest.approx(3 / 9, rel=1e-12) and found.against == "cylindrical"
    assert (found.low, found.high, found.p) == pytest.approx((wide.low[0], wide.high[0], wide.p[0]), rel=1e-9)
    assert found.confidence == levels(1).difference and found.times_worthwhile == pytest.approx(3 / 9 / 0.2, rel=1e-12)
    (turned,) = words_of(trial, grades(make_table, {"cylindrical": 5, "double": 2}))
    assert turned.value == pytest.approx(-3 / 9) and turned.times_worthwhile == pytest.approx(3 / 9 / 0.2)


def test_shares_that_are_the_same_within_the_worthwhile_one(make_table):
    """Everything meets: by counting alone the difference is known to a few in a hundred, well within 40."""
    (found,) = words_of(trial_with("40 %"), grades(make_table, {"cylindrical": 9, "double": 9}))
    assert found.answer == Answer.SAME and found.low == pytest.approx(-found.high, rel=1e-9)


def test_without_repetition_the_difference_stands_alone(make_table):
    table = grades(make_table, {"cylindrical": 2, "double": 8})
    lost = pd.DataFrame({"nozzle": ["double", "third"], "specimen": ["d0", "t0"], "coupon": ["x", "y"]})
    (found,) = words_of(trial_with("20 %"), table[table["specimen"].isin(["c0", "d0"])], lost)
    assert (found.nozzle, found.against, found.kind) == ("double", "cylindrical", "share")
    assert found.value == pytest.approx(8 / 10 - 2 / 9, rel=1e-12) and np.isnan(found.high)
    assert found.answer_adds == Added.NO_REPLICATION and found.confidence == levels(1).difference


def test_no_shares_where_none_are_asked_for(make_table):
    table = grades(make_table, {"cylindrical": 2, "double": 8})
    assert words_of(trial_with(""), table) is None
    assert words_of(trial_with("20 %"), table[table["nozzle"] == "double"]) is None  # nothing of today's type


def test_what_is_said_of_shares_is_about_the_decisive_grade_alone(make_table):
    table = grades(make_table, {"cylindrical": 2, "double": 8})
    trial = trial_with("20 %")
    ready = prepare(trial, "dross", table)
    found = words_of(trial, table)
    (said,) = shares_said(trial, ready, found, primary=True)
    assert said.facts == {"grade": 1, "share": 0.2} and said.about.response == "dross"
    assert shares_said(trial, ready, found, primary=False) == () and shares_said(trial, ready, None, primary=True) == ()
    assert shares_said(trial, prepare(trial, "roughness", make_table()), found, primary=True) == ()


OPEN = Comparison("double", "plain", PLACE, "share", -2 / 3, -1.254, -0.08, 0.03, Answer.WORSE, None, 0.95)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ((-2 / 3, -1.254, -0.08), "67 of 100 coupons fewer at the required grade, interval 8 to 100"),
        ((0.7, 0.2, 1.3), "70 of 100 coupons more at the required grade, interval 20 to 100"),
        ((0.22, -0.36, 0.805), "22 of 100 coupons more at the required grade, interval 36 fewer to 80 more"),
        ((-0.1, np.nan, np.nan), "10 of 100 coupons fewer at the required grade"),
    ],
)
def test_no_more_than_all_coupons_can_differ(sizes, words):
    found = dataclasses.replace(OPEN, value=sizes[0], low=sizes[1], high=sizes[2])
    assert change_words(found, "") == words
    assert _size_cells(found)[0] in ("-0.67", "+0.70", "+0.22", "-0.10") and "1.25" not in _size_cells(found)[1]


def test_an_open_share_says_what_would_settle_it(make_table):
    """Nothing is said where all is settled; else specimens by the spread of one specimen's share."""
    trial = trial_with("20 %")
    found = study_response(
        trial, fit_response(trial, "dross", grades(make_table, {"cylindrical": 5, "double": 6})), ALLOWED, levels(1)
    )
    assert [c.answer for c in found.comparisons] == [Answer.NOT_SETTLED]
    (needed,) = found.more
    # every specimen of a type has the same share: counting alone, (5 9 + 1/2) of 27 + 1 coupons and so on, nine each
    shares = [(3 * good + 0.5) / 28 for good in (5, 6)]
    spread = float(np.mean([share * (1 - share) / 9 for share in shares]))
    wanted = specimens_needed({"specimen": spread}, 0.2, Counts(types=2, specimens=3), levels(1))
    assert needed.facts["specimens_at_worthwhile"] == wanted.at_worthwhile > 3
    assert needed.facts["specimens_at_zero"] == wanted.at_zero > 3 and not needed.facts["mounts_apply"]
    settled = study_response(
        trial, fit_response(trial, "dross", grades(make_table, {"cylindrical": 2, "double": 8})), ALLOWED, levels(1)
    )
    assert settled.more == ()
