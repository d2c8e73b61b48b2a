"""Time and memory of `trials fit` and `trials verdict` beside a script; run by hand from the top folder.

    PYTHONPATH=. python tests/benchmarks/fit_speed.py --runs 5

Peer, in the same run and interleaved: a script that reads the same table with pandas, fits a mixed model with
statsmodels and draws one picture with seaborn. Every run is a fresh process with compiled modules at hand; the first
of each is not counted. Once with one thread for linear algebra given from outside, once as a user calls them, with no
variable set. Below it the mean squares for growing numbers of readings, where time and memory must grow no
faster than the readings.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np

PEER = """
import sys
import pandas as pd, seaborn as sns, statsmodels.formula.api as smf, numpy as np
import matplotlib
matplotlib.use("Agg")
table = pd.read_csv(sys.argv[1])
table["y"] = np.log(table["value"])
fit = smf.mixedlm("y ~ C(nozzle) * (pressure_bar + standoff_mm)", table, groups="specimen",
                  vc_formula={"coupon": "0 + C(coupon)"}).fit()
print(fit.summary())
sns.stripplot(table, x="nozzle", y="value").figure.savefig(sys.argv[2])
"""
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
SHAPES = (  # readings, coupons, specimens
    (648, 216, 12),
    (23_040, 1_920, 160),
    (199_680, 1_920, 160),
    (200_000, 2_000, 20),
    (200_000, 20_000, 2_000),
)


def run(words, env):
    """Wall and processor seconds and peak MB of one process."""
    start = time.perf_counter()
    process = subprocess.Popen(words, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    wall = time.perf_counter() - start
    if process.returncode != 0:
        raise SystemExit(f"{' '.join(map(str, words))} ended with {process.returncode}")
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def table_of(folder, path):
    """Write the primary response of a trial as one CSV."""
    from trials.steps import evidence, load

    records = load(folder)
    evidence(records).tables["roughness"].to_csv(path, index=False)


def commands(folder, runs):
    trials = Path(sys.executable).with_name("trials")
    apart = (*THREADS, "PYTHONDONTWRITEBYTECODE")
    env = {k: v for k, v in os.environ.items() if k not in apart} | {"PYTHONPYCACHEPREFIX": str(folder / "compiled")}
    demo = folder / "demo"
    run([trials, "demo", demo], env)
    table_of(demo, folder / "table.csv")
    jobs = {
        "peer script": [sys.executable, "-c", PEER, folder / "table.csv", folder / "peer.png"],
        "trials fit": [trials, "fit", demo],
        "trials verdict": [trials, "verdict", demo, "--out", demo / "again.pdf"],
    }
    compare(jobs, env | dict.fromkeys(THREADS, "1"), runs, "one thread")
    compare(jobs, env, runs, "as a user")


def compare(jobs, env, runs, heading):
    found = {name: [] for name in jobs}
    for i in range(runs + 1):
        for name, words in jobs.items():
            jobs["trials verdict"][-1].unlink(missing_ok=True)
            used = run(words, env)
            if i:
                found[name].append(used)
    wall, cpu = ({n: statistics.median(u[k] for u in rows) for n, rows in found.items()} for k in (0, 1))
    print(f"\n{heading:16s} wall s   times the peer   processor s   times the peer   peak MB")
    for name, rows in found.items():
        times = wall[name] / wall["peer script"], cpu[name] / cpu["peer script"]
        peak = max(u[2] for u in rows)
        print(f"{name:16s} {wall[name]:6.2f} {times[0]:16.2f} {cpu[name]:13.2f} {times[1]:16.2f} {peak:9.0f}")


def growth():
    from trials.infer.chance import find_layers

    print(f"\n{'readings':>9s} {'coupons':>8s} {'specimens':>10s} {'s':>7s} {'MB':>6s}")
    for readings, coupons, specimens in SHAPES:
        rng = np.random.default_rng(20417)
        coupon = np.repeat(np.arange(coupons), readings // coupons)
        specimen = np.repeat(np.arange(specimens), len(coupon) // specimens)
        kind = specimen % 4
        along = rng.normal(size=(coupons, 6))[coupon]
        fixed = np.column_stack([(kind[:, None] == np.arange(4)).astype(float), along])
        values = rng.normal(size=coupons)[coupon] + rng.normal(size=specimens)[specimen] + rng.normal(size=len(coupon))
        groups = {"sheet": specimen // 4 % 3, "specimen": specimen, "coupon": coupon}
        start = time.perf_counter()
        find_layers(values, fixed, groups, kind, ("coupon", "reading"))
        seconds = time.perf_counter() - start
        tracemalloc.start()
        find_layers(values, fixed, groups, kind, ("coupon", "reading"))
        peak = tracemalloc.get_traced_memory()[1] / 1024**2
        tracemalloc.stop()
        print(f"{len(values):9d} {coupons:8d} {specimens:10d} {seconds:7.2f} {peak:6.0f}")


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--runs", type=int, default=5)
    with tempfile.TemporaryDirectory() as folder:
        commands(Path(folder), asked.parse_args().runs)
    growth()


if __name__ == "__main__":
    main()
