"""How often the yardstick errs: whole simulated trials with known truth, balanced and not, judged as the product does.

    python tests/benchmarks/honesty_yardstick.py --trials 20000

Four types, nine settings, three readings; coupons spread by 10 %, readings by 7 % on the log scale, specimens by 0, 2,
4 or 8 %. Columns: how often the nozzle test finds a difference that is not there (size) and one of 15 % (power), beside
the same of the Kenward-Roger test where types spread alike; how often all simultaneous intervals against today's nozzle
hold the truth, at today's setting and averaged over the settings; the same with one spread where types differ.
A true difference lies in the space of the fixed columns, so size and power come from the same fits; trials of one
layout are judged together.
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # one process per core below

import argparse
import math
import sys
from dataclasses import dataclass, replace
from multiprocessing import Pool

import numpy as np

from trials.infer.many import Judgements, ManyDesign
from trials.infer.means import beyond_critical, type_rows
from trials.infer.mixed import MixedDesign, MixedFit
from trials.infer.model import Axis, build_model
from trials.infer.yardstick import YardstickDesign

D = math.log(1.15)
READINGS, COUPON, READING, SHEET = 3, 0.10, 0.07, 0.04
LEVELS = (0.5, 0.7, 0.9), (0.6, 1.0, 1.4)
SETTINGS = [(p, q) for p in LEVELS[0] for q in LEVELS[1]]
TODAY = (0.7, 1.0)
SAME_LAYOUT = 5  # trials cut to one pattern of losses
AT_ONCE = 100  # trials otherwise
SPREADS = (0.0, 0.02, 0.04, 0.08)


@dataclass(frozen=True)
class Row:
    """One kind of trial: specimens per type, what of it is there, and how types spread (today's against the others)."""

    name: str
    specimens: tuple[int, ...] = (3, 3, 3, 3)
    cut: str = "all"
    sheets: int = 1
    ratio: float = 1.0
    spread: float = 0.0
    size: tuple[float, float] = (0.04, 0.065)
    cover: tuple[float, float] = (0.94, 0.96)


def rows() -> list[Row]:
    """All rows, each at every specimen spread."""
    exact = (0.0455, 0.0545)
    few, equal, any_size, wide = (2, 4, 3, 3), (3, 3, 3, 3), (0.0, 1.0), (0.935, 1.0)
    kinds = [
        Row("balanced", size=exact),
        Row("balanced, 2 4 3 3 specimens", few, size=exact),
        Row("balanced, three sheets", sheets=3, size=exact),
        Row("20 % lost", cut="lost"),
        Row("2 4 3 3, 20 % lost", few, "lost"),
        Row("2 4 3 3, 20 % lost, three sheets", few, "lost", 3),
        Row("2 4 3 3, settings missing", few, "missing"),
        Row("subsets dealt, four coupons each", equal, "dealt"),
        Row("spread 3:1", ratio=3.0, size=any_size, cover=wide),
        Row("spread 3:1, 2 4 3 3, 20 % lost", few, "lost", ratio=3.0, size=any_size, cover=wide),
        Row("spread 1:3", ratio=1 / 3, size=any_size, cover=wide),
    ]
    return [replace(kind, spread=spread) for kind in kinds for spread in SPREADS]


def coupons(row: Row, rng: np.random.Generator) -> list[tuple[int, int, int, float, float]]:
    """Type, specimen, sheet and settings of every coupon that is there."""
    found, piece = [], 0
    for kind, pieces in enumerate(row.specimens):
        for j in range(pieces):
            mine = [SETTINGS[(4 * piece + i) % 9] for i in range(4)] if row.cut == "dealt" else SETTINGS
            if row.cut == "missing" and kind in (1, 3):
                mine = [s for s in mine if s != SETTINGS[8 if kind == 1 else 0]]
            if row.cut == "lost":
                mine = [s for s in mine if rng.random() >= 0.2] or mine[:1]
            found += [(kind, piece, j % row.sheets, *s) for s in mine]
            piece += 1
    return found


class Layout:
    """One layout made ready: the yardstick, the Kenward-Roger fit beside it, and the questions."""

    def __init__(self, row: Row, cut: list[tuple[int, int, int, float, float]]) -> None:
        self.row = row
        table = np.repeat(np.array(cut), READINGS, axis=0)
        self.kind, self.piece, self.sheet = table[:, :3].T.astype(int)
        self.coupon = np.repeat(np.arange(len(cut)), READINGS)
        names = tuple(f"t{t}" for t in range(len(row.specimens)))
        labels = np.array(names, dtype=object)[self.kind]
        axes = [Axis("nozzle", names), Axis("p", LEVELS[0]), Axis("q", LEVELS[1])]
        settings = {"nozzle": labels, "p": table[:, 3], "q": table[:, 4]}
        model = build_model(axes, settings, "nozzle", units=len(cut))
        fixed = model.matrix(settings)
        groups = {"specimen": self.piece, "coupon": self.coupon}
        if row.sheets > 1:
            groups["sheet"] = self.sheet
        pooled = YardstickDesign.build(fixed, groups)
        self.pooled, self.alone = ManyDesign.build(pooled), pooled
        typed = YardstickDesign.build(fixed, groups, types=labels) if row.ratio != 1.0 else None
        self.typed = None if typed is None else ManyDesign.build(typed)
        self.random = MixedDesign.build(fixed, groups) if row.sheets > 1 else None
        self.nozzle = np.eye(fixed.shape[1])[model.slices()["nozzle"]]
        self.shift = np.linalg.lstsq(fixed, D * (self.kind == 1), rcond=None)[0]
        means = {point: type_rows(model, "nozzle", names, places(point)) for point in ("t", "a")}
        self.today, self.average = (m[1:] - m[0] for m in means.values())

    def draw(self, rng: np.random.Generator) -> np.ndarray:
        """A response without a nozzle effect."""
        scale = np.where(self.kind == 0, self.row.ratio, 1.0)
        y = self.row.spread * rng.standard_normal(self.piece.max() + 1)[self.piece]
        y += scale * COUPON * rng.standard_normal(self.coupon.max() + 1)[self.coupon]
        y += scale * READING * rng.standard_normal(len(y))
        return y + (SHEET * rng.standard_normal(self.row.sheets)[self.sheet] if self.row.sheets > 1 else 0.0)

    def run(self, responses: np.ndarray) -> dict[str, int]:
        """How often each thing comes out of some trials (B, n)."""
        judged = (self.typed or self.pooled).fit(responses)
        tests, moved = judged.judge(self.nozzle), self.nozzle @ self.shift
        found = {"size": count(tests.p() < 0.05), "power": count(tests.p(moved) < 0.05)}
        places = {"today": self.today, "average": self.average}
        found |= {name: held(judged.judge(rows)) for name, rows in places.items()}
        if self.typed is not None:
            pooled = self.pooled.fit(responses)
            return found | {f"pooled {name}": held(pooled.judge(rows)) for name, rows in places.items()}
        beside = [self.kenward_roger(y) for y in responses]
        return found | {f"KR {name}": sum(one[name] for one in beside) for name in ("size", "power")}

    def kenward_roger(self, y: np.ndarray) -> dict[str, bool]:
        """The test of Kenward and Roger, without and with the difference."""
        pooled = self.alone.fit(y).fit
        beside = pooled if self.random is None else self.sheets_random(y, pooled)
        extra = np.zeros((len(self.nozzle), len(beside.coefficients) - len(self.shift)))
        contrast = np.hstack([self.nozzle, extra])
        fits = {"size": beside, "power": self.shifted(beside)}
        return {name: fit.test(contrast).p < 0.05 for name, fit in fits.items()}

    def sheets_random(self, y: np.ndarray, pooled: MixedFit) -> MixedFit:
        """The fit with sheets random, or taken out where their spread comes out as zero."""
        assert self.random is not None
        fit = self.random.fit(y)
        return fit if fit.variances["sheet"] > 1e-10 * sum(fit.variances.values()) else pooled

    def shifted(self, fit: MixedFit) -> MixedFit:
        """The fit of the same readings with 15 % more on the second type."""
        start = fit.anchored.start + np.concatenate([self.shift, np.zeros(len(fit.coefficients) - len(self.shift))])
        return replace(fit, anchored=replace(fit.anchored, start=start))


def places(point: str) -> list[dict[str, float]]:
    """Settings averaged over."""
    return [{"p": p, "q": q} for p, q in ([TODAY] if point == "t" else SETTINGS)]


def count(hits: np.ndarray) -> int:
    """How many hits."""
    return int(hits.sum())


def held(judged: Judgements) -> int:
    """How often the simultaneous intervals all hold zero."""
    found = judged.estimates
    sizes = np.abs(found.values) / np.sqrt(np.diagonal(found.covariance, axis1=1, axis2=2))
    beyond = beyond_critical(sizes[..., None], found.covariance, found.dfs, np.array([0.95]))
    return count(~beyond.any(axis=(1, 2)))


def batch(job: tuple[Row, int, int]) -> dict[str, int]:
    """Counts of some trials of a row."""
    row, trials, seed = job
    rng = np.random.default_rng(seed)
    counts: dict[str, int] = {}
    layout = Layout(row, coupons(row, rng))
    some = SAME_LAYOUT if row.cut == "lost" else AT_ONCE
    for start in range(0, trials, some):
        if start and row.cut == "lost":
            layout = Layout(row, coupons(row, rng))
        responses = np.array([layout.draw(rng) for _ in range(min(some, trials - start))])
        for name, hits in layout.run(responses).items():
            counts[name] = counts.get(name, 0) + hits
    return counts


COLUMNS = ("size", "KR size", "power", "KR power", "today", "average", "pooled today", "pooled average")


def line(row: Row, counts: dict[str, int], trials: int) -> str:
    """One line of the table."""
    rates = [f"{counts[name] / trials:.4f}" if name in counts else "-" for name in COLUMNS]
    return f"| {row.name} | {row.spread:.0%} | " + " | ".join(rates) + " |"


def missed(row: Row, counts: dict[str, int], trials: int) -> list[str]:
    """Gates that a row does not meet."""
    rate = {name: count / trials for name, count in counts.items()}
    wrong = [] if row.size[0] <= rate["size"] <= row.size[1] else [f"size {rate['size']:.4f}"]
    wrong += [f"{n} {rate[n]:.4f}" for n in ("today", "average") if not row.cover[0] <= rate[n] <= row.cover[1]]
    if row.ratio == 1.0 and rate["power"] < rate["KR power"] - 0.01:
        wrong.append(f"power {rate['power']:.4f} beside {rate['KR power']:.4f}")
    return [f"gate missed: {row.name}, {row.spread:.0%}: {', '.join(wrong)}"] if wrong else []


def main() -> None:
    """Run the rows and print the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--trials", type=int, default=20000)
    asked.add_argument("--seed", type=int, default=20417)
    asked.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--row", default="", help="only rows whose name holds this text")
    chosen = asked.parse_args()
    print(f"| row | specimens | {' | '.join(COLUMNS)} |\n|{'---|' * (len(COLUMNS) + 2)}")
    failed = []
    pieces = max(1, min(40, chosen.trials // 25))
    sizes = [chosen.trials // pieces + (j < chosen.trials % pieces) for j in range(pieces)]
    with Pool(chosen.processes) as pool:
        for i, row in enumerate(rows()):
            if chosen.row not in row.name:
                continue
            counts: dict[str, int] = {}
            jobs = [(row, size, chosen.seed + 1000 * i + j) for j, size in enumerate(sizes)]
            for part in pool.imap_unordered(batch, jobs):
                for name, count in part.items():
                    counts[name] = counts.get(name, 0) + count
            print(line(row, counts, chosen.trials), flush=True)
            failed += missed(row, counts, chosen.trials)
    print(f"\nsimulation error of a rate of 0.05: {math.sqrt(0.05 * 0.95 / chosen.trials):.4f}; 15 % is log 1.15")
    print("\n".join(failed) or "every gate was met")
    sys.exit(bool(failed))


if __name__ == "__main__":
    main()
