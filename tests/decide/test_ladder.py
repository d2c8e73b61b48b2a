"""The answer of a ladder trial: what counts as clean, what is said beside the answer, what would settle it."""

import math
from dataclasses import replace
from types import SimpleNamespace as Made

import pandas as pd
import pytest

from trials.decide import ladder
from trials.decide.clean_speed import CleanSpeedComparison, Worthwhile
from trials.decide.ladder import LadderKind, MountLadder, _compared, _pieces, answer_ladder, clean_grade
from trials.errors import InputError
from trials.infer.answer import Answer, levels
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.trial import parse

FILE = """
trial = {{title = "t", question = "q"}}
application = {{material = "steel"{required}}}
nozzles = [{{type = "plain", specimens = ["A1"], today = true}}, {{type = "double", specimens = ["B1"]}}]
factors.speed = {{unit = "m/min", levels = [1.0, 5.0]}}
plan = {{method = "ladder"}}
responses.dross = {{readings = 1{primary}}}
{clean}
"""
GRADE = ", required = {dross_grade = 1}"


def trial(clean='responses.clean_speed = {worthwhile = "0.5 m/min"}', required="", primary=""):
    return parse(FILE.format(clean=clean, required=required, primary=primary))


def ladders(**limits):
    """Coupons and grades of ladders 1, 1.5 .. 5 that stop at the first step above their limit; limits by type."""
    coupons, grades = [], []
    for nozzle, own in limits.items():
        for i, limit in enumerate(own):
            for k in range(9):
                speed, mark = 1.0 + 0.5 * k, f"{nozzle}{i}-{k}"
                coupons.append((mark, f"{nozzle}-M{i}", nozzle, f"{nozzle}{i}", speed, "cut"))
                grades.append((mark, 0 if speed <= limit else 3))
                if speed > limit:
                    break
    names = ["coupon", "mount", "nozzle", "specimen", "speed_m_min", "outcome"]
    return pd.DataFrame(coupons, columns=names), pd.DataFrame(grades, columns=["coupon", "value"])


PLAIN = (2.1, 2.6, 2.2, 3.1, 2.7, 2.9)
FASTER = (4.1, 3.9, 4.2, 3.7, 4.4, 3.6)


def answered(file=None, **limits):
    return answer_ladder(file or trial(), *ladders(**limits), levels(1))


def kinds(found):
    return {finding.kind for finding in found.said}


def test_a_faster_type_gets_its_word_and_size():
    found = answered(plain=PLAIN, double=FASTER)
    (double,) = found.comparisons
    assert (double.answer, double.kind, double.settings.settings) == ("better", "difference", ({},))
    assert double.times_worthwhile == pytest.approx(double.value / 0.5)
    assert double.in_unit == (double.value, double.low, double.high) and double.confidence == 0.95
    assert not found.more and {LadderKind.CLEAN_MEANS, LadderKind.JUDGED_BY, LadderKind.SPEEDS_RISE} <= kinds(found)
    assert [m.mount for m in found.mounts][:2] == ["plain-M0", "plain-M1"]
    assert (found.mounts[0].low, found.mounts[0].high) == (2.0, 2.5) and found.steps == (1.0, 4.5)


def test_a_share_is_carried_into_the_unit():
    (double,) = answered(trial('responses.clean_speed = {worthwhile = "10 %"}'), plain=PLAIN, double=FASTER).comparisons
    typical = {each.nozzle: each.typical for each in answered(plain=PLAIN, double=FASTER).types}
    assert double.kind == "ratio" and double.value == pytest.approx(typical["double"] / typical["plain"])
    assert double.in_unit[0] == pytest.approx(typical["double"] - typical["plain"])
    assert double.times_worthwhile == pytest.approx(math.log(double.value) / math.log(1.1))


def test_open_ends_are_named_and_more_is_asked_for_where_nothing_is_settled():
    found = answered(plain=(1.1, 3.2, 2.1, 4.6, 5.0, 0.0), double=(5.0, 3.1, 1.6, 5.0, 2.4, 3.6))
    assert found.comparisons[0].answer == "not settled"
    above = next(f for f in found.said if f.kind == LadderKind.CLEAN_TO_THE_LAST)
    below = next(f for f in found.said if f.kind == LadderKind.NOT_CLEAN_AT_ALL)
    assert above.facts["mounts"] == ("plain-M4", "double-M0", "double-M3") and below.facts["mounts"] == ("plain-M5",)
    (more,) = found.more
    assert more.facts["specimens"] == 6 and more.facts["chance"] == 0.8


def test_without_a_worthwhile_difference_there_are_numbers_and_no_word():
    found = answered(trial("", GRADE, ", primary = true"), plain=PLAIN, double=FASTER)
    assert found.comparisons[0].answer is None and LadderKind.NO_WORTHWHILE in kinds(found)
    assert not found.more and found.comparisons[0].times_worthwhile is None


def test_ladders_that_cannot_be_compared_say_why():
    found = answered(plain=PLAIN[:1], double=FASTER[:1])
    assert found.types == found.comparisons == () and len(found.mounts) == 2
    assert "One mount per type" in found.said[0].facts["text"] and found.said[0].kind == LadderKind.NOT_COMPARED


def test_one_piece_of_each_is_about_pieces():
    coupons, grades = ladders(plain=PLAIN, double=FASTER)
    found = answer_ladder(trial(), coupons.assign(specimen=coupons["nozzle"].str.upper()), grades, levels(1))
    assert found.pieces == {"plain": "PLAIN", "double": "DOUBLE"}


@pytest.mark.parametrize(
    ("clean", "required", "expected"),
    [
        ('responses.clean_speed = {worthwhile = "10 %", dross_grade = 2}', GRADE, (2, True)),
        ('responses.clean_speed = {worthwhile = "10 %"}', GRADE, (1, True)),
        ('responses.clean_speed = {worthwhile = "10 %"}', "", (0, False)),
    ],
)
def test_what_counts_as_clean(clean, required, expected):
    assert clean_grade(trial(clean, required)) == expected


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('worthwhile = "0.5 m/min"', 'worthwhile = "0.5"'), "needs a unit that fits one in .m.min"),
        (('worthwhile = "0.5 m/min"', 'worthwhile = "0.5 bar"'), "needs a unit that fits one in .m.min"),
        (('worthwhile = "0.5 m/min"', 'worthwhile = "100 %"'), "not below 100 %"),
        (('worthwhile = "0.5 m/min"', 'worthwhile = "0 %"'), "not above zero"),
        (('worthwhile = "0.5 m/min"', "dross_grade = 1"), "responses.clean_speed.worthwhile: missing key"),
        (('method = "ladder"', 'method = "full"'), "only a ladder has it"),
        (("responses.dross = {readings = 1}", "responses.roughness = {}"), "judged clean by its dross grade"),
    ],
)
def test_a_clean_speed_that_cannot_be_used_is_named(change, said):
    text = FILE.format(clean='responses.clean_speed = {worthwhile = "0.5 m/min"}', required="", primary="")
    assert change[0] in text
    with pytest.raises(InputError, match=said) as caught:
        parse(text.replace(*change))
    assert "clean_speed" in str(caught.value)


def test_a_figure_in_another_unit_is_converted():
    file = trial('responses.clean_speed = {worthwhile = "5 mm/s"}')
    assert answered(file, plain=PLAIN, double=FASTER).worthwhile.value == pytest.approx(0.3)  # 5 mm/s is 0.3 m/min


THICK = """
trial = {title = "t", question = "q"}
application = {material = "S355", gas = "oxygen", cut = "flame", required = {dross_grade = 1}}
nozzles = [
    {type = "plain", specimens = 6, today = true},
    {type = "double", specimens = 6},
]
factors.thickness = {unit = "mm", levels = [4, 5, 6, 8, 10], today = 6}
plan = {method = "ladder", seed = 3}
responses.clean_thickness = {worthwhile = "1 mm"}
responses.dross = {readings = 1}
"""


def test_a_thickness_limit_is_a_ladder_over_sheets():
    file = parse(THICK)
    plan = make_plan(file)
    coupons = plan.coupons
    by_sheet = coupons.groupby("sheet")["thickness_mm"].nunique()
    assert (by_sheet == 1).all() and coupons.groupby("mount")["sheet"].nunique().eq(5).all()
    assert sorted(plan.sheets["sheet"]) == sorted(coupons["sheet"].unique())
    assert all(rows["thickness_mm"].is_monotonic_increasing for _, rows in coupons.groupby("mount"))
    limit = {"plain": 5.5, "double": 8.5}
    spread = dict(zip(dict.fromkeys(coupons["specimen"]), [0, 1, -0.6] * 4, strict=True))
    clean = [row.thickness_mm <= limit[row.nozzle] + spread[row.specimen] for row in coupons.itertuples()]
    coupons = coupons.assign(outcome="cut")
    dross = pd.DataFrame({"coupon": coupons["coupon"], "value": [0.0 if good else 3.0 for good in clean]})
    found = answer_ladder(file, coupons, dross, levels(1))
    assert (found.rising, found.unit, file.clean_name) == ("thickness", "mm", "clean_thickness")
    plain, double = found.types
    assert plain.low < 5.6 < plain.high and double.low < 8.6 < double.high
    (one,) = found.comparisons
    assert one.answer == Answer.BETTER and LadderKind.THICKNESS_RISES in kinds(found)


def test_a_clean_thickness_needs_its_factor():
    with pytest.raises(InputError, match="a factor named thickness"):
        parse(THICK.replace("factors.thickness", "factors.speed").replace("mm", "m/min"))


@pytest.mark.parametrize(("pieces", "warned"), [(3, True), (6, False)])
def test_few_mounts_are_warned_of_before_cutting(pieces, warned):
    plan = make_plan(parse(THICK.replace("specimens = 6", f"specimens = {pieces}")))
    found = [finding for finding in plan.found if finding.kind is PlanKind.LADDER_FEW_MOUNTS]
    assert bool(found) == warned
    assert not warned or found[0].facts["mounts"] == (("plain", 3), ("double", 3))


@pytest.mark.parametrize(
    ("specimens", "alone"),
    [
        ({"plain": ["P1", "P1"], "double": ["D1"]}, {"plain": "P1", "double": "D1"}),
        ({"plain": ["P1", "P2"], "double": ["D1"]}, {}),
        ({"plain": ["P1"], "double": [""]}, {}),
        ({"plain": ["P1", ""], "double": ["D1"]}, {}),
    ],
)
def test_an_answer_is_about_pieces_where_every_type_had_one_with_a_mark(specimens, alone):
    mounts = [MountLadder(f"{n}{i}", n, mark, 1.0, 2.0) for n, own in specimens.items() for i, mark in enumerate(own)]
    assert _pieces(tuple(mounts)) == alone


def test_a_comparison_is_counted_in_the_spread_between_mounts():
    one = CleanSpeedComparison("double", "plain", "difference", -1.5, -2.0, -1.0, 0.01, None, None, False)
    study = Made(mount_sd=0.3, specimen_sd=0.4, confidence=0.95, worthwhile=None)
    # the spread of a mount of any specimen is 0.5, of 0.3 and 0.4 squared and added
    assert _compared(one, study, None, 4.0).times_spread == pytest.approx(3.0, rel=1e-12)
    share = replace(one, kind="ratio", value=1.5, low=1.25, high=1.75)
    found = _compared(share, study, None, 4.0)
    assert found.in_unit == (2.0, 1.0, 3.0) and found.times_spread == pytest.approx(4.0, rel=1e-12)
    known = Made(mount_sd=0.0, specimen_sd=0.0, confidence=0.95, worthwhile=None)
    assert _compared(one, known, None, 4.0).times_spread is None


def test_what_it_would_take_counts_a_twelfth_of_the_step_squared(monkeypatch):
    asked = []

    def specimens_needed(variances, worthwhile, counts, levels):
        asked.append((variances, worthwhile, counts))
        return Made(finding=lambda: "needed")

    monkeypatch.setattr(ladder, "specimens_needed", specimens_needed)
    rows = tuple(Made(typical=4.0, n_specimens=3, n_mounts=6) for _ in range(2))
    study = Made(
        worthwhile=Worthwhile(0.5, "difference"),
        comparisons=(Made(answer=Answer.NOT_SETTLED),),
        types=rows,
        specimen_sd=0.4,
        mount_sd=0.3,
    )
    # nine speeds from 1 to 5.8 lie 0.6 apart: 0.36 / 12 = 0.03 beside 0.09
    assert ladder._more(None, study, levels(1), (1.0, 5.8), 9) == ("needed",)
    ((variances, worthwhile, counts),) = asked
    assert variances == pytest.approx({"specimen": 0.16, "mount": 0.12}, rel=1e-12)
    assert (worthwhile, counts.types, counts.specimens, counts.mounts) == (0.5, 2, 3, 2)
