"""Speed of what a plan detects, against a loop of statsmodels fits; run by hand from the top folder."""

import time
import warnings

import numpy as np

from trials.plan.power import Balanced, Simulation, chance_f, detectable_balanced, pattern_means, simulate_tests

SPREADS = {"specimen": 4.0, "coupon": 3.0, "reading": 2.0}
PEER_TRIALS = 40


def unbalanced(rng):
    """432 readings of 4 types x 3 specimens x 6 coupons x 6 readings on one sheet, one in twenty lost."""
    kind = np.repeat(np.arange(4), 108)
    specimen, coupon = np.repeat(np.arange(12), 36), np.repeat(np.arange(72), 6)
    kept = rng.random(432) > 0.05
    fixed = np.column_stack([np.ones(432), np.eye(4)[kind][:, 1:]])
    return fixed[kept], {"specimen": specimen[kept], "coupon": coupon[kept]}


def seconds_of(call):
    """Result, seconds on the clock, seconds of processor (equal on a machine that does nothing else)."""
    clock, processor = time.perf_counter(), time.process_time()
    value = call()
    return value, time.perf_counter() - clock, time.process_time() - processor


def statsmodels_loop(fixed, groups, trials, seed):
    """The same trials by MixedLM: coupons as a variance component within specimens; Wald test of the types."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    rng = np.random.default_rng(seed)
    codes = {name: np.unique(labels, return_inverse=True)[1] for name, labels in groups.items()}
    for _ in range(trials):
        y = SPREADS["reading"] * rng.standard_normal(len(fixed))
        for name, code in codes.items():
            y += SPREADS[name] * rng.standard_normal(code.max() + 1)[code]
        names, mats = [], []
        for level in range(codes["specimen"].max() + 1):
            inside = codes["coupon"][codes["specimen"] == level]
            labels = np.unique(inside)
            mats.append((inside[:, None] == labels).astype(float))
            names.append([f"c{label}" for label in labels])
        spec = VCSpec(["coupon"], [names], [mats])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = MixedLM(y, fixed, groups=codes["specimen"], exog_vc=spec)
            fit = model.fit(reml=True)
            b, v = fit.fe_params[1:], fit.cov_params()[1 : fixed.shape[1], 1 : fixed.shape[1]]
            float(b @ np.linalg.solve(v, b))


def main():
    layout = Balanced(4, 3, coupons=6, readings=6)
    noncentrality = np.sum((8.0 * pattern_means(4)) ** 2) / layout.variance_of_mean(SPREADS)
    print(f"balanced: chance at 8 um by noncentral F {chance_f(noncentrality, 3, layout.df):.4f}")
    fixed, groups = unbalanced(np.random.default_rng(3))
    contrast = {"nozzle": np.eye(4)[1:]}
    found, slow, slow_cpu = seconds_of(lambda: simulate_tests(fixed, groups, SPREADS, contrast))
    # types 1 and 4 apart, 2 and 3 half-way: coefficients against type 1
    effect = np.array([4.0, 4.0, 8.0])
    print(f"unbalanced: 4,000 trials with the full analysis in {slow:.1f} s, {slow_cpu:.1f} s of processor")
    print(f"  chance at 8 um, least favourable pattern: {found['nozzle'].chance(effect):.4f}")
    _, _, peer = seconds_of(lambda: statsmodels_loop(fixed, groups, PEER_TRIALS, 1))
    per_trial, peer_trial = slow_cpu / 4000, peer / PEER_TRIALS
    ratio = peer_trial / per_trial
    print(f"statsmodels loop: {peer_trial * 1e3:.1f} ms a trial, ours {per_trial * 1e3:.2f} ms, ratio {ratio:.0f}")
    near_zero()


def near_zero(trials=1000):
    """Where specimens hardly differ the real analysis is cautious: a variance estimated as zero stays in its df."""
    kind = np.repeat(np.arange(4), 108)
    fixed = np.column_stack([np.ones(432), np.eye(4)[kind][:, 1:]])
    groups = {"specimen": np.repeat(np.arange(12), 36), "coupon": np.repeat(np.arange(72), 6)}
    layout = Balanced(4, 3, coupons=6, readings=6)
    print("chance where the noncentral F says 50 %, and of a false alarm, by specimen spread (coupon 3, reading 2):")
    for sd in (8.0, 4.0, 2.0, 1.0, 0.0):
        spreads = {**SPREADS, "specimen": sd}
        size = detectable_balanced(layout, spreads, chance=0.5)
        found = simulate_tests(fixed, groups, spreads, {"nozzle": np.eye(4)[1:]}, Simulation(trials))["nozzle"]
        half = found.chance(size * np.array([0.5, 0.5, 1.0]))
        print(f"  {sd:g} um: {half:.3f} and {found.chance(np.zeros(3)):.3f}, +- {0.5 / trials**0.5:.3f} at most")


if __name__ == "__main__":
    main()
