"""Whatever a file holds, it is read or refused in one go: no traceback, no hang, nothing partly recorded."""

import shutil

import pytest
from fuzzing import KINDS, RECORDED, TOKENS, changed, good, take_in
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

ALIKE = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck), "database": None}
MARKS = ["KX7", "B2M", "QF4"]
NEW = st.one_of(st.sampled_from(TOKENS).map(lambda text: text.encode("utf-8", "surrogatepass")), st.binary(max_size=40))
CHANGES = st.lists(
    st.tuples(st.floats(0, 1), st.sampled_from([0, 0, 1, 2, 5, 40, 10_000]), NEW), min_size=1, max_size=5
)


@pytest.fixture(scope="module")
def place(cut_template, tmp_path_factory):
    return shutil.copytree(cut_template, tmp_path_factory.mktemp("fuzz") / "trial")


@pytest.mark.parametrize("kind", KINDS)
def test_the_file_that_is_changed_can_be_used(kind, cut):
    assert take_in(kind, good(kind, MARKS), cut)


@pytest.mark.parametrize("kind", RECORDED)
@settings(max_examples=42, **ALIKE)
@given(changes=CHANGES)
def test_a_changed_record_is_read_or_refused(kind, changes, place):
    take_in(kind, changed(good(kind, MARKS), changes), place)


@pytest.mark.parametrize("kind", ["toml", "trace", "scan"])
@settings(max_examples=90, **ALIKE)
@given(changes=CHANGES)
def test_a_changed_question_or_trace_is_read_or_refused(kind, changes, place):
    take_in(kind, changed(good(kind, MARKS), changes), place)


@settings(max_examples=12, **ALIKE)
@given(rows=st.lists(st.lists(st.sampled_from(TOKENS) | st.text(max_size=8), max_size=6), max_size=8))
def test_a_table_of_anything_is_read_or_refused(rows, place):
    text = "coupon,reading,rz5_um,u_mm\n" + "\n".join(",".join(row) for row in rows)
    take_in("csv", text.encode("utf-8", "surrogatepass"), place)
