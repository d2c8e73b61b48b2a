"""Columns worked out as a whole say what each cell alone would say."""

import numpy as np
import pandas as pd
import pytest

from trials.errors import InputError
from trials.store import intake, records
from trials.store.intake.distinct_cells import worked_out
from trials.store.tables import text_in


def test_each_different_cell_is_worked_out_once_and_one_is_not_true():
    asked = []
    found = worked_out([1, True, 1.0, "1", None, 1, None], lambda cell: asked.append(cell) or text_in(cell))
    assert found.values == ["1", "True", "1", "1", "", "1", ""]
    assert len(asked) == 5


def test_what_is_wrong_is_told_by_row_once_for_a_rows_own_columns_and_counted_beyond_twenty(cut, tmp_path):
    lines = [f"KX7,{number},-1,x" for number in range(1, 31)]
    lines[4], lines[6] = "none,5,1,1", "KX7,a,2,2"
    path = tmp_path / "readings.csv"
    path.write_text("coupon,reading,rz5_um,u_mm\n" + "\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        intake.read_bench(path, records.load(cut))
    told = str(caught.value).splitlines()
    assert len(told) == 21
    assert told[-1] == "and 38 more such lines"  # 28 rows with two faults, two rows with one
    assert [line.split(": ")[0].split(", ", 1)[1] for line in told[7:12]] == [
        *("row 5, column u_mm", "row 6, column coupon", "row 7, column rz5_um"),
        *("row 7, column u_mm", "row 8, column reading"),
    ]


def test_the_question_put_to_the_records_has_the_digest_it_always_had():
    from trials.store.records.fingerprint import _in_order

    marks = ["b", "A", "\u00e9", "a", "B", "b", "A"]
    rows = pd.DataFrame(
        {"coupon": marks, "field": ["u_mm", "rz5_um"] * 3 + ["rz5_um"], "reading": [2, 10, 1, 3, 2, 2, 10]}
    )
    rows["value"] = np.arange(7.0)
    plain = sorted({(str(c), str(f), int(r)) for c, f, r in zip(rows.coupon, rows.field, rows.reading, strict=True)})
    assert _in_order(rows) == plain
