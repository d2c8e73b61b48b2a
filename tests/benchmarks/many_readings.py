"""Time and memory of `record`, `status`, `check` and `fit` on 200,000 readings; run by hand from the top folder.

    nice python tests/benchmarks/many_readings.py [coupons] [readings a coupon] [specimens]

Each command is a process of its own; beside them the time that pandas alone takes to read the same CSV. Shapes that
grow in other ways: `2000 100 20`, `20000 10 2000` (many specimens), `20000 10 20` (many coupons of one specimen).
"""

import json
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from fit_speed import run  # noqa: E402

from trials.store import records  # noqa: E402

TYPES = ("cylindrical", "double", "shower", "plated")
TEXT = """\
[trial]
title = "Many readings"
question = "How long does it take?"
engineer = "Benchmark"
[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
cut = "flame"
{nozzles}
[factors.pressure]
unit = "bar"
levels = [0.5, 0.9]
today = 0.5
[plan]
method = "full"
sheets = 1
seed = 1
[responses.roughness]
primary = true
readings = {readings}
worthwhile = "15 %"
"""
NOZZLE = """[[nozzles]]
type = "{name}"
bore = "cylindrical"
wall = "single"
orifice_mm = 1.4
specimens = {pieces}
{today}"""


def make(folder, coupons, readings, specimens):
    """A trial of that size, cut as planned, and the CSV of its readings."""
    pieces = {name: [f"{name[0].upper()}{i}" for i in range(specimens // 4)] for name in TYPES}
    blocks = [
        NOZZLE.format(name=name, pieces=json.dumps(pieces[name]), today="today = true\n" * (name == TYPES[0]))
        for name in TYPES
    ]
    folder.mkdir()
    (folder / "trial.toml").write_text(TEXT.format(nozzles="\n".join(blocks), readings=readings), encoding="utf-8")
    owner = [(name, piece) for name in TYPES for piece in pieces[name]]
    place = np.arange(coupons) % len(owner)
    marks = [f"{number:X}" for number in range(65_536, 65_536 + coupons)]
    mounts = pd.DataFrame(owner, columns=["nozzle", "specimen"])
    mounts = mounts.assign(mount=[f"M{i}" for i in range(len(owner))], order=np.arange(len(owner)) + 1, sheet="S1")
    table = pd.DataFrame({"coupon": marks, "order": np.arange(coupons) + 1, "sheet": "S1"})
    table["mount"] = [f"M{i}" for i in place]
    table["nozzle"], table["specimen"] = [owner[i][0] for i in place], [owner[i][1] for i in place]
    table["pressure_bar"] = np.where(np.arange(coupons) // len(owner) % 2, 0.9, 0.5)
    records.freeze(folder, {"coupons": table, "mounts": mounts, "sheets": pd.DataFrame({"sheet": ["S1"]})})
    records.record_as_planned(folder)
    rng = np.random.default_rng(1)
    level = 35 * np.exp(rng.normal(0, 0.08, len(owner))[place] + rng.normal(0, 0.1, coupons))
    values = level.repeat(readings) * np.exp(rng.normal(0, 0.07, coupons * readings))
    rows = pd.DataFrame({"coupon": np.repeat(marks, readings), "reading": np.tile(np.arange(readings) + 1, coupons)})
    rows["rz5_um"], rows["inspector"], rows["measured_on"] = values.round(1), "A. Berg", "2026-03-05"
    rows.to_csv(folder / "readings.csv", index=False)


def main(coupons=2_000, readings=100, specimens=20):
    """Print wall and processor seconds and peak MB of each command."""
    trials = Path(sys.executable).with_name("trials")
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"OPENBLAS_NUM_THREADS": "1"}
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "trial"
        make(folder, coupons, readings, specimens)
        file = folder / "readings.csv"
        started, busy = time.perf_counter(), time.process_time()
        pd.read_csv(file)
        pandas = time.process_time() - busy
        print(f"{'pandas reads the CSV':24} {time.perf_counter() - started:6.2f} s  processor {pandas:6.2f} s")
        for words in (["record", folder, file], ["status", folder], ["check", folder], ["fit", folder]):
            wall, processor, peak = run([trials, *words], env)
            print(
                f"{words[0]:24} {wall:6.2f} s  processor {processor:6.2f} s  {peak:6.0f} MB"
                f"  {processor / pandas:5.0f} times pandas",
                flush=True,
            )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
