"""Invented tables of readings with a known structure, for the study of one response."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from tests_support import TRIAL_TEXT

from trials.trial import parse


@pytest.fixture
def trial():
    """The small trial of the tests: cylindrical (today) and double, pressure and standoff."""
    return parse(TRIAL_TEXT)


@pytest.fixture
def make_table():
    """Make an as-cut table: readings on the log scale around 35 um, `effect` by type, spreads by source."""

    def make(
        effect=(0.0, 0.0),
        specimens=3,
        mounts=1,
        readings=3,
        sheets=3,
        spread=(0.04, 0.06, 0.03, 0.05, 0.04),
        seed=1,
        settings=None,
        types=("cylindrical", "double"),
    ):
        rng = np.random.default_rng(seed)
        sheet_sd, specimen_sd, mount_sd, coupon_sd, reading_sd = spread
        sheet_effect = rng.normal(0, sheet_sd, sheets)
        settings = settings or list(itertools.product((0.5, 0.7, 0.9), (0.6, 1.0, 1.4)))
        rows, order = [], 0
        for t, (kind, shift) in enumerate(zip(types, effect, strict=True)):
            for s in range(specimens):
                level = math.log(35) + shift + rng.normal(0, specimen_sd)
                for m in range(mounts):
                    own = level + (rng.normal(0, mount_sd) if mounts > 1 else 0)
                    on = (s + m) % sheets
                    for p, q in settings:
                        order += 1
                        edge = own + sheet_effect[on] + rng.normal(0, coupon_sd)
                        for r in range(readings):
                            value = math.exp(edge + rng.normal(0, reading_sd))
                            rows.append(
                                (
                                    f"{t}{s}{m}x{order}",
                                    f"S{on}",
                                    f"M{t}{s}{m}",
                                    kind,
                                    f"{kind[0]}{s}",
                                    p,
                                    q,
                                    r + 1,
                                    value,
                                )
                            )
        names = ["coupon", "sheet", "mount", "nozzle", "specimen", "pressure_bar", "standoff_mm", "reading", "value"]
        table = pd.DataFrame(rows, columns=names)
        places = rng.permutation(order) + 1
        table["cut_order"] = table["coupon"].map(dict(zip(table["coupon"].unique(), places, strict=True)))
        table["side"] = np.where(table["reading"] % 2 == 0, "left", "right")
        return table

    return make
