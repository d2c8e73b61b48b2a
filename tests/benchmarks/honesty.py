"""How often the answer errs: simulated trials on the structure of the example trial, analysed as the product does.

    python tests/benchmarks/honesty.py --trials 20000

Every row simulates whole trials (4 types, 3 specimens each, 9 settings, 3 readings) with known truth and counts how
often the nozzle test finds an effect that is not there, how often a comparison does, how often the simultaneous
intervals hold the truth, and which words come out at a true difference of 0, +D and -D. Beside them stand the analyses
that people use instead: analysis of variance on readings, on coupon means, and the classical strata test. Shifting a
type's true mean shifts its estimate by as much, so the words at +-D come from the same fits (for `lost because rough`
the loss is that of the null trial).
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # one process per core below

import argparse
import math
import sys
from dataclasses import dataclass
from multiprocessing import Pool

import numpy as np
from scipy import stats

from trials.errors import NotIdentifiable
from trials.infer.answer import answer
from trials.infer.means import Simultaneous, against_reference, type_rows
from trials.infer.model import Axis, build_model
from trials.infer.yardstick import Yardstick, YardstickDesign
from trials.worthwhile import Margins

D = Margins.of_share(0.15, higher_is_better=False)
TYPES, SPECIMENS, READINGS = 4, 3, 3
LEVELS = (0.5, 0.7, 0.9), (0.6, 1.0, 1.4)
SPREADS = {"sheet": 0.04, "specimen": 0.08, "coupon": 0.10, "reading": 0.07}


@dataclass(frozen=True)
class Row:
    """One kind of trial. sheets 1: all on one; mounts: fittings per specimen, each on its own sheet."""

    name: str
    exact: bool = False
    gated: bool = True
    sheets: int = 3
    mounts: int = 1
    specimen: float = 0.08
    mount: float = 0.0
    lost: str = ""
    ratio: float = 1.0
    tails: bool = False
    drift: float = 0.0
    second_look: bool = False
    log: bool = False
    sheet: float = 0.04


ROWS = (
    Row("balanced, one sheet", sheets=1, specimen=0.20, exact=True),
    Row("balanced, three sheets that differ much", specimen=0.10, sheet=0.5, exact=True),
    Row("balanced, three sheets", specimen=0.20, exact=True),
    Row("balanced, one sheet, log of rounded readings", sheets=1, specimen=0.20, log=True, exact=True),
    Row("balanced, demo spreads"),
    Row("20 % lost at random", lost="random"),
    Row("lost because rough", lost="rough"),
    Row("small specimen variance", specimen=0.02),
    Row("zero specimen variance", specimen=0.0),
    Row("two mounts per specimen, crossed sheets", mounts=2, mount=0.05),
    Row("spread 2:1 between types", ratio=2.0, gated=False),
    Row("heavy tails (t, 3 df)", tails=True, gated=False),
    Row("drift over the day", drift=0.2, gated=False),
    Row("undeclared second look", second_look=True, gated=False),
)


def frame(row: Row, specimens: int = SPECIMENS) -> dict[str, np.ndarray]:
    """Labels and settings of one reading per line."""
    lines = [
        (t, f"s{t}.{s}", f"m{t}.{s}.{m}", f"{(s + m) % row.sheets}", p, q)
        for t in range(TYPES)
        for s in range(specimens)
        for m in range(row.mounts)
        for p in LEVELS[0]
        for q in LEVELS[1]
    ]
    table = {
        name: np.array([line[i] for line in lines], dtype=kind)
        for i, (name, kind) in enumerate(
            (("type", int), ("specimen", object), ("mount", object), ("sheet", object), ("p", float), ("q", float))
        )
    }
    return {**table, "coupon": np.array([f"c{i}" for i in range(len(lines))], dtype=object)}


def simulate(row: Row, table: dict[str, np.ndarray], rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Responses (coupons, readings) of a trial without nozzle effect, and which coupons were kept."""
    n = len(table["coupon"])
    spread = {**SPREADS, "sheet": row.sheet, "specimen": row.specimen, "mount": row.mount}
    value = np.zeros(n)
    for name in ("sheet", "specimen", "mount"):
        labels, place = np.unique(table[name].astype(str), return_inverse=True)
        if len(labels) > 1:
            value += rng.normal(0, spread[name], len(labels))[place]
    scale = np.where(table["type"] == 0, row.ratio, 1.0)
    draw = (lambda size: rng.standard_t(3, size) / math.sqrt(3)) if row.tails else rng.standard_normal
    value += spread["coupon"] * scale * draw(n)
    value += row.drift * rng.permutation(n) / n
    y = value[:, None] + spread["reading"] * scale[:, None] * draw((n, READINGS))
    if row.log:
        y = np.log(np.maximum(np.round(35.0 * np.exp(y), 1), 0.05))
    keep = np.ones(n, dtype=bool)
    if row.lost == "random":
        keep = rng.random(n) >= 0.2
    if row.lost == "rough":
        keep = rng.random(n) >= np.clip(0.2 + 1.5 * value, 0, 0.9)
    return y, keep


class Analysis:
    """The product's analysis of one set of coupons, ready for many responses."""

    def __init__(self, table: dict[str, np.ndarray], row: Row) -> None:
        long = {name: np.repeat(values, READINGS) for name, values in table.items()}
        labels = np.array([f"t{t}" for t in long["type"]], dtype=object)
        axes = [Axis("nozzle", tuple(f"t{t}" for t in range(TYPES))), Axis("p", LEVELS[0]), Axis("q", LEVELS[1])]
        settings = {"nozzle": labels, "p": long["p"], "q": long["q"]}
        model = build_model(axes, settings, "nozzle", units=len(table["coupon"]))
        self.fixed = model.matrix(settings)
        self.nozzle = model.slices()["nozzle"]
        names = ["specimen", "coupon"] + (["sheet"] if row.sheets > 1 else []) + (["mount"] if row.mounts > 1 else [])
        groups = {name: long[name] for name in names}
        self.headline = YardstickDesign.build(self.fixed, groups)
        self.between = YardstickDesign.build(self.fixed, groups, types=labels)
        everywhere = [{"p": p, "q": q} for p in LEVELS[0] for q in LEVELS[1]]
        self.contrasts, self.average = (self.against(model, point) for point in ([{"p": 0.7, "q": 1.0}], everywhere))
        self.coupon = self.fixed[::READINGS]
        self.strata = strata_projection(table) if row.mounts == 1 else None

    @staticmethod
    def against(model, points: list[dict[str, float]]) -> np.ndarray:
        """Contrasts of every type against the first, averaged over some settings."""
        rows = type_rows(model, "nozzle", [f"t{t}" for t in range(TYPES)], points)
        return rows[1:] - rows[0]

    def run(self, y: np.ndarray) -> dict[str, float]:
        """Counts of one trial."""
        headline, between = self.headline.fit(y.ravel()), self.between.fit(y.ravel())
        found = {"test": headline.test(np.eye(self.fixed.shape[1])[self.nozzle]).p < 0.05}
        wide, narrow = (intervals(between, self.contrasts, level) for level in (0.95, 0.90))
        level = intervals(between, self.average, 0.95)
        found["average"] = bool(((level.low <= 0) & (level.high >= 0)).all())
        found["family"] = bool(((wide.low > 0) | (wide.high < 0)).any())
        found["cover"] = bool(((wide.low <= 0) & (wide.high >= 0)).all())
        for true, name in ((0.0, "0"), (D.worse, "+D"), (-D.better, "-D")):
            s, e = (wide.low[0] + true, wide.high[0] + true), (narrow.low[0] + true, narrow.high[0] + true)
            # lower is better: the improvement is the interval turned round
            word, _ = answer((-float(s[1]), -float(s[0])), (-float(e[1]), -float(e[0])), D)
            found[f"{word} at {name}"] = True
        found["readings"] = ols_p(y.ravel(), self.fixed, self.nozzle) < 0.05
        found["coupons"] = ols_p(y.mean(axis=1), self.coupon, self.nozzle) < 0.05
        if self.strata is not None:
            found["strata"] = strata_p(y.mean(axis=1), *self.strata) < 0.05
        return found


def intervals(yardstick: Yardstick, contrasts: np.ndarray, confidence: float) -> Simultaneous:
    """Simultaneous intervals of the contrasts, as the product computes them."""
    found = yardstick.estimates(contrasts)
    return against_reference(found.values, found.covariance, found.dfs, confidence)


def ols_p(y: np.ndarray, fixed: np.ndarray, part: slice) -> float:
    """p of the nozzle columns in ordinary least squares, every row counted as independent."""
    rest = np.delete(fixed, np.arange(fixed.shape[1])[part], axis=1)
    full = residual(y, fixed)
    df, free = part.stop - part.start, len(y) - fixed.shape[1]
    return float(stats.f.sf((residual(y, rest) - full) / df / (full / free), df, free))


def residual(y: np.ndarray, fixed: np.ndarray) -> float:
    """Residual sum of squares."""
    basis = np.linalg.qr(fixed)[0]
    return float(y @ y - np.sum((basis.T @ y) ** 2))


def strata_projection(table: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Specimen membership, type of each specimen and sheet of each specimen, for balanced trials."""
    names, place = np.unique(table["specimen"].astype(str), return_inverse=True)
    if len(set(np.bincount(place))) > 1:
        return None
    first = np.array([np.flatnonzero(place == i)[0] for i in range(len(names))])
    return place, table["type"][first], table["sheet"][first].astype(int)


def strata_p(means: np.ndarray, place: np.ndarray, kind: np.ndarray, sheet: np.ndarray) -> float:
    """Classical test: nozzle mean square over specimens within types, sheets taken out."""
    y = np.bincount(place, means) / np.bincount(place)
    dummies = (kind[:, None] == np.arange(TYPES)).astype(float)
    sheets = (sheet[:, None] == np.unique(sheet)[1:]).astype(float)
    full = np.hstack([dummies, sheets])
    less = np.hstack([np.ones((len(y), 1)), sheets])
    rss = residual(y, full)
    free = len(y) - full.shape[1]
    return float(stats.f.sf((residual(y, less) - rss) / (TYPES - 1) / (rss / free), TYPES - 1, free))


def batch(job: tuple[Row, int, int]) -> dict[str, float]:
    """Counts over some trials of a row."""
    row, trials, seed = job
    rng = np.random.default_rng(seed)
    table = frame(row, SPECIMENS * 2 if row.second_look else SPECIMENS)
    whole = Analysis(table, row) if not row.lost and not row.second_look else None
    counts: dict[str, float] = {"done": 0}
    for _ in range(trials):
        y, keep = simulate(row, table, rng)
        try:
            found = second_look(row, table, y) if row.second_look else one(row, table, y, keep, whole)
        except NotIdentifiable:
            found = {"refused": True}
        for name, hit in found.items():
            counts[name] = counts.get(name, 0) + bool(hit)
        counts["done"] += 1
    return counts


def one(row: Row, table: dict, y: np.ndarray, keep: np.ndarray, whole: Analysis | None) -> dict[str, float]:
    """One trial, with what was lost taken out."""
    if whole is not None:
        return whole.run(y)
    return Analysis({name: values[keep] for name, values in table.items()}, row).run(y[keep])


_LOOKS: dict[str, tuple[np.ndarray, Analysis, Analysis]] = {}


def second_look(row: Row, table: dict, y: np.ndarray) -> dict[str, float]:
    """Half of the specimens first; more are cut only where nothing was found, and the test is simply repeated."""
    if row.name not in _LOOKS:
        half = np.array([int(s.split(".")[1]) < SPECIMENS for s in table["specimen"]])
        first = Analysis({name: values[half] for name, values in table.items()}, row)
        _LOOKS[row.name] = (half, first, Analysis(table, row))
    half, first, both = _LOOKS[row.name]
    found = first.run(y[half])
    if found["test"] or found["family"]:
        return found
    again = both.run(y)
    return {**again, "test": again["test"], "family": again["family"]}


def main() -> None:
    """Run the rows and print the table."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--trials", type=int, default=20000)
    asked.add_argument("--seed", type=int, default=20417)
    asked.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--row", default="", help="only rows whose name holds this text")
    chosen = asked.parse_args()
    print(heading())
    failed = []
    with Pool(chosen.processes) as pool:
        for i, row in enumerate(ROWS):
            if chosen.row not in row.name:
                continue
            counts = run_row(pool, row, i, chosen.trials, chosen.seed)
            print(line(row, counts), flush=True)
            failed += missed(row, counts)
    print(f"\nsimulation error of a rate of 0.05: {math.sqrt(0.05 * 0.95 / chosen.trials):.4f}; D: 15 % either way")
    print("\n".join(failed) or "every gate was met")
    sys.exit(bool(failed))


def run_row(pool, row: Row, number: int, trials: int, seed: int) -> dict[str, float]:
    """All trials of a row over the pool, with progress on standard error."""
    pieces = max(1, min(40, trials // 25))
    sizes = [trials // pieces + (j < trials % pieces) for j in range(pieces)]
    jobs = [(row, size, seed + 1000 * number + j) for j, size in enumerate(sizes)]
    total: dict[str, float] = {}
    for done, counts in enumerate(pool.imap_unordered(batch, jobs), 1):
        for name, count in counts.items():
            total[name] = total.get(name, 0) + count
        sys.stderr.write(f"\r{row.name}: {100 * done // pieces} %   ")
        sys.stderr.flush()
    sys.stderr.write("\r" + " " * 60 + "\r")
    return total


WORDS = ("better", "same for practical purposes", "worse", "not settled")


def heading() -> str:
    """Head of the table, in the form of the handbook page it is copied to."""
    names = ["trials", "test", "family", "cover today", "cover average", "readings", "coupons", "strata"]
    names += [f"at {t}: b/s/w/n" for t in ("0", "+D", "-D")]
    return "| row | " + " | ".join(names) + " |\n|" + "---|" * (len(names) + 1)


def line(row: Row, counts: dict[str, float]) -> str:
    """One line of the table; the words are better / same / worse / not settled (here + means rougher by D)."""
    n = counts["done"] - counts.get("refused", 0)
    rates = [f"{counts.get(name, 0) / n:.4f}" for name in ("test", "family", "cover", "average", "readings", "coupons")]
    rates.append(f"{counts['strata'] / n:.4f}" if "strata" in counts else "-")
    for true in ("0", "+D", "-D"):
        rates.append("/".join(f"{counts.get(f'{word} at {true}', 0) / n:.3f}" for word in WORDS))
    return f"| {row.name} | {n:.0f} | " + " | ".join(rates) + " |"


def missed(row: Row, counts: dict[str, float]) -> list[str]:
    """Gates: 0.045-0.055 and 0.945-0.955 where the theory is exact, else at most 0.06 and at least 0.94.

    Exact: balanced, every spread well above zero, types averaged over the settings. A comparison at one setting mixes
    two spreads (Satterthwaite 1946), so it is approximate.
    """
    if not row.gated:
        return []
    n = counts["done"] - counts.get("refused", 0)
    test, cover, average = (counts.get(name, 0) / n for name in ("test", "cover", "average"))
    if row.exact:
        good = 0.045 <= test <= 0.055 and 0.945 <= average <= 0.955 and cover >= 0.94
    else:
        good = test <= 0.06 and cover >= 0.94
    return [] if good else [f"gate missed: {row.name}: error {test:.4f}, coverage {cover:.4f} and {average:.4f}"]


if __name__ == "__main__":
    main()
