"""Simulate the crossed-sheet trial of crossed_sheets.csv: python make_crossed_sheets.py > crossed_sheets.csv."""

import numpy as np

rng = np.random.default_rng(20417)
specimen = np.repeat(np.arange(12), 8)
mount = np.repeat(np.arange(24), 4)
sheet = rng.integers(0, 5, size=96)
pressure = rng.choice([0.5, 0.7, 0.9], size=96)
kind = specimen // 3
effect = np.array([0.0, 0.12, -0.08, 0.05])[kind] + 0.3 * (pressure - 0.7)
effect += rng.normal(scale=0.09, size=12)[specimen] + rng.normal(scale=0.06, size=24)[mount]
effect += rng.normal(scale=0.08, size=5)[sheet] + rng.normal(scale=0.08, size=96)
print("rz5_um,type,pressure_bar,specimen,mount,sheet,coupon")  # noqa: T201
for coupon in np.flatnonzero(rng.random(96) > 0.1):
    for _ in range(rng.integers(1, 4)):
        rz5 = np.exp(np.log(35.0) + effect[coupon] + rng.normal(scale=0.07))
        place = (f"{rz5:.2f}", "abcd"[kind[coupon]], pressure[coupon], f"s{specimen[coupon]}", f"m{mount[coupon]}")
        print(",".join([*map(str, place), f"h{sheet[coupon]}", f"c{coupon}"]))  # noqa: T201
