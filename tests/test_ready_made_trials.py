"""Each ready-made trial file goes the whole way: plan, papers, cuts as planned, simulated readings, verdict."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials import steps
from trials.store import intake, records

FILES = sorted((Path(__file__).parents[1] / "designs").glob("*.toml"))
MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)
TYPICAL = {"rz5_um": 30.0, "u_mm": 0.15, "life_pierces": 4000.0}


def simulated(trial, coupons):
    """Readings of every response with the spreads that the files expect, no nozzle effect."""
    rng = np.random.default_rng(5)
    piece = {specimen: rng.normal(0.0, 0.08) for specimen in coupons["specimen"].drop_duplicates()}
    rows = []
    for coupon in coupons.itertuples():
        own = piece[coupon.specimen] + rng.normal(0.0, 0.1)
        for reading in range(max(asked.readings for asked in trial.responses.values())):
            row = {"coupon": coupon.coupon, "reading": reading + 1}
            for name, asked in trial.responses.items():
                column = trial.quantity(name).column
                if reading >= asked.readings:
                    continue
                row[column] = (
                    int(rng.integers(0, 3))
                    if column == "dross_grade"
                    else round(TYPICAL[column] * np.exp(own + rng.normal(0.0, 0.07)), 3)
                )
            rows.append(row)
    return pd.DataFrame(rows)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_from_file_to_verdict(path, ready_made, tmp_path):
    (tmp_path / "trial.toml").write_bytes(path.read_bytes())
    trial, plan = ready_made(path.stem)
    steps.freeze(tmp_path, plan, MOMENT)
    papers = {file.name for file in steps.run_sheet(tmp_path)}
    assert {f"sheet-{sheet}.dxf" for sheet in plan.sheets["sheet"]} < papers
    records.record_as_planned(tmp_path, who="test", at=MOMENT)
    simulated(trial, plan.coupons).to_csv(tmp_path / "readings.csv", index=False)
    readings = intake.read_bench(tmp_path / "readings.csv", steps.load(tmp_path)).readings
    records.record_readings(tmp_path, readings, who="test", at=MOMENT)
    verdict = steps.verdict(tmp_path, at=MOMENT)
    assert verdict.path.read_bytes().startswith(b"%PDF")
    assert {result.response for result in verdict.study.results} == set(trial.responses)
    assert all(result.n_coupons == len(plan.coupons) for result in verdict.study.results)
