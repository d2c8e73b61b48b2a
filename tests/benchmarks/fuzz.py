"""Run by hand: thousands of damaged files; prints how many were read and refused, and every one that did worse.

python tests/benchmarks/fuzz.py [how many] [seed]
"""

import random
import shutil
import sys
import tempfile
import time
import traceback
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from fuzzing import KINDS, RECORDED, TOKENS, changed, good, take_in  # noqa: E402
from tests_support import TRIAL_TEXT  # noqa: E402

from trials import steps  # noqa: E402


def some_changes(rng):
    """A few random changes of a file."""
    return [
        (
            rng.random(),
            rng.choice([0, 0, 1, 2, 5, 40, 10_000]),
            rng.choice([rng.choice(TOKENS).encode("utf-8", "surrogatepass"), rng.randbytes(rng.randrange(30))]),
        )
        for _ in range(rng.randrange(1, 6))
    ]


def main(count, seed):
    """Change `count` files, in turn of each kind."""
    rng = random.Random(seed)
    counts = {kind: [0, 0, 0] for kind in KINDS}
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as home:
        template = Path(home) / "template"
        template.mkdir()
        (template / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
        steps.freeze(template, steps.propose(steps.load(template).trial))
        steps.cut_as_planned(template)
        marks = steps.load(template).coupons["coupon"].tolist()[:3]
        files = {kind: good(kind, marks) for kind in KINDS}
        place = shutil.copytree(template, Path(home) / "work" / "trial")
        for number in range(count):
            kind = KINDS[number % len(KINDS)]
            data = changed(files[kind], some_changes(rng))
            try:
                read = take_in(kind, data, place)
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                counts[kind][2] += 1
                print(f"{kind}, number {number}: {traceback.format_exc(limit=-2)}")
                continue
            counts[kind][0 if read else 1] += 1
            if number % 500 == 499:
                print(f"{number + 1} files, {time.monotonic() - started:.0f} s", flush=True)
            if read and kind in RECORDED:
                shutil.rmtree(place)
                shutil.copytree(template, place)
    for kind, (read, refused, failed) in counts.items():
        print(f"{kind:6} read {read:6} refused {refused:6} failed {failed:6}")
    print(f"{time.monotonic() - started:.0f} s")
    return sum(failed for _, _, failed in counts.values())


if __name__ == "__main__":
    sys.exit(bool(main(*(int(word) for word in [*sys.argv[1:], "20000", "1"][:2]))))
