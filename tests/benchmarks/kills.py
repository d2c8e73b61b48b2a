"""Run by hand: commands killed at random moments; prints every folder that was left unsound or could not be mended.

python tests/benchmarks/kills.py [how many] [seed]
"""

import os
import random
import shutil
import sys
import tempfile
import traceback
from pathlib import Path

HERE = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]
sys.path[:0] = HERE
os.environ["PYTHONPATH"] = os.pathsep.join(HERE)

from killing import KILLS, look_after, make_states, run  # noqa: E402

SHARES = {"record": 5, "correct": 5, "cut": 4, "adopt": 5, "plan": 4, "sheet": 1, "verdict": 1}


def main(count, seed):
    """Kill `count` commands; the number of those that left something wrong."""
    rng = random.Random(seed)
    names = [name for name, share in SHARES.items() for _ in range(share)]
    faults = dict.fromkeys(KILLS, 0)
    counts = dict.fromkeys(KILLS, 0)
    with tempfile.TemporaryDirectory() as home:
        states = Path(home) / "states"
        states.mkdir()
        make_states(states)
        took = {}
        for name in KILLS:  # once more: the first starts the process that others are forked from
            for round_ in (1, 2):
                place = shutil.copytree(states / KILLS[name].state, Path(home) / f"whole-{name}-{round_}")
                took[name] = run(name, place)
        for number in range(count):
            name = names[number % len(names)]
            folder = shutil.copytree(states / KILLS[name].state, Path(home) / "at" / "trial")
            counts[name] += 1
            try:
                run(name, folder, kill_after=rng.uniform(0.02, 1.05) * took[name])
                look_after(name, folder)
            except AssertionError:
                faults[name] += 1
                print(f"{name}, number {number}: {traceback.format_exc(limit=-2)}", flush=True)
            shutil.rmtree(folder.parent)
            if number % 25 == 24:
                print(f"{number + 1} killed, {sum(faults.values())} wrong", flush=True)
    for name in KILLS:
        print(f"{name:8} killed {counts[name]:4} wrong {faults[name]:4} (takes {took[name]:.2f} s)")
    return sum(faults.values())


if __name__ == "__main__":
    sys.exit(bool(main(*(int(word) for word in [*sys.argv[1:], "300", "1"][:2]))))
