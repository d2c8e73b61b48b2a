"""How often the intervals of a ladder hold the truth; run by hand.

Types differ (one is faster by one spread of mounts), steps are half a spread apart, and the ladder ends so that none
or a third of the mounts stay clean to its last step. Mounts of one specimen share its effect where rows say so.

    difference   all differences (or ratios) from the first type hold at once (wanted 93-97 %)
    typical      the typical speed of the first type lies in its interval (wanted 93-97 %)
    clean_95     the lower bound of the speed that 95 % of its mounts keep clean lies below it (wanted 93-97 %)
    chi-square   the difference of the second type by the usual cut of the likelihood, for comparison only

Rows with several mounts per specimen are reported and gated at 92-99 %: the spread of three or four specimens is
often estimated as zero, and either way of counting then errs a little.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from trials.errors import TrialError
from trials.infer.ladder import compare_ladders

LEVEL, SPREAD, STEP = 12.0, 1.0, 0.5  # m/min; a spread of 8 % of the typical speed
NAMES = ("today", "faster", "alike", "slower")
SHIFT = np.array([0.0, 1.0, 0.0, -1.0])
SAID = ("difference", "typical", "clean_95", "chi-square")


@dataclass(frozen=True)
class Row:
    """types, specimens per type, mounts per specimen, share clean to the last step, specimen sd over mount sd."""

    types: int
    specimens: int
    mounts: int = 1
    censored: float = 0.0
    specimen_sd: float = 0.0
    shift: float = 1.0
    step: float = STEP
    kind: str = "difference"

    @property
    def wanted(self):
        return (0.93, 0.97) if self.mounts == 1 else (0.92, 0.99)


def ladders(row, rng):
    """Last clean and first unclean step of every mount."""
    level = LEVEL + row.shift * SHIFT[: row.types] * SPREAD
    kind = np.repeat(np.arange(row.types), row.specimens * row.mounts)
    specimen = np.repeat(np.arange(row.types * row.specimens), row.mounts)
    within = SPREAD / np.hypot(1.0, row.specimen_sd)
    limit = level[kind] + within * rng.normal(size=len(kind))
    limit += within * row.specimen_sd * rng.normal(size=row.types * row.specimens)[specimen]
    top = LEVEL + 8.0 - rng.uniform(0, row.step)
    if row.censored:
        top = brentq(lambda v: norm.sf((v - level) / SPREAD).mean() - row.censored, 0.0, 2 * LEVEL)
    steps = np.arange(top, 1.0, -row.step)[::-1]
    at = np.searchsorted(steps, limit)
    low = np.where(at == 0, np.nan, steps[np.maximum(at - 1, 0)])
    high = np.where(at == len(steps), np.nan, steps[np.minimum(at, len(steps) - 1)])
    return low, high, kind, specimen, level


def one(row, seed):
    """What held in one simulated trial, in the order of SAID; the reason where it was refused."""
    rng = np.random.default_rng([seed, row.types, row.specimens, row.mounts, int(100 * row.censored)])
    low, high, kind, specimen, level = ladders(row, rng)
    try:
        found = compare_ladders(low, high, np.array(NAMES)[kind], NAMES[0], specimen, kind=row.kind)
    except TrialError as refused:
        return str(refused)
    truth = level - level[0] if row.kind == "difference" else level / level[0]
    first = found.types[0]
    contrast = np.eye(row.types)[1] - np.eye(row.types)[0]
    fall = found.fit.log_likelihood - found.fit.height_at(contrast, level[1] - level[0])
    return [
        all(c.low <= d <= c.high for c, d in zip(found.comparisons, truth[1:], strict=True)),
        first.low <= level[0] <= first.high,
        first.clean_95_low <= level[0] - norm.ppf(0.95) * SPREAD,
        2 * fall <= chi2.ppf(0.95, 1),
    ]


def rows():
    """Every row by name."""
    found = {}
    for mounts in (3, 4, 6, 8):
        for censored, words in ((0.0, "none censored"), (1 / 3, "a third censored")):
            found[f"2 types, {mounts} mounts each, {words}"] = Row(2, mounts, censored=censored)
    for mounts in (3, 6):
        found[f"3 types, {mounts} mounts each, a third censored"] = Row(3, mounts, censored=1 / 3)
    found["2 types, 6 mounts each, a third censored, coarse steps"] = Row(2, 6, censored=1 / 3, step=1.0)
    found["4 types, 6 mounts each, a third censored"] = Row(4, 6, censored=1 / 3)
    found["3 types, 6 mounts each, a third censored, ratios"] = Row(3, 6, censored=1 / 3, kind="ratio")
    for sd, words in ((0.0, "alike"), (0.7, "differ"), (1.5, "differ much")):
        found[f"2 types, 4 specimens with 2 mounts, a third censored, {words}"] = Row(2, 4, 2, 1 / 3, sd)
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--row", default="", help="only rows whose name holds this text")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    print(f"{'row':64s}" + "".join(f"{name:>12s}" for name in SAID) + "   refused  gate", flush=True)
    missed = 0
    with ProcessPoolExecutor(asked.processes) as pool:
        for name, row in rows().items():
            if asked.row not in name:
                continue
            began = time.time()
            found = list(pool.map(partial(one, row), range(asked.trials), chunksize=10))
            told = np.array([f for f in found if not isinstance(f, str)], float)
            rates = told.mean(axis=0)
            error = 2 * np.sqrt(0.05 * 0.95 / len(told))
            low, high = row.wanted
            holds = bool(np.all((rates[:3] >= low - error) & (rates[:3] <= high + error)))
            missed += not holds
            print(
                f"{name:64s}"
                + "".join(f"{rate:12.4f}" for rate in rates)
                + f"{len(found) - len(told):10d}  {low:.2f}-{high:.2f} +- {error:.4f} {'holds' if holds else 'MISSES'}"
                + f"  {time.time() - began:.0f} s",
                flush=True,
            )
    print("all gates hold" if not missed else f"{missed} rows miss their gate")
    sys.exit(bool(missed))


if __name__ == "__main__":
    main()
