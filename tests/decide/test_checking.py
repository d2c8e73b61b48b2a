"""Side checks that cannot be computed say so and leave the answer alone."""

import pytest
from tests_support import TRIAL_TEXT

from trials.decide.response import fit_response, study_response
from trials.infer.answer import levels
from trials.trial import parse


def study(table, allowed):
    trial = parse(TRIAL_TEXT)
    kinds = dict.fromkeys(("cylindrical", "double"), allowed)
    return study_response(trial, fit_response(trial, "roughness", table), kinds, levels(1))


def checks(result):
    return {check.name: check for check in result.checks}


@pytest.mark.parametrize("seed", range(3))
def test_two_coupons_per_mount_get_an_answer(make_table, seed):
    settings = [(0.7, 1.0), (0.9, 1.4)]
    result = study(make_table(effect=(0.0, -0.5), settings=settings, seed=seed), settings)
    assert result.comparisons
    sentence = checks(result)["spread between coupons"].sentence
    assert sentence.startswith("Cannot be computed") and "never differ" in sentence
