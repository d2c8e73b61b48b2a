"""Plans that settle against the truth: six invented scenarios, by hand.

For each: the plan that the search finds, what an exhaustive search over the same space finds, and how often the real
analysis (yardstick, simultaneous intervals, rule of four words) of simulated trials of that very plan ends right.

    .venv/bin/python tests/benchmarks/settling.py --trials 2000 [--only 3] [--no-exhaustive] [--extension]
"""

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from trials.infer.means import against_reference
from trials.infer.yardstick import YardstickDesign
from trials.plan.assess.frame import build_frame
from trials.plan.choose import Plan, make_plan
from trials.plan.extend import SettlingBlock, settling_block
from trials.plan.settling.further import FurtherSpace, Given, settle_further
from trials.plan.settling.lines import lines_of, put_in
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Goal, Pattern, Space
from trials.plan.settling.search import settle
from trials.trial import parse

sys.path.insert(0, str(Path(__file__).parents[1]))

from plan.settling.scenes import text_of


def scenario(types, spreads, *, at="today", curves="by type", limits="", **asked):
    """Text of a trial file of these prices and spreads."""
    return text_of(types, spreads, plan=f'sheets = 1\ncompare_at = "{at}"\ncurves = "{curves}"\n{limits}', **asked)


@dataclass(frozen=True)
class Scenario:
    """A name, a trial file and where plans are looked for."""

    name: str
    text: str
    space: Space = Space()


SCENARIOS = (
    Scenario("two types, little spread", scenario((9, 21), ("3 %", "2 %", "6 %", "5 %"), factors=1)),
    Scenario("three types", scenario((9, 14, 21), ("8 %", "5 %", "10 %", "7 %"), worthwhile="20 %", factors=2)),
    Scenario("three types, averaged", scenario((9, 11, 21), ("5 %", "3 %", "10 %", "7 %"), at="average", factors=2)),
    Scenario(
        "four types, few pieces, one limit",
        scenario(
            (9, 11, 21, 30),
            ("4 %", "2 %", "8 %", "6 %"),
            factors=2,
            curves="common",
            limits='limits = [{ nozzle = "bb", factor = "pressure", at_most = 0.8 }]',
        ),
        Space(most={"bb": 6}),
    ),
    Scenario("six types, dear pieces", scenario((9, 90, 90, 120, 120, 150), ("4 %", "4 %", "7 %", "5 %"), factors=1)),
    Scenario("two types, bare", scenario((9, 21), ("8 %", "3 %", "10 %", "7 %"), factors=2), Space(bare=True)),
)


def exhaustive(problem, goal, space, best_money):
    """Money of the cheapest plan of the whole space, looking only where it could be cheaper than `best_money`."""
    kinds, limits = len(problem.question.types), space.limits(problem.question.types)
    coupons = (1, *space.coupons) if space.bare else space.coupons
    readings = (1, *space.readings) if space.bare else space.readings
    repeats = [r for r in range(0, max(coupons) + 1) if r in space.repeats or space.bare]
    for mounts in space.mounts:
        for each in coupons:
            for again in repeats:
                if again > each or (again == each and not space.bare):
                    continue
                for q in readings:
                    pattern = Pattern(mounts, each, again, q)
                    grid = np.array([(a, b) for a in range(2, 81) for b in range(2, 41)])
                    rows = np.repeat(grid[:, 1:], kinds, axis=1)
                    rows[:, problem.question.today] = grid[:, 0]
                    rows = np.unique(np.minimum(rows, limits), axis=0)
                    money = problem.prices.money(pattern, rows)
                    rows, money = rows[money < best_money], money[money < best_money]
                    for part in np.array_split(np.argsort(money), max(1, len(money) // 48)):
                        if not len(part) or money[part[0]] >= best_money:
                            continue
                        right = problem.evaluate(pattern, rows[part], 80)
                        if right is None:
                            break
                        good = np.minimum(right.different.min(1), right.same.min(1)) >= goal.chance
                        if good.any():
                            best_money = min(best_money, money[part][good].min())
    return best_money


def weakest(problem, candidate):
    """Comparisons with the lowest printed chances, at the worthwhile difference and at none."""
    pattern = Pattern(candidate.mounts, candidate.coupons, candidate.repeats, candidate.readings)
    right = problem.evaluate(pattern, np.array([candidate.specimens]), max(candidate.specimens))
    return int(np.argmin(right.different[0])), int(np.argmin(right.same[0]))


def simulate(trial, problem, candidate, count, seed=1):
    """Chances by the whole real analysis of the comparison whose printed chance is lowest: right at the worthwhile
    difference, on the side that is harder, and at none.

    Comparison and side are named beforehand: the lowest of several simulated rates lies below the lowest of their
    truths, by 1 to 3 points where 300 trials stand behind each.
    """
    return rates_of(build_frame(trial, make_plan(trial)), problem, weakest(problem, candidate), count, seed)


def rates_of(frame, problem, weak, count, seed=1):
    """Rates of right answers in a laid-out plan: of comparison weak[0] if different, of weak[1] if the same."""
    trial = frame.trial
    asked, level = problem.question.asked[0], problem.question.levels
    readings = trial.responses[asked.response].readings
    fixed, groups = frame.reading_rows(readings)
    spreads = {source: value**0.5 for source, value in asked.variances.items()}
    today = frame.types.index(trial.today.type)
    means = np.array([frame.rows(kind, frame.compared_settings()) for kind in frame.types])
    contrasts = np.delete(means, today, axis=0) - means[today]
    design = YardstickDesign.build(fixed, groups, "specimen")
    rng, labels = np.random.default_rng(seed), frame.labels
    places = {name: np.unique(labels[name], return_inverse=True)[1] for name in ("specimen", "mount")}
    right = np.zeros((4, len(contrasts)))
    for _ in range(count):
        noise = sum(spreads.get(n, 0.0) * rng.standard_normal(at.max() + 1)[at] for n, at in places.items())
        noise = noise + spreads.get("coupon", 0.0) * rng.standard_normal(len(noise))
        y = np.repeat(noise, readings) + spreads.get("reading", 0.0) * rng.standard_normal(len(fixed))
        found = design.fit(y).estimates(contrasts)
        s = against_reference(found.values, found.covariance, found.dfs, level.difference)
        e = against_reference(found.values, found.covariance, found.dfs, level.sameness)
        for row, true in enumerate((asked.better, -asked.worse, 0.0)):
            same = (e.low + true > -asked.worse) & (e.high + true < asked.better)
            right[row] += [same, (s.low + true > 0) & ~same, (s.high + true < 0) & ~same][(1, 2, 0)[row]]
    rates, (different, same) = right / count, weak
    return rates[0 if asked.better <= asked.worse else 1, different], rates[2, same]


EXTENDED = (
    Scenario(
        "three types, 4 pieces each", scenario((9, 14, 21), ("8 %", "5 %", "10 %", "7 %"), worthwhile="20 %", factors=2)
    ),
    Scenario("two types, 3 pieces each", scenario((9, 21), ("5 %", "3 %", "8 %", "6 %"), factors=1)),
)


def extensions(trials):
    """The cheapest extension of a small plan, its printed chances beside those of the whole real analysis."""
    print("scenario | extension | money | before | printed different, same | simulated | seconds")
    for one, pieces in zip(EXTENDED, (4, 3), strict=True):
        text = one.text.replace("specimens = 3", f"specimens = {pieces}")
        text = text.replace("[plan]\n", "[plan]\ncoupons_per_mount = 3\nrepeats = 2\n")
        trial = parse(text)
        problem, first = problem_of(trial), make_plan(trial)
        given = Given(problem, first.coupons, {nozzle.type: nozzle.specimens for nozzle in trial.nozzles})
        start = time.perf_counter()
        found = settle_further(given, Goal(0.8), FurtherSpace(trial.types))
        spent, best = time.perf_counter() - start, found.best
        there = given.there if best.further.again else {}
        new = {k: [f"{k}-{i}" for i in range(n)] for k, n in zip(trial.types, best.further.new, strict=True)}
        further = {kind: [*there.get(kind, ()), *new[kind]] for kind in trial.types}
        asked = SettlingBlock(further, best.further.coupons, best.further.repeats, best.further.sheets)
        block = settling_block(trial, first.coupons, first.mounts, asked)
        whole = Plan(pd.concat([first.coupons, block.coupons], ignore_index=True), block.mounts, block.sheets)
        right = given.right([best.further])
        weak = int(np.argmin(right.different[0])), int(np.argmin(right.same[0]))
        seen = rates_of(build_frame(trial, whole), problem, weak, trials)
        print(
            f"{one.name} | {best.further} | {best.bill.money:.0f} | {found.now.different:.3f}, {found.now.same:.3f} | "
            f"{best.chances.different:.3f}, {best.chances.same:.3f} | {seen[0]:.3f}, {seen[1]:.3f} | {spent:.1f}",
            flush=True,
        )


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--trials", type=int, default=2000)
    asked.add_argument("--only", type=int)
    asked.add_argument("--no-exhaustive", action="store_true")
    asked.add_argument("--extension", action="store_true")
    options = asked.parse_args()
    if options.extension:
        extensions(options.trials)
        return
    print("scenario | plan | money | best of all | dearer | printed different, same | simulated | seconds")
    for i, one in enumerate(SCENARIOS):
        if options.only is not None and i != options.only:
            continue
        trial, goal = parse(one.text), Goal(0.8)
        problem = problem_of(trial)
        start = time.perf_counter()
        best = settle(problem, goal, one.space).best
        spent = time.perf_counter() - start
        money = best.bill.money
        cheapest = money if options.no_exhaustive else exhaustive(problem, goal, one.space, money)
        made = parse(put_in(one.text, lines_of(trial, best.candidate)))
        seen = simulate(made, problem, best.candidate, options.trials)
        c = best.candidate
        print(
            f"{one.name} | {c.specimens} x {c.mounts} x {c.coupons} ({c.repeats} today) x {c.readings} | {money:.0f} | "
            f"{cheapest:.0f} | {money / cheapest - 1:.1%} | {best.chances.different:.3f}, {best.chances.same:.3f} | "
            f"{seen[0]:.3f}, {seen[1]:.3f} | {spent:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
