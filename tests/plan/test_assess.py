"""What a plan can show, against closed forms, simulation and hand counts."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from plan.scenes import TYPES, trial_text
from tests_support import told

from trials.errors import InputError
from trials.findings import PlaceKind
from trials.gas import normal_volume_flow
from trials.plan.assess import Asks, Subject, assess
from trials.plan.assess.effort import effort
from trials.plan.assess.frame import build_frame
from trials.plan.assess.prediction_map import prediction_map
from trials.plan.assess.questions import questions_of
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.plan.power import Balanced, Part, Pattern, Simulation, detectable_balanced, simulate_tests
from trials.trial import expected_spreads, parse

AVERAGED = Subject(Asks.TYPES, PlaceKind.AVERAGE)
TODAY = Subject(Asks.TYPES, PlaceKind.TODAY)
PRESSURE = Subject(Asks.FACTOR, factor="pressure")


def judged(**changes):
    trial = parse(trial_text(**changes))
    return assess(trial, make_plan(trial))


def by_question(found):
    return {(line.subject, line.pattern): line for line in found.detectable}


@pytest.mark.parametrize(("sheets", "df"), [(1, 8), (3, 6)])
def test_twelve_specimens_leave_eight_or_six_degrees_of_freedom(sheets, df):
    found = judged(sheets=sheets)
    assert f"3 and {df} degrees of freedom, from 12 specimens" in told([found.questions[0].finding])[0]


def test_coupon_degrees_of_freedom_by_hand():
    trial = parse(trial_text())
    frame = build_frame(trial, make_plan(trial))
    # 108 coupons less 12 mounts less the terms inside mounts: 2 linear, 2 squares, 6 + 6 nozzle x (linear, square), 1
    assert frame.coupon_df == 108 - 12 - (2 + 2 + 6 + 6 + 1)
    assert frame.balanced


@pytest.mark.parametrize("sheets", [1, 3])
@pytest.mark.parametrize("pattern", [Pattern.LEAST_FAVOURABLE, Pattern.TYPICAL])
def test_balanced_plan_gives_the_closed_form(sheets, pattern):
    line = by_question(judged(sheets=sheets))[AVERAGED, pattern]
    spreads = {"specimen": math.log(1.08), "coupon": math.log(1.10), "reading": math.log(1.07)}
    closed = detectable_balanced(Balanced(4, 3, 1, 9, 3, sheets), spreads, pattern)
    assert line.exact
    # sheets are taken out by a variance a million times that of a coupon
    assert line.size == pytest.approx(closed, rel=1e-5)


def test_demo_plan_simulated_with_the_real_analysis_agrees():
    trial = parse(trial_text())
    frame = build_frame(trial, make_plan(trial))
    # specimens well above the coupons, so that no component is estimated as zero
    spreads = {"specimen": 0.30, "coupon": 0.10, "reading": 0.07, "sheet": 0.30}
    questions = {q.subject: q for q in questions_of(trial, frame)}
    fixed, groups = frame.reading_rows(3)
    contrasts = {name: questions[name].contrast for name in (AVERAGED, PRESSURE)}
    filled = frame.spreads_of_groups(groups, spreads, 3)
    found = simulate_tests(fixed, groups, filled, contrasts, Simulation(200, 4))
    covariance = frame.covariance(spreads, 3)
    for name, simulated in found.items():
        question = questions[name]
        effect = next(iter(question.effects.values()))
        size = assess_size(question, covariance, frame)
        # 80 % was aimed at; four standard errors of 200 trials
        assert simulated.chance(size * effect) == pytest.approx(0.8, abs=4.0 * math.sqrt(0.8 * 0.2 / 200))


def assess_size(question, covariance, frame):
    from trials.plan.power import noncentrality_needed

    effect = next(iter(question.effects.values()))
    per_unit = effect @ np.linalg.solve(question.contrast @ covariance @ question.contrast.T, effect)
    return math.sqrt(noncentrality_needed(question.df, question.den_df(frame, covariance)) / per_unit)


def test_expected_spreads_are_on_the_scale_of_the_model():
    trial = parse(trial_text())
    assert expected_spreads(trial, "roughness")["specimen"] == pytest.approx(math.log(1.08), rel=1e-12)


def test_without_expected_spreads_it_says_what_to_do():
    found = judged(expected=False)
    assert found.detectable == ()
    assert any("cut a pilot, or state responses.roughness.expected" in line for line in told(found.found))


def test_one_specimen_per_type_is_about_these_nozzles():
    found = judged(specimens=1, mounts=1, sheets=1)
    assert "differences come without a test" in told([found.questions[0].finding])[0]
    assert not any(line.subject.asks is Asks.TYPES for line in found.detectable)
    assert any(line.subject == PRESSURE for line in found.detectable)


def test_mounts_are_the_yardstick_where_each_type_has_one_specimen():
    found = judged(specimens=1, mounts=4, sheets=1)
    assert "3 and 12 degrees of freedom, from 16 mounts" in told([found.questions[0].finding])[0]
    spreads = {"coupon": math.log(1.10), "reading": math.log(1.07)}
    closed = detectable_balanced(Balanced(4, 1, 4, 9, 3), spreads)
    # the specimen spread plays no part: these nozzles, not these types
    assert by_question(found)[AVERAGED, Pattern.LEAST_FAVOURABLE].size == pytest.approx(closed, rel=1e-9)


def test_degrees_of_freedom_at_one_setting_by_hand():
    line = by_question(judged())[TODAY, Pattern.TYPICAL]
    s, c = math.log(1.08) ** 2, math.log(1.10) ** 2 + math.log(1.07) ** 2 / 3
    # in the middle of a three by three grid a quadratic without its product is worth 5/9 of a coupon's variance
    average, whole = s / 3 + c / 27, s / 3 + c / 3 * 5 / 9
    by_hand = whole**2 / (average**2 / 6 + (whole - average) ** 2 / 79)
    # sheets are taken out by a variance a million times that of a coupon
    assert line.den_df == pytest.approx(by_hand, rel=1e-4)


def test_limits_that_unbalance_the_plan_are_not_called_exact():
    found = judged(plan='limits = [{ nozzle = "double", factor = "pressure", at_most = 0.8 }]')
    assert not any(line.exact for line in found.detectable)
    assert "nozzle x pressure squared" in found.dropped


def test_specimens_that_visit_some_sheets_only_are_not_called_exact():
    assert not any(line.exact for line in judged(mounts=2, sheets=3).detectable)
    assert any(line.exact for line in judged(mounts=3, sheets=3).detectable)


def test_a_type_cut_in_one_go_is_confounded_with_the_day():
    trial = parse(trial_text(sheets=1))
    plan = make_plan(trial)
    order = plan.coupons.sort_values(["nozzle", "order"]).index
    coupons = plan.coupons.loc[order].assign(order=np.arange(1, len(plan.coupons) + 1))
    frame = build_frame(trial, type(plan)(coupons, plan.mounts, plan.sheets))
    assert [one.kind for one in frame.confounded] == [PlanKind.TYPES_ONE_AFTER_OTHER]


@pytest.mark.parametrize("sheets", [2, 4])
def test_types_on_sheets_of_their_own_are_confounded_with_them(sheets):
    trial = parse(trial_text(types=2, specimens=4, sheets=1))
    plan = make_plan(trial)
    half = plan.coupons["specimen"].str[-1].astype(int) % (sheets // 2)
    own = (plan.coupons["nozzle"] == "plain") * (sheets // 2) + half
    found = assess(trial, type(plan)(plan.coupons.assign(sheet="S" + own.astype(str)), plan.mounts, plan.sheets, ()))
    assert PlanKind.TYPES_ON_OWN_SHEETS in {one.kind for one in found.confounded}
    assert not any(line.subject.asks is Asks.TYPES for line in found.detectable)
    assert found.questions[0].finding.kind is PlanKind.NO_TEST_SHEETS


def test_a_text_factor_is_asked_as_classes():
    text = trial_text(types=2, sheets=1).replace('[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]', "")
    text = text.replace("[plan]", '[factors.surface]\nlevels = ["oiled", "dry", "rusty"]\n[plan]')
    trial = parse(text)
    found = assess(trial, make_plan(trial))
    asked = {question.subject: question for question in found.questions}
    assert asked[Subject(Asks.FACTOR, factor="surface")].df == 2
    lines = [line for line in found.detectable if line.subject == Subject(Asks.FACTOR, factor="surface")]
    assert {line.pattern for line in lines} == {Pattern.LEAST_FAVOURABLE, Pattern.TYPICAL}


def test_one_type_is_asked_about_its_settings_only():
    found = judged(types=1, specimens=2, sheets=1)
    assert {question.subject.factor for question in found.questions} == {"pressure", "standoff"}
    assert found.settle == {}


def test_the_drawn_order_is_not_confounded():
    assert judged().confounded == ()


def test_effective_coupons_by_hand():
    found = judged(sheets=1)
    s, c, r = math.log(1.08) ** 2, math.log(1.10) ** 2, math.log(1.07) ** 2
    by_hand = (s + c + r / 3) / (s / 3 + (c + r / 3) / 27)
    assert found.effective_coupons["roughness"] == pytest.approx(by_hand, rel=1e-9)


def test_effort_by_hand():
    work = judged(sheets=1).effort
    # 12 mounts of 12 min, one sheet 20 min, 108 coupons: 3 min, 0.2 m at 1 m/min and 4 s of gas
    assert work.machine_minutes == pytest.approx(12 * 12 + 20 + 108 * (3 + 0.2 + 4 / 60), rel=1e-12)
    # three places of 4 min on each coupon, one coupon in ten once more
    assert work.bench_minutes == pytest.approx(108 * 4 * 3.1, rel=1e-12)
    assert work.nozzle_changes == 12
    # coupons of 60 x 40 mm, between them the thickness of 12 mm
    assert work.sheet_area_m2 == pytest.approx(108 * 0.072 * 0.052, rel=1e-12)
    assert work.cut_length_m == pytest.approx(108 * 0.2, rel=1e-12)
    # 36 coupons at each pressure through a bore of 1.4 mm, 12 s of cutting and 4 s of piercing each
    flows = normal_volume_flow("oxygen", [0.5, 0.7, 0.9], math.pi * 1.4**2 / 4)
    assert work.gas_m3 == pytest.approx(36 * float(np.sum(flows)) * 16 / 3600, rel=1e-12)


def test_gas_of_a_plan_in_any_language():
    trial = parse(trial_text(sheets=1))
    plan = make_plan(trial)

    def gas(name):
        return effort(parse(trial_text(sheets=1).replace('"oxygen"', f'"{name}"')), plan).gas_m3

    assert gas("Sauerstoff") == effort(trial, plan).gas_m3 > 0
    assert gas("") is None
    with pytest.raises(InputError, match="gas is not known.*found 'acetylene'"):
        gas("acetylene")


def test_prediction_error_is_smallest_in_the_middle():
    table = judged(sheets=1).prediction
    own = table[table["nozzle"] == "plain"].set_index(["pressure_bar", "standoff_mm"])["se"]
    assert own.idxmax() in {(p, s) for p in (0.5, 0.9) for s in (0.6, 1.4)}
    assert own[0.7, 1.0] == own.min()


def test_it_settles_more_with_more_specimens():
    few, many = judged(sheets=1).settle["roughness"], judged(sheets=1, specimens=8).settle["roughness"]
    assert many.chance_at_zero > few.chance_at_zero
    assert few.at_worthwhile == many.at_worthwhile


def test_it_says_where_the_next_hour_pays():
    assert judged().next_steps["roughness"][0].more is Part.SPECIMENS


def test_a_plan_without_factors_is_judged_too():
    found = judged(factors=False, mounts=2, sheets=1)
    assert found.terms == ("nozzle",)
    assert by_question(found)[AVERAGED, Pattern.LEAST_FAVOURABLE].size > 0


def test_common_curves_make_every_coupon_count_at_todays_setting():
    own, common = judged(), judged(plan='curves = "common"')
    # two squares of four types are six terms nozzle x square, which one square for all does not need
    frames = [build_frame(trial, make_plan(trial)) for trial in map(parse, (trial_text(), common_text()))]
    assert frames[1].coupon_df - frames[0].coupon_df == 6
    assert "nozzle x pressure squared" not in common.terms and "pressure squared" in common.terms
    # at today's setting, the middle of the levels, types then differ as they do on average: all coupons count
    lines = by_question(common)
    assert lines[TODAY, Pattern.TYPICAL].size == pytest.approx(lines[AVERAGED, Pattern.TYPICAL].size, rel=1e-4)
    assert lines[TODAY, Pattern.TYPICAL].size < by_question(own)[TODAY, Pattern.TYPICAL].size


def common_text():
    return trial_text(plan='curves = "common"')


def test_which_spreads_are_expected_and_which_are_missing_is_said():
    def kinds(text):
        trial = parse(text)
        return {each.kind: each for each in assess(trial, make_plan(trial)).found}

    part = kinds(trial_text())
    assert part[PlanKind.SPREAD_MISSING].facts == {"sources": ("mount",)}  # that of a sheet is taken out, not needed
    assert part[PlanKind.SPREAD_SOURCE].about.response == "roughness"
    whole = kinds(trial_text() + '\nmount = "5 %"\nsource = "pilot"')
    assert PlanKind.SPREAD_MISSING not in whole and whole[PlanKind.SPREAD_SOURCE].facts == {"source": "pilot"}
    # the 27 coupons of a type on 3 specimens are worth more than 3 on a specimen each and less than 27
    assert 3 < whole[PlanKind.EFFECTIVE_COUPONS].facts["coupons"] < 27
    none = kinds(trial_text(expected=False))
    assert none[PlanKind.NO_EXPECTED_SPREAD].about.response == "roughness"
    assert not {PlanKind.SPREAD_SOURCE, PlanKind.SPREAD_MISSING, PlanKind.EFFECTIVE_COUPONS} & set(none)


@pytest.mark.parametrize(("today", "others", "counted"), [(4, 2, (2, 2.0)), (2, 3, (3, 2 / 3)), (3, 3, (3, 1.0))])
def test_more_specimens_of_todays_type_are_counted_as_such(today, others, counted):
    """Two of each other type beside four of the one in use; three beside two; three of each."""
    text = trial_text(specimens=others, sheets=1)
    own = [f"PL0{n}" for n in range(others)]
    trial = parse(text.replace(str(own), str([f"PL0{n}" for n in range(today)])))
    frame, spreads = build_frame(trial, make_plan(trial)), expected_spreads(trial, "roughness")
    found = frame.counts(frame.covariance(spreads, 3), spreads, 3)
    assert (found.specimens, found.today) == counted


def test_effective_coupons_do_not_depend_on_more_specimens_of_todays_type():
    """Mounts are cut alike, so a coupon is worth the same with four of today's beside two as with two."""

    def counts(text):
        trial = parse(text)
        frame, spreads = build_frame(trial, make_plan(trial)), expected_spreads(trial, "roughness")
        return frame.counts(frame.covariance(spreads, 3), spreads, 3)

    text = trial_text(specimens=2, sheets=1)
    more = counts(text.replace("['PL00', 'PL01']", "['PL00', 'PL01', 'PL02', 'PL03']"))
    assert more.today == 2.0 and more.coupons == pytest.approx(counts(text).coupons, rel=1e-9)


def test_the_error_at_a_corner_by_hand():
    """One type, all four settings in each mount: at a corner the mean of one coupon of each specimen."""
    text = trial_text(sheets=3, specimens=6, types=1)
    trial = parse(text.replace("[0.5, 0.7, 0.9]", "[0.5, 0.9]").replace("[0.6, 1.0, 1.4]", "[0.6, 1.4]"))
    found = prediction_map(trial, make_plan(trial), "roughness", TYPES[0])
    spreads = expected_spreads(trial, "roughness")
    one = spreads["specimen"] ** 2 + spreads["coupon"] ** 2 + spreads["reading"] ** 2 / 3
    assert (found.x[0], found.y[0]) == (0.5, 0.6)
    assert found.errors[0, 0] == pytest.approx((one / 6) ** 0.5, rel=1e-9)


def test_a_change_is_the_difference_of_the_types_changes():
    """Coefficients of means made by hand: every type rises by 3 per bar, the second by 2 more; over 0.4 bar, 0.8."""
    trial = parse(trial_text(types=2))
    frame = build_frame(trial, make_plan(trial))
    (asked,) = (q for q in questions_of(trial, frame) if q.subject == Subject(Asks.CHANGE, factor="pressure"))
    pressure, second = frame.settings["pressure"].astype(float), frame.settings["nozzle"] == TYPES[1]
    means = 50.0 + 3.0 * pressure + second * (7.0 + 2.0 * pressure)
    coefficients = np.linalg.lstsq(frame.fixed, means, rcond=None)[0]
    assert asked.contrast @ coefficients == pytest.approx([0.8], abs=1e-9)


def test_common_settings_are_those_of_every_type_or_all_where_there_is_none():
    trial = parse(trial_text(types=2))
    frame = build_frame(trial, make_plan(trial))
    low = {"nozzle": TYPES[0], "pressure": 0.5, "standoff": 1.0}
    middle, high = low | {"pressure": 0.7}, low | {"pressure": 0.9}

    def common(*points):
        settings = {name: np.array([point[name] for point in points], dtype=object) for name in low}
        return [setting["pressure"] for setting in replace(frame, settings=settings).common_settings()]

    other = {"nozzle": TYPES[1]}
    assert common(low, middle, middle | other, high | other) == [0.7]
    assert common(low, middle, high | other) == [0.5, 0.7, 0.9]


def test_no_map_without_two_numbers_or_a_spread():
    def mapped(text):
        trial = parse(text)
        return prediction_map(trial, make_plan(trial), "roughness", TYPES[0])

    assert mapped(trial_text(sheets=1, types=2, expected=False)) is None
    assert mapped(trial_text(sheets=1, types=2, factors=False)) is None
    one = trial_text(sheets=1, types=2).replace("levels = [0.6, 1.0, 1.4]", "levels = [1.0]")
    assert mapped(one) is None


def test_the_map_stops_at_a_limit_and_holds_the_rest_inside_the_plan():
    text = trial_text(sheets=1, types=2, plan='limits = [{ factor = "pressure", at_most = 0.8 }]')
    text = text.replace("[plan]", '[factors.focus]\nunit = "mm"\nlevels = [3.0, 5.0]\ntoday = 6.0\n[plan]')
    text = text.replace("levels = [0.5, 0.7, 0.9]", "levels = [0.5, 0.7, 0.8, 0.9]")
    trial = parse(text)
    found = prediction_map(trial, make_plan(trial), "roughness", TYPES[1])
    assert (found.across, found.up, found.held, found.nozzle) == ("pressure", "standoff", {"focus": 5.0}, TYPES[1])
    assert found.errors.shape == (25, 25)
    assert found.x[[0, -1]] == pytest.approx([0.5, 0.9]) and found.y[[0, -1]] == pytest.approx([0.6, 1.4])
    assert (np.isnan(found.errors) == (found.x > 0.8 + 1e-9)[None, :]).all()


def test_a_spread_that_the_records_cannot_separate_adds_to_its_twin():
    """One mount of each specimen: the variance of mounts joins that of specimens; one reading joins that of coupons."""
    trial = parse(trial_text(sheets=1, specimens=2, types=2))
    frame = build_frame(trial, make_plan(trial))
    spreads = {"specimen": 0.3, "mount": 0.4, "coupon": 0.05, "reading": 0.12}
    _, groups = frame.reading_rows(3)
    found = frame.spreads_of_groups(groups, spreads, 3)
    assert found == pytest.approx({"specimen": 0.5, "coupon": 0.05, "reading": 0.12})
    _, alone = frame.reading_rows(1)
    assert frame.spreads_of_groups(alone, spreads, 1) == pytest.approx({"specimen": 0.5, "reading": 0.13})


def test_sheets_are_as_wide_as_specimens_unless_they_are_stated():
    trial = parse(trial_text(sheets=3, types=2))
    frame = build_frame(trial, make_plan(trial))
    _, groups = frame.reading_rows(3)
    assert frame.spreads_of_groups(groups, {"specimen": 0.3}, 3)["sheet"] == pytest.approx(0.3)
    assert frame.spreads_of_groups(groups, {"specimen": 0.3, "sheet": 0.1}, 3)["sheet"] == pytest.approx(0.1)


def test_the_specimen_of_a_type_that_has_one_is_no_part_of_the_spread():
    trial = parse(trial_text(sheets=1, specimens=1, mounts=4, types=2))
    frame = build_frame(trial, make_plan(trial))
    assert frame.structure.pieces_only
    _, groups = frame.reading_rows(3)
    found = frame.spreads_of_groups(groups, {"specimen": 9.0, "mount": 0.4, "coupon": 0.1, "reading": 0.2}, 3)
    assert found == pytest.approx({"mount": 0.4, "coupon": 0.1, "reading": 0.2})
    assert frame.effective_coupons({"specimen": 9.0, "coupon": 0.1}, 3) is None


def test_a_plan_that_cannot_carry_its_model_has_no_efficiency():
    trial = parse(trial_text(sheets=1, specimens=2, types=2))
    frame = build_frame(trial, make_plan(trial))
    assert frame.efficiency() > 0
    assert replace(frame, fixed=np.ones((4, 2))).efficiency() is None


def test_progress_and_simulated_sizes_stand_beside_what_is_not_exact():
    trial = parse(trial_text(types=2, specimens=2, sheets=1))
    seen = []
    found = assess(trial, make_plan(trial), trials=25, progress=lambda *at: seen.append(at))
    assert seen[-1] == (25, 25)
    for line in found.detectable:
        assert (line.simulated is None) == line.exact
    today = by_question(found)[TODAY, Pattern.ONE_PAIR]
    assert today.simulated == pytest.approx(today.size, rel=0.6)  # of 25 trials


def test_what_settles_a_ladder_and_a_life_trial_and_what_is_missing():
    designs = Path(__file__).parents[2] / "designs"
    for name, settled in (("fastest-clean-cut", {"clean_speed"}), ("nozzle-life", {"life"})):
        trial = parse((designs / f"{name}.toml").read_text(encoding="utf-8"))
        found = assess(trial, make_plan(trial))
        assert set(found.settle) == settled and (found.questions == ()) == (name == "nozzle-life")
    text = (designs / "fastest-clean-cut.toml").read_text(encoding="utf-8")
    head, tail = text.split("[responses.clean_speed.expected]")
    bare = parse(head + "[responses.dross]" + tail.split("[responses.dross]")[1])
    missing = [one for one in assess(bare, make_plan(bare)).found if one.kind is PlanKind.NO_EXPECTED_SPREAD]
    assert "clean_speed" in {one.about.response for one in missing}


def test_one_degree_of_freedom_judges_types():
    """Two pieces of one type and one of the other on one sheet leave 3 - 2."""
    text = trial_text(sheets=1, specimens=2, types=2).replace("['PL10', 'PL11']", "['PL10']")
    trial = parse(text)
    frame = build_frame(trial, make_plan(trial))
    first = questions_of(trial, frame)[0].finding
    assert frame.yardstick_df == 1 and first.kind is PlanKind.JUDGED_BY_PIECES
    assert (first.facts["df"], first.facts["den_df"], first.facts["pieces"]) == (1, 1, 3)
    assert assess(trial, make_plan(trial)).questions[0].finding == first
