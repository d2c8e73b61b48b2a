"""Best allocations against published figures and closed forms."""

import math

import pytest
from scipy import optimize

from trials.plan.settling.allocation import best_units, groups_of_control


def best_allocation(costs, unit_variance, group_variance):
    """Units in a group and share of the second treatment that buy the least variance for the money.

    costs: of a unit and a group of the first treatment, of the second. Variance of the difference of two treatments
    proportional to (t + e / n) / (p (1 - p) J), with t the variance of a group, e of a unit, n units in each of J
    groups; at each n the best share has p / (1 - p) = sqrt(cost of a first group / of a second).
    """
    unit, group, unit_other, group_other = costs

    def share(n):
        first, second = unit * n + group, unit_other * n + group_other
        return math.sqrt(first) / (math.sqrt(first) + math.sqrt(second))

    def price(log_n):
        n = math.exp(log_n)
        p = share(n)
        money = (1.0 - p) * (unit * n + group) + p * (unit_other * n + group_other)
        return math.log((group_variance + unit_variance / n) * money / (p * (1.0 - p)))

    found = optimize.minimize_scalar(price, bounds=(-7.0, 14.0), method="bounded", options={"xatol": 1e-9})
    units = math.exp(float(found.x))
    return units, share(units)


def test_published_allocation_with_dear_second_treatment():
    # Shen and Kelcey (2020), J. Educ. Behav. Stat. 45(4), 446-474: share of groups 0.2, half of either variance
    # explained, a unit 1, a group 5 and 50; printed n = 8.878572, p = 0.326828
    units, share = best_allocation((1, 5, 1, 50), unit_variance=0.8 * 0.5, group_variance=0.2 * 0.5)
    assert units == pytest.approx(8.878572, abs=2e-4)  # the printed optimum is itself numerical
    assert share == pytest.approx(0.326828, abs=2e-6)


@pytest.mark.parametrize(("unit", "group", "e", "t"), [(1, 5, 0.4, 0.1), (11, 21, 0.012, 0.009), (7, 100, 1.0, 1.0)])
def test_equal_costs_have_a_closed_form(unit, group, e, t):
    # Raudenbush (1997): n = sqrt((group / unit) (e / t)), half of the groups in either treatment
    units, share = best_allocation((unit, group, unit, group), e, t)
    assert units == pytest.approx(best_units(unit, group, e, t), rel=1e-4)  # a flat optimum, bounded search
    assert best_units(unit, group, e, t) == pytest.approx(math.sqrt(group / unit * e / t))
    assert share == pytest.approx(0.5)


def test_groups_that_do_not_differ_want_every_unit_in_one():
    assert best_units(1, 5, 1.0, 0.0) == math.inf


@pytest.mark.parametrize("k", [1, 2, 5])
def test_control_groups(k):
    # Dunnett (1955): the sum of variances of k differences is least near sqrt(k) groups of the control for each other
    def spread(r, total=1000.0):
        each = total / (k + r)
        return 1.0 / each + 1.0 / (r * each)

    best = groups_of_control(k)
    assert spread(best) <= min(spread(0.95 * best), spread(1.05 * best))
