import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.store.intake.adopt import AdoptedResponse, Adoption, Keys, adopt
from trials.store.records.as_cut import analysis_table, departures
from trials.store.records.folder import load
from trials.store.records.journal import entries

TABLE = Path(__file__).parents[1] / "reference" / "aisi12l14" / "aisi12l14_roughness_D30.csv"
ROUGH = AdoptedResponse("roughness", "rz5_um", worthwhile="10 %")
SMALL = """\
day,type,piece,fit,pressure_bar,gas,rz5_um
1,old,a,1,0.5,pure,30
1,old,a,1,0.5,pure,31
1,old,a,1,0.9,pure,33
1,new,c,1,0.5,pure,25
2,old,b,1,0.5,plain,29
2,new,d,1,0.9,plain,24
2,new,d,2,0.9,plain,26
"""
PARTS = {
    "nozzle": "type",
    "specimen": "piece",
    "mount": ("piece", "fit"),
    "coupon": ("piece", "fit", "pressure_bar"),
    "block": "day",
    "factors": {"pressure_bar": False, "gas": True},
}


KEYS = ("nozzle", "specimen", "mount", "coupon", "block")


def adoption(**said):
    """What is said about a table; a key of one column may be its name alone."""
    keys = {name: said.pop(name, ()) for name in KEYS}
    responses = tuple(said.pop("responses"))
    joined = {name: (part,) if isinstance(part, str) else tuple(part) for name, part in keys.items()}
    return Adoption(Keys(**joined), responses=responses, **said)


def small(tmp_path, text=SMALL, at=None, **changes):
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    return adopt(
        tmp_path / "trial", path, adoption(**{"today": "old", "responses": [ROUGH], **PARTS, **changes}), at=at
    )


def test_a_small_table_with_composite_keys(tmp_path, at):
    records = small(tmp_path, at=at)
    assert records.trial.types == ("old", "new")
    assert records.trial.today.specimens == ("a", "b")
    assert records.trial.factors["pressure"].levels == (0.5, 0.9)
    assert records.trial.factors["gas"].levels == ("pure", "plain")
    assert records.coupons["coupon"].tolist() == [
        *("a / 1 / 0.5", "a / 1 / 0.9", "c / 1 / 0.5", "b / 1 / 0.5", "d / 1 / 0.9", "d / 2 / 0.9")
    ]
    assert records.mounts[["mount", "nozzle", "specimen", "sheet"]].values.tolist()[-1] == ["d / 2", "new", "d", "2"]
    assert records.readings["reading"].tolist() == [1, 2, 1, 1, 1, 1, 1]
    assert [entry.said for entry in entries(records.journal, JournalKind.PLAN)] == [
        "Adopted table: the order of cutting is not known to be random."
    ]
    assert entries(records.journal, JournalKind.ADOPTED)[0].payload == {"file": "table.csv", "rows": 7, "coupons": 6}
    assert departures(records) == ()
    table = analysis_table(records, "roughness")
    assert table["value"].tolist() == [30.0, 31.0, 33.0, 25.0, 29.0, 24.0, 26.0]
    assert table["pressure_bar"].tolist() == [0.5, 0.5, 0.9, 0.5, 0.5, 0.9, 0.9]


def test_without_coupon_columns_each_row_is_a_coupon(tmp_path):
    records = small(tmp_path, coupon=(), mount=(), specimen=())
    assert records.coupons["coupon"].tolist() == [f"row {i}" for i in range(2, 9)]
    assert set(records.coupons["specimen"]) == {""}
    assert len(records.mounts) == 0


def test_responses_and_units_in_short(tmp_path):
    text = SMALL.replace("pressure_bar", "p").replace("rz5_um", "Rz").replace("\n1,", ",kerf_mm\n1,", 1)
    text = "\n".join(line + ",0.4" if line[:1] in "12" else line for line in text.splitlines())
    changes = {"coupon": ("piece", "fit", "p"), "factors": {"p:bar": False, "gas": True}}
    records = small(
        tmp_path, text, responses=["Rz:um", "kerf_mm"], scale="log", worthwhile="8 %", thickness=6.0, **changes
    )
    trial = records.trial
    assert trial.primaries == ("Rz",)
    assert (trial.responses["Rz"].worthwhile, trial.responses["Rz"].scale) == ("8 %", "log")
    assert trial.quantity("Rz").unit == "um"
    assert trial.quantity("kerf").column == "kerf_mm"
    assert trial.application.thickness_mm == 6.0
    assert records.coupons["p_bar"].tolist() == [0.5, 0.9, 0.5, 0.5, 0.9, 0.9]
    with pytest.raises(InputError, match="unknown scale; found 'square root'"):
        asked = adoption(nozzle="type", today="old", responses=["Rz"], scale="square root")
        adopt(tmp_path / "other", tmp_path / "table.csv", asked)


def test_other_units_and_decimal_commas(tmp_path):
    text = SMALL.replace("rz5_um", "rz5_mm").replace(",", ";").replace(";30\n", ";0,03\n")
    text = re.sub(r";(\d\d)\n", r";0,0\1\n", text)
    records = small(tmp_path, text, responses=[AdoptedResponse("roughness", "rz5_mm")])
    # 1e-12 relative: one multiplication by 1000 in double precision
    np.testing.assert_allclose(records.readings["value"], [30, 31, 33, 25, 29, 24, 26], rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "changes", "message"),
    [
        (
            SMALL,
            {"coupon": ("piece", "pressure_bar")},
            "coupon 'd / 0.9' mixes mounts: 'd / 1' in row 7, 'd / 2' in row 8",
        ),
        (
            SMALL,
            {"coupon": "fit", "mount": (), "specimen": (), "block": (), "factors": {}},
            "coupon '1' mixes nozzles: 'old' in row 2, 'new' in row 5",
        ),
        (
            SMALL,
            {"coupon": "piece", "mount": ()},
            "coupon 'a' mixes settings: pressure_bar 0.5, gas pure in row 2, pressure_bar 0.9, gas pure in row 4",
        ),
        (SMALL, {"mount": "fit", "coupon": ()}, "mount '1' mixes nozzles: 'old' in row 2, 'new' in row 5"),
        (SMALL, {"specimen": "fit", "mount": (), "coupon": ()}, "specimen '1' mixes nozzles"),
        (SMALL.replace("2,new,d,1", "2,,d,1"), {}, "row 7, column type: empty cell"),
        (SMALL.replace("2,new,d,1,0.9,plain,24", "2,new,d,1,0.9,plain,"), {}, "row 7, column rz5_um: no value"),
        (SMALL.replace(",24\n", ",rough\n"), {}, "row 7, column rz5_um: not a number; found 'rough'"),
        (SMALL.replace(",24\n", ",-24\n"), {}, "row 7, column rz5_um: negative value; found -24.0"),
        (SMALL.replace("d,1,0.9", "d,1,high"), {}, "row 7, column pressure_bar: not a number; found 'high'"),
        (SMALL, {"today": "older"}, "today's nozzle is not in the table; found 'older'"),
        (SMALL, {"nozzle": "kind"}, "row 1: no such column; found 'kind'; allowed: day, type, piece"),
        (SMALL, {"responses": [AdoptedResponse("roughness", "day")]}, "in which unit is roughness given?"),
        (SMALL, {"responses": []}, "which nozzle and which response?"),
        (SMALL.splitlines()[0] + "\n", {}, "no rows below its header"),
    ],
)
def test_tables_that_cannot_be_adopted_leave_nothing_behind(tmp_path, text, changes, message):
    with pytest.raises(InputError, match=re.escape(message)):
        small(tmp_path, text, **changes)
    assert [path.name for path in tmp_path.iterdir()] == ["table.csv"]


def test_of_adoptions_at_once_one_wins_and_the_others_are_told(tmp_path):
    """Threads share one folder and start together; names of unfinished files must not meet."""
    starts = threading.Barrier(6)
    (tmp_path / "table.csv").write_text(SMALL, encoding="utf-8")

    def one(number):
        starts.wait()
        try:
            said = adoption(today="old", responses=[ROUGH], title=f"number {number}", **PARTS)
            adopt(tmp_path / "trial", tmp_path / "table.csv", said)
        except InputError as error:
            return str(error)
        return number

    with ThreadPoolExecutor(6) as pool:
        done = list(pool.map(one, range(6)))
    winners = [result for result in done if isinstance(result, int)]
    assert len(winners) == 1
    assert all("already" in result for result in done if isinstance(result, str))
    kept = load(tmp_path / "trial")
    assert kept.trial.trial.title == f"number {winners[0]}"
    assert len(kept.readings) == len(SMALL.splitlines()) - 1
    assert sorted(path.name for path in (tmp_path / "trial").iterdir()) == ["trial.db", "trial.toml"]


def test_an_adoption_cut_short_before_its_question_repairs_itself(tmp_path):
    whole = small(tmp_path)
    question = (tmp_path / "trial" / "trial.toml").read_bytes()
    (tmp_path / "trial" / "trial.toml").unlink()  # as after a kill between database and question
    assert len(small(tmp_path).readings) == len(whole.readings)
    assert (tmp_path / "trial" / "trial.toml").read_bytes() == question


def test_another_table_does_not_finish_an_adoption_cut_short(tmp_path):
    small(tmp_path)
    question = (tmp_path / "trial" / "trial.toml").read_bytes()
    (tmp_path / "trial" / "trial.toml").unlink()
    with pytest.raises(InputError, match="holds a trial already"):
        small(tmp_path, title="another")
    assert (tmp_path / "trial" / "trial.toml").read_bytes() == question


def test_a_folder_that_holds_a_trial_is_refused(tmp_path):
    small(tmp_path)
    before = (tmp_path / "trial" / "trial.db").read_bytes()
    with pytest.raises(InputError, match="holds a trial already"):
        small(tmp_path)
    assert (tmp_path / "trial" / "trial.db").read_bytes() == before


def test_a_measured_nested_table_is_adopted_whole(tmp_path, at):
    responses = [AdoptedResponse("Rz", "Rz", unit="um", scale="log")]
    keys = {"nozzle": "VB", "block": "run", "coupon": ("run", "VB", "P")}
    asked = adoption(today="New", factors={"P": True}, responses=responses, **keys)
    records = adopt(tmp_path / "trial", TABLE, asked, at=at)
    assert (len(records.coupons), len(records.readings), len(records.sheets)) == (102, 1224, 17)
    assert records.trial.today.type == "New"
    assert records.trial.quantity("Rz").scale == "log"
    table = analysis_table(records, "Rz")
    raw = pd.read_csv(TABLE)
    for name, column in (("value", "Rz"), ("nozzle", "VB"), ("P", "P")):
        assert (
            table[name].tolist()
            == raw.assign(key=range(len(raw)))
            .merge(raw[["run", "VB", "P"]].drop_duplicates().reset_index(names="first"), on=["run", "VB", "P"])
            .sort_values(["first", "key"])[column]
            .tolist()
        ), name
    assert set(table.groupby("coupon")["reading"].max()) == {12}
    assert set(table["specimen"]) == {""}
