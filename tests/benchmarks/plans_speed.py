"""Efficiency and seconds of chosen plans on the reference problems, one core. Run by hand:

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/plans_speed.py [seeds] [problem ...]

The peer is the best plan known (`tests/reference/plans/problems.json`); the target and the stretch stand beside it.
"""

import importlib.util
import sys
import time
from pathlib import Path

import numpy as np

from trials.plan.optimal import choose_rows

_SPEC = importlib.util.spec_from_file_location("problems", Path(__file__).parents[1] / "plan" / "test_optimal.py")
reference = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(reference)


def efficiency(problem, matrix, asked, chosen):
    log_det, variance = reference.criterion_value(matrix.rows[chosen.rows], matrix.rows, asked.get("strata", ()))
    best = problem["best_known"]["value"]
    return np.exp((log_det - best) / problem["parameters"]) if problem["criterion"] == "D" else best / variance


def main():
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    print("problem seed  efficiency   target  stretch  seconds      CPU  allowed")
    for name in sys.argv[2:] or list(reference.BY_ID):
        problem = reference.BY_ID[name]
        _, matrix, asked = reference.set_up(problem)
        target = problem["target"]
        for seed in range(seeds):
            began, busy = time.perf_counter(), time.process_time()
            chosen = choose_rows(matrix.rows, problem["n"], problem["criterion"], seed=seed, **asked)
            took, busy = time.perf_counter() - began, time.process_time() - busy
            got = efficiency(problem, matrix, asked, chosen)
            met = got >= target["efficiency"] and took <= target["seconds_one_core"]
            print(
                f"{name:7s} {seed:4d}  {got:.6f}   {target['efficiency']:.4f}  {target['stretch'] or '-':>7}"
                f"  {took:7.2f}  {busy:7.2f}  {target['seconds_one_core']:7d}  {'met' if met else 'NOT MET'}"
            )


if __name__ == "__main__":
    main()
