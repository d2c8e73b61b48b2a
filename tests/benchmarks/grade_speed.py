"""Time and memory of grading one million coupons with six readings each; run by hand from the top folder.

    PYTHONPATH=. python tests/benchmarks/grade_speed.py

Peer: one pass of pandas `groupby(...).max()` over the same table, which finds the worst readings and grades nothing.
"""

import resource
import time

import numpy as np
import pandas as pd

from trials.grade.coupons import grade_coupons
from trials.grade.iso9013 import roughness_range, squareness_range
from trials.trial import Requirement

COUPONS, READINGS = 1_000_000, 6


def timed(label, work):
    start = time.perf_counter()
    result = work()
    seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"{label:58s} {seconds:6.2f} s   peak so far {peak:5.2f} GB")
    return result, seconds


def main():
    rng = np.random.default_rng(20417)
    u = rng.gamma(4, 0.05, (COUPONS, READINGS)).round(3)
    rz5 = rng.gamma(9, 4, (COUPONS, READINGS)).round(1)
    thickness = rng.choice([3.0, 6.0, 12.0, 20.0], (COUPONS, 1))
    timed(
        "ranges of u and Rz5 of every reading",
        lambda: (squareness_range(u, thickness), roughness_range(rz5, thickness)),
    )
    marks = np.array([f"K{i:07d}" for i in range(COUPONS)], dtype=object)
    table = pd.DataFrame({"coupon": np.repeat(marks, READINGS), "u_mm": u.ravel(), "rz5_um": rz5.ravel()})
    table["dross_grade"] = np.where(np.arange(len(table)) % READINGS == 0, rng.integers(0, 5, len(table)), np.nan)
    shuffled = table.sample(frac=1.0, random_state=1)
    by_coupon = pd.Series(thickness.ravel(), index=marks)
    required = Requirement(squareness_range=2, roughness_range=2, dross_grade=1)
    doubt = {"u_mm": 0.02, "rz5_um": 2.0}
    for order, rows in (("in order", table), ("shuffled", shuffled)):
        _, peer = timed(f"peer: groupby max, {order}", lambda rows=rows: rows.groupby("coupon", sort=False).max())
        graded, mine = timed(
            f"table graded, {order}", lambda rows=rows: grade_coupons(rows, required, by_coupon, uncertainty=doubt)
        )
        print(f"{'':58s} {mine / peer:6.2f} times the peer")
    print(graded["meets"].value_counts().to_dict())


if __name__ == "__main__":
    main()
