"""Honesty of the operating window, run by hand: `python tests/benchmarks/honesty_window.py --trials 400`.

Trials of two types with planted optima are simulated (3 or 4 specimens, 9 settings, 2 readings) and studied as the
command does. Counted: how often the band holds all over the region, how often at the best that was picked (beside it
the interval that does not allow for picking), and, with --chances, in how many trials whose window by the bound is not
empty every setting inside it truly meets the requirement as often as stated (empty ones apart).
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np
import pandas as pd

from trials.decide.prepare import NOZZLE
from trials.decide.response import Studied, fit_response
from trials.decide.window import _edges, study_window
from trials.findings import Place, PlaceKind
from trials.infer.chance import Rule, edge_chance
from trials.infer.chance.window import region_band
from trials.trial import Trial, parse

BEST = {"plain": (0.6, 1.2), "double": (0.8, 0.8)}
LEVEL = {"plain": 30.0, "double": 26.0}
LIMIT, WANTED, READINGS = 45.0, 0.9, 2
SPREADS = {"specimens differ": (0.08, 0.06, 0.05), "specimens alike": (0.0, 0.08, 0.05)}
GRID = [(p, s) for s in np.linspace(0.6, 1.4, 9) for p in np.linspace(0.5, 0.9, 9)]


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


def log_typical(kind: str, pressure: float, standoff: float) -> float:
    """Log Rz5 of a typical edge."""
    p, s = BEST[kind]
    return math.log(LEVEL[kind]) + 0.30 * ((pressure - p) / 0.2) ** 2 + 0.15 * ((standoff - s) / 0.4) ** 2


def simulate(rng: np.random.Generator, specimens: int, spread: tuple[float, float, float]) -> pd.DataFrame:
    """Readings of one trial; spread: specimen, coupon, reading on the log scale."""
    rows = []
    for kind, letter in (("plain", "A"), ("double", "B")):
        for i in range(1, specimens + 1):
            own = rng.normal(0, spread[0])
            for p in (0.5, 0.7, 0.9):
                for s in (0.6, 1.0, 1.4):
                    edge = log_typical(kind, p, s) + own + rng.normal(0, spread[1])
                    mark = f"{letter}{i}-{p}-{s}"
                    for r in range(1, READINGS + 1):
                        value = math.exp(edge + rng.normal(0, spread[2]))
                        rows.append((mark, "S1", f"M{letter}{i}", kind, f"{letter}{i}", p, s, r, value))
    names = ["coupon", "sheet", "mount", NOZZLE, "specimen", "pressure_bar", "standoff_mm", "reading", "value"]
    return pd.DataFrame(rows, columns=names)


def bands(fitted: Studied, counts: dict[str, int]) -> None:
    """Count what the bands of one trial hold."""
    units = {"pressure": "bar", "standoff": "mm"}
    places = [Place(PlaceKind.STATED, ({"pressure": p, "standoff": s},), units) for p, s in GRID]
    for kind in BEST:
        values, covariance, dfs = _edges(fitted, kind, places)
        band = region_band(values, covariance, dfs, draws=5_000)
        true = np.array([log_typical(kind, p, s) for p, s in GRID])
        best = int(np.argmin(values))
        counts["bands"] += 1
        counts["region"] += bool(np.all((band.low <= true) & (true <= band.high)))
        counts["best"] += bool(band.low[best] <= true[best] <= band.high[best])
        counts["alone"] += bool(band.alone_low[best] <= true[best] <= band.alone_high[best])


def windows(
    trial: Trial, fitted: Studied, table: pd.DataFrame, spread: tuple[float, ...], counts: dict[str, int]
) -> None:
    """Count whether every setting of a window by the bound truly meets the requirement often enough."""
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    rule = Rule(math.log(LIMIT), READINGS)
    for each in study_window(trial, {"roughness": fitted}, coupons).types:
        inside = [p for p, low in zip(each.settings, each.low, strict=True) if low >= WANTED]
        if not inside:
            counts["empty"] += 1
            continue
        means = np.array([log_typical(each.nozzle, float(p["pressure"]), float(p["standoff"])) for p in inside])
        true = edge_chance(means, np.full(len(means), math.hypot(*spread[:2])), np.full(len(means), spread[2]), rule)
        counts["windows"] += 1
        counts["kept everywhere"] += bool(np.all(true >= WANTED))
        counts["kept on average"] += bool(np.mean(true) >= WANTED)


def main() -> None:
    """One row for each number of specimens and pattern of spreads."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--trials", type=int, default=400)
    asked.add_argument("--chances", type=int, default=0, help="of these trials, how many windows are reckoned")
    asked.add_argument("--seed", type=int, default=1)
    options = asked.parse_args()
    for specimens in (3, 4):
        for name, spread in SPREADS.items():
            rng = np.random.default_rng(options.seed)
            trial, counts = (
                trial_of(specimens),
                dict.fromkeys(
                    ("bands", "region", "best", "alone", "windows", "empty", "kept everywhere", "kept on average"), 0
                ),
            )
            for i in range(options.trials):
                table = simulate(rng, specimens, spread)
                fitted = fit_response(trial, "roughness", table)
                if not isinstance(fitted, Studied):
                    continue
                bands(fitted, counts)
                if i < options.chances:
                    windows(trial, fitted, table, spread, counts)
            sys.stdout.write(f"{specimens} specimens, {name}: {_row(counts)}\n")
            sys.stdout.flush()


def _row(counts: dict[str, int]) -> str:
    n, m = counts["bands"], counts["windows"]
    said = f"region {counts['region'] / n:.3f}, picked best {counts['best'] / n:.3f} (alone {counts['alone'] / n:.3f})"
    if m + counts["empty"]:
        everywhere, mean = (counts[key] / max(m, 1) for key in ("kept everywhere", "kept on average"))
        said += f"; windows {m}, empty {counts['empty']}, kept everywhere {everywhere:.3f}, on average {mean:.3f}"
    return said


if __name__ == "__main__":
    main()
