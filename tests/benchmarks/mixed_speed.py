"""Time and memory of the mixed model beside statsmodels MixedLM, in one run.

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/mixed_speed.py [seconds the peer may take, 120]

Every figure comes from a process of its own. The peer fits the same two variances by REML and gives Wald tests; it
has no Kenward-Roger adjustment, which is part of the time of ours.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time
import warnings

import numpy as np

CASES = {
    "648 readings, 108 coupons, 12 specimens": (12, 9, 6, None),
    "60,000 readings, 10,000 coupons, 1,000 specimens": (1000, 10, 6, None),
    "60,000 readings, 10,000 coupons, 2,000 mounts, 200 specimens, 8 sheets": (200, 50, 6, 5),
    "200,000 readings, 10,000 coupons, 1,000 specimens": (1000, 10, 20, None),
    "200,000 readings, 10,000 coupons, 2,000 mounts, 1,000 specimens, 8 sheets": (1000, 10, 20, 5),
}


def trial(specimens, coupons, readings, coupons_per_mount):
    """Four types, two settings at three levels, every reading present; mounts and crossed sheets if asked."""
    rng = np.random.default_rng(7)
    total = specimens * coupons
    specimen, place = np.divmod(np.arange(total), coupons)
    kind = np.eye(4)[specimen % 4][:, 1:]
    pressure, standoff = place % 3 - 1.0, place // 3 % 3 - 1.0
    squares = [pressure * standoff, pressure**2, standoff**2]
    fixed = np.column_stack(
        [np.ones(total), kind, pressure, standoff, *squares, kind * pressure[:, None], kind * standoff[:, None]]
    )
    groups = {"specimen": specimen, "coupon": np.arange(total)}
    if coupons_per_mount:
        groups["mount"] = np.arange(total) // coupons_per_mount
        groups["sheet"] = groups["mount"] % 8
    effect = sum(rng.normal(scale=0.1, size=labels.max() + 1)[labels] for labels in groups.values())
    each = np.repeat(np.arange(total), readings)
    y = 3.5 + effect[each] + rng.normal(scale=0.1, size=len(each))
    return y, fixed[each], {name: np.array([f"{name}{v}" for v in labels])[each] for name, labels in groups.items()}


def ours(case, pipe):
    """Time of one fit with all its tests, after import and one small fit."""
    from trials.infer.mixed import fit_mixed

    def all_tests(y, fixed, groups):
        fit = fit_mixed(y, fixed, groups)
        rows = np.eye(fixed.shape[1])
        for term in (slice(1, 4), [4], [5], [6], [7], [8], slice(9, 12), slice(12, 15)):
            fit.test(rows[term])

    all_tests(*trial(12, 9, 6, None))
    data = trial(*case)
    times = []
    for _ in range(20 if len(data[0]) < 1000 else 2):
        start = time.perf_counter()
        all_tests(*data)
        times.append(time.perf_counter() - start)
    pipe.send((min(times), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))


def repeated(case, pipe):
    """Time of one more response on a design that is ready."""
    from trials.infer.mixed import MixedDesign

    y, fixed, groups = trial(*case)
    design = MixedDesign.build(fixed, groups)
    responses = y + 0.1 * np.random.default_rng(1).normal(size=(50, len(y)))
    start = time.perf_counter()
    for response in responses:
        design.fit(response).test(np.eye(fixed.shape[1])[1:4])
    pipe.send(((time.perf_counter() - start) / len(responses), 0.0))


def peer(case, pipe):
    """Time of one fit of statsmodels MixedLM with coupons as a variance component inside specimens."""
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    warnings.simplefilter("ignore")
    y, fixed, groups = trial(*case)
    table = pd.DataFrame({"y": y, "specimen": groups["specimen"], "coupon": groups["coupon"]})
    names = [f"x{j}" for j in range(fixed.shape[1])]
    table[names] = fixed
    formula = "y ~ 0 + " + " + ".join(names)
    start = time.perf_counter()
    MixedLM.from_formula(formula, table, groups="specimen", vc_formula={"coupon": "0 + C(coupon)"}).fit(reml=True)
    pipe.send((time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))


def measured(work, case, limit):
    """Seconds and peak megabytes of work in a process of its own, None if it is not done within the limit."""
    here, there = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=work, args=(case, there))
    process.start()
    found = here.recv() if here.poll(limit) else None
    process.terminate()
    process.join()
    return found


def main():
    """Print the table."""
    limit = float(sys.argv[1]) if len(sys.argv) > 1 else 120.0
    for name, case in CASES.items():
        seconds, megabytes = measured(ours, case, 600)
        line = f"{name}: {seconds * 1000:.1f} ms with all tests, {megabytes:.0f} MB at most"
        if case[3] is None:
            other = measured(peer, case, limit)
            took = (
                f"{other[0]:.2f} s, {other[0] / seconds:.0f} times as long" if other else f"not done in {limit:.0f} s"
            )
            line += f"; statsmodels {took}"
        print(line, flush=True)
    seconds, _ = measured(repeated, next(iter(CASES.values())), 600)
    print(f"one more response on the 648-reading design, one test: {seconds * 1000:.1f} ms")


if __name__ == "__main__":
    main()
