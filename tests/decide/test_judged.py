"""By which yardstick types are judged: spread by type where there are two types or more and enough coupons."""

from tests_support import TRIAL_TEXT

from trials.decide.kinds import StudyKind
from trials.decide.response import fit_response
from trials.trial import parse

THREE = ("cylindrical", "double", "shower")


def test_three_types_have_their_own_spread(make_table):
    extra = '[[nozzles]]\ntype = "shower"\nspecimens = ["s0", "s1", "s2"]\n'
    trial = parse(TRIAL_TEXT.replace("[factors.pressure]", extra + "[factors.pressure]", 1))
    judged = fit_response(trial, "roughness", make_table(effect=(0.0, 0.0, 0.0), types=THREE)).judged
    assert judged.by_type and StudyKind.SPREAD_BY_TYPE in [finding.kind for finding in judged.said]
    assert judged.between is not judged.headline
