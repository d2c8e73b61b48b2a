"""Honesty of the operating window and of each nozzle at its best, by hand: `python tests/benchmarks/honesty_window.py`.

Trials of two types with planted optima are simulated (3 or 4 specimens, 9 settings, 2 readings) and studied as the
command does, on a grid of 5 by 5. Counted per type: how often the band holds all over the region, and at the best that
was picked (`alone`: the interval that does not allow for picking); how often the settings alike the best hold the true
one; how often the gain over today's setting lies in its interval, and by how much it is off on average, with the
optimism taken off and not; how often the comparison of both bests holds the truth. Of windows by the bound that are not
empty (empty ones apart): how often the next edge truly meets the requirement as often as stated at the best, at a
setting drawn from the window, and at every setting of it. Limits of confirmation: how often the mean of new coupons,
cut with the same specimens, falls in.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

import trials.decide.window as decide
from trials.decide.judged import Judged, design_of
from trials.decide.prepare import NOZZLE, Prepared
from trials.decide.response import Studied, fit_response
from trials.decide.surfaces import rows_at, typical_at
from trials.decide.window_result import TypeWindow, WindowStudy
from trials.infer.chance import Rule, edge_chance
from trials.infer.chance.window import region_band
from trials.infer.yardstick import YardstickDesign
from trials.trial import Trial, parse

BEST = {"plain": (0.6, 1.2), "double": (0.8, 0.8)}
LEVEL = {"plain": 30.0, "double": 26.0}
LIMIT, WANTED, READINGS, POINTS = 60.0, 0.9, 2, 5
SPREADS = {
    "specimens differ": (0.08, 0.06, 0.05),
    "specimens alike": (0.0, 0.08, 0.05),
    "little spread": (0.03, 0.03, 0.03),
}

ROWS = (
    (3, "specimens differ"),
    (3, "specimens alike"),
    (6, "specimens differ"),
    (4, "little spread"),
)


def trial_of(specimens: int) -> Trial:
    """The trial file with so many specimens per type."""
    marks = {letter: [f"{letter}{i}" for i in range(1, specimens + 1)] for letter in "AB"}
    return parse(f"""
trial = {{title = "t", question = "q"}}
application = {{material = "S355", thickness_mm = 12.0, required = {{rz5_um = {LIMIT}}}}}
nozzles = [{{type = "plain", specimens = {marks["A"]}, today = true}}, {{type = "double", specimens = {marks["B"]}}}]
factors.pressure = {{unit = "bar", levels = [0.5, 0.7, 0.9], today = 0.7}}
factors.standoff = {{unit = "mm", levels = [0.6, 1.0, 1.4], today = 1.0}}
responses.roughness = {{primary = true, readings = {READINGS}, worthwhile = "15 %"}}
""")


def log_typical(kind: str, settings: dict[str, float]) -> float:
    """Log Rz5 of a typical edge."""
    p, s = BEST[kind]
    away = ((settings["pressure"] - p) / 0.2) ** 2, ((settings["standoff"] - s) / 0.4) ** 2
    return math.log(LEVEL[kind]) + 0.30 * away[0] + 0.15 * away[1]


def layout_of(specimens: int) -> pd.DataFrame:
    """One row per reading, without values."""
    rows = [
        (f"{letter}{i}-{p}-{s}", "S1", f"M{letter}{i}", kind, f"{letter}{i}", p, s, r)
        for kind, letter in (("plain", "A"), ("double", "B"))
        for i in range(1, specimens + 1)
        for p in (0.5, 0.7, 0.9)
        for s in (0.6, 1.0, 1.4)
        for r in range(1, READINGS + 1)
    ]
    names = ["coupon", "sheet", "mount", NOZZLE, "specimen", "pressure_bar", "standoff_mm", "reading"]
    return pd.DataFrame(rows, columns=names)


@dataclass(frozen=True)
class Bench:
    """A layout made ready once; effects of the last trial stay in `pieces` to cut confirming coupons with."""

    trial: Trial
    ready: Prepared
    headline: YardstickDesign
    between: YardstickDesign
    coupons: pd.DataFrame
    typical: np.ndarray
    pieces: np.ndarray
    pairs: np.ndarray

    @classmethod
    def of(cls, specimens: int) -> Bench:
        trial, table = trial_of(specimens), layout_of(specimens)
        rng = np.random.default_rng(0)
        found = fit_response(trial, "roughness", table.assign(value=np.exp(rng.normal(3.4, 0.1, len(table)))))
        assert isinstance(found, Studied)
        rows = found.ready.table
        places = zip(rows[NOZZLE], rows["pressure_bar"], rows["standoff_mm"], strict=True)
        typical = np.array([log_typical(k, {"pressure": p, "standoff": s}) for k, p, s in places])
        designs = (design_of(found.ready, by_type) for by_type in (False, True))
        pieces, pairs = (pd.factorize(rows[name])[0] for name in ("specimen", "coupon"))
        return cls(
            trial,
            found.ready,
            *designs,
            table.drop_duplicates("coupon").assign(outcome="cut"),
            typical,
            pieces,
            pairs,
        )

    def cut(self, rng: np.random.Generator, spread: tuple[float, ...]) -> tuple[Studied, np.ndarray]:
        """One trial as studied, and the effects of its specimens."""
        own = rng.normal(0, spread[0], self.pieces.max() + 1)
        y = self.typical + own[self.pieces] + rng.normal(0, spread[1], self.pairs.max() + 1)[self.pairs]
        y = y + rng.normal(0, spread[2], len(y))
        judged = Judged(self.headline.fit(y), self.between.fit(y), True, ())
        return Studied(replace(self.ready, y=y), self.ready.design.fit(y), judged), own


def row(specimens: int, name: str, trials: int, seed: int) -> str:
    """One row of the table."""
    decide.chance_alone = lambda *_: (math.nan, math.nan)  # today's setting alone and what more would show: not
    decide._reach = lambda *_: None  # counted here, and slow
    bench, rng, counts = Bench.of(specimens), np.random.default_rng(seed), Counter[str]()
    marks = list(dict.fromkeys(bench.ready.table["specimen"]))
    for _ in range(trials):
        studied, own = bench.cut(rng, SPREADS[name])
        found = decide.study_window(bench.trial, {"roughness": studied}, bench.coupons, points=POINTS)
        for each in found.types:
            counts["region"] += _held(studied, each)
            _typical(each, counts)
            _window(each, SPREADS[name], rng, counts)
            pieces = [own[i] for i, mark in enumerate(marks) if (mark[0] == "A") == (each.nozzle == "plain")]
            _confirmed(each, np.array(pieces), SPREADS[name], rng, counts)
        _compared(found, counts)
    return f"| {specimens} specimens, {name} | {_said(counts)} |"


def _held(studied: Studied, each: TypeWindow) -> bool:
    """Whether the band of typical edges holds at every setting."""
    found = typical_at(studied, rows_at(studied.ready, each.nozzle, each.settings))
    band = region_band(found.values, found.covariance, found.dfs)
    true = np.array([log_typical(each.nozzle, dict(p)) for p in each.settings])
    return bool(np.all((band.low <= true) & (true <= band.high)))


def _typical(each: TypeWindow, counts: Counter[str]) -> None:
    """Bands, settings alike the best, gain."""
    best, true = each.best, log_typical(each.nozzle, dict(each.best.settings))
    counts["types"] += 1
    counts["best"] += math.log(best.edge_low) <= true <= math.log(best.edge_high)
    counts["alone"] += math.log(best.alone_low) <= true <= math.log(best.alone_high)
    p, s = BEST[each.nozzle]
    counts["alike"] += any(abs(a["pressure"] - p) < 0.01 and abs(a["standoff"] - s) < 0.01 for a in best.alike)
    counts["alike settings"] += len(best.alike)
    if best.gain is not None:
        gain = true - log_typical(each.nozzle, {"pressure": 0.7, "standoff": 1.0})
        value, low, high, off = (
            math.log(x) for x in (best.gain.value, best.gain.low, best.gain.high, best.gain.optimism)
        )
        counts["gains"] += 1
        counts["gain held"] += low <= gain <= high
        counts["gain error"] += value - gain
        counts["gain error raw"] += value - off - gain


def _window(each: TypeWindow, spread: tuple[float, ...], rng: np.random.Generator, counts: Counter[str]) -> None:
    inside = [dict(p) for p, low in zip(each.settings, each.low, strict=True) if low >= WANTED]
    counts["empty" if not inside else "windows"] += 1
    if not inside:
        return
    places = [*inside, dict(each.best.settings)]
    means = np.array([log_typical(each.nozzle, p) for p in places])
    true = edge_chance(means, np.full(len(means), math.hypot(*spread[:2])), spread[2], Rule(math.log(LIMIT), READINGS))
    counts["everywhere"] += bool(np.all(true[:-1] >= WANTED))
    counts["drawn"] += bool(rng.choice(true[:-1]) >= WANTED)
    counts["at best"] += bool(true[-1] >= WANTED)


def _confirmed(
    each: TypeWindow, own: np.ndarray, spread: tuple[float, ...], rng: np.random.Generator, counts: Counter[str]
) -> None:
    wanted = each.best.confirm
    if wanted is None:
        return
    coupons = own + rng.normal(0, spread[1], len(own)) + rng.normal(0, spread[2] / math.sqrt(READINGS), len(own))
    mean = log_typical(each.nozzle, dict(wanted.settings)) + float(coupons.mean())
    counts["confirmed"] += math.log(wanted.low) <= mean <= math.log(wanted.high)


def _compared(found: WindowStudy, counts: Counter[str]) -> None:
    for one in found.comparisons:
        at = log_typical(one.nozzle, dict(one.settings)), log_typical(one.against, dict(one.against_settings))
        counts["compared"] += 1
        counts["comparison"] += math.log(one.low) <= at[0] - at[1] <= math.log(one.high)


def _said(counts: Counter[str]) -> str:
    n, m, gains = counts["types"], max(counts["windows"], 1), max(counts["gains"], 1)
    shares = [counts[key] / n for key in ("region", "best", "alone", "alike")]
    shares += [counts["gain held"] / gains, counts["comparison"] / max(counts["compared"], 1), counts["confirmed"] / n]
    shares += [counts["empty"] / n, *(counts[key] / m for key in ("at best", "drawn", "everywhere"))]
    errors = [counts[key] / gains for key in ("gain error", "gain error raw")]
    return " | ".join(
        [*(f"{x:.3f}" for x in shares), *(f"{x:+.4f}" for x in errors), f"{counts['alike settings'] / n:.1f}"]
    )


HEAD = (
    "row", "region", "picked best", "alone", "alike holds the best", "gain", "both bests", "confirmed", "empty",
    "window: at best", "one drawn", "everywhere", "gain off", "not corrected", "settings alike",
)  # fmt: skip


def main() -> None:
    """One row for each number of specimens and pattern of spreads."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--trials", type=int, default=400)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=2)
    options = asked.parse_args()
    sys.stdout.write(f"| {' | '.join(HEAD)} |\n|{'---|' * len(HEAD)}\n")
    with ProcessPoolExecutor(options.workers) as pool:
        jobs = [pool.submit(row, *each, options.trials, options.seed) for each in ROWS]
        for job in jobs:
            sys.stdout.write(f"{job.result()}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
