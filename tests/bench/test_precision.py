"""Precision by ISO 5725-2 and ASTM E691."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.bench.precision import cochran_critical, grubbs_critical, precision
from trials.errors import InputError, NotFinite, WrongShape

TABLE = pd.read_csv(Path(__file__).parents[1] / "reference" / "bench" / "e691_glucose.csv")


@pytest.mark.parametrize(
    ("material", "mean", "s_r", "s_R", "largest_h", "largest_k"),
    # A, D, E: figures of ASTM E691; B, C: R 4.2.2 from the packaged copy; h and k: R 4.2.2
    [
        ("A", 41.5183, 1.0632, 1.0632, ("Lab7", -1.7516), ("Lab4", 1.7040)),
        ("B", 79.6079, 1.4961, 1.4961, ("Lab4", 1.5711), ("Lab4", 1.8489)),
        ("C", 135.1388, 2.7509, 3.4789, ("Lab4", 2.1422), ("Lab4", 2.4065)),
        ("D", 194.7170, 2.6251, 3.3657, ("Lab7", -1.3322), ("Lab2", 1.7837)),
        ("E", 294.4920, 3.9350, 4.1923, ("Lab2", 1.6429), ("Lab2", 2.3347)),
    ],
)
def test_glucose_to_the_printed_digits(material, mean, s_r, s_R, largest_h, largest_k):
    rows = TABLE[TABLE["Material"] == material]
    found = precision(rows["Glucose"], rows["Laboratory"])
    # four decimals printed; the standard's own are rounded from rounded sums, hence two units of the last
    assert [found.mean, found.s_r, found.s_R] == pytest.approx([mean, s_r, s_R], abs=2e-4)
    for values, (name, value) in ((found.h, largest_h), (found.k, largest_k)):
        place = int(np.argmax(np.abs(values)))
        assert found.laboratories[place] == name
        assert values[place] == pytest.approx(value, abs=1.02e-4)


def test_critical_values_of_e691():
    rows = TABLE[TABLE["Material"] == "C"]
    found = precision(rows["Glucose"], rows["Laboratory"])
    # printed in ASTM E691 for 8 laboratories, 3 readings, 0.5 %: 2.15 and 2.06
    assert (round(found.h_critical, 2), round(found.k_critical, 2)) == (2.15, 2.06)
    assert found.out_of_line == ("Lab4",)
    assert found.cochran == pytest.approx(2.4065**2 / 8, abs=1e-4)
    assert found.cochran > found.cochran_critical
    assert found.grubbs == pytest.approx(2.1422, abs=1.02e-4)


def test_critical_values_agree_with_simulation():
    """The formulas against 20,000 drawn sets: the share beyond the 5 % value stays within 5 standard errors."""
    rng = np.random.default_rng(5)
    sets = rng.standard_normal((20_000, 6, 3))
    variances = sets.var(axis=2, ddof=1)
    beyond_c = np.mean(variances.max(axis=1) / variances.sum(axis=1) > cochran_critical(6, 3, 0.05))
    means = sets[:, :, 0]
    distance = np.abs(means - means.mean(axis=1, keepdims=True)).max(axis=1) / means.std(axis=1, ddof=1)
    beyond_g = np.mean(distance > grubbs_critical(6, 0.05))
    error = np.sqrt(0.05 * 0.95 / 20_000)
    assert abs(beyond_c - 0.05) < 5 * error
    assert abs(beyond_g - 0.05) < 5 * error


@pytest.mark.parametrize(
    ("values", "names", "error", "message"),
    [
        ([1, 2, np.nan, 4], list("aabb"), NotFinite, "not a number"),
        ([1, 2, 3], list("aa"), WrongShape, "one name for each reading"),
        ([1, 2, 3, 4], list("aabb"), WrongShape, "Found 2 laboratories"),
        ([1, 2, 3, 4, 5], list("aabbc"), WrongShape, "1 to 2 readings"),
        ([1, 1, 1, 1, 1, 1], list("aabbcc"), InputError, "the readings do not vary"),
    ],
)
def test_bad_input(values, names, error, message):
    with pytest.raises(error, match=message):
        precision(values, names)
