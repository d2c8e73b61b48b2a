"""Bad input to every command: one line that names the place and the remedy, exit code 2, nothing written."""

import hashlib

import pytest

from trials.steps import load


def state_of(folder):
    """Digest of every file in a folder."""
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


def names(text, *words):
    """Whether a text holds each expected word; an empty word would be found in any text."""
    assert words and all(words), "an expected word is empty"
    return all(word in text for word in words)


def first_coupon(folder):
    return load(folder).coupons["coupon"].iloc[0]


HEADER = "coupon,reading,rz5_um,u_mm,dross_grade"
RECORD = [
    ("{c},1,abc,0.1,0", "row 2, column rz5_um"),
    ("{c},1,-3,0.1,0", "row 2, column rz5_um"),
    ("{c},1,nan,0.1,0", "column rz5_um"),
    ("ZZZZ,1,30,0.1,0", "row 2, column coupon"),
    ("{c},0,30,0.1,0", "column reading"),
    ("{c},1,30,0.1,9", "column dross_grade"),
    ("{c},1,30,0.1,0\n{c},1,31,0.1,0", "row 3"),
    ("{c},1,30,0.1,0\n{c},2,31,0.1,1", "dross_grade"),
]


@pytest.mark.parametrize(("rows", "place"), RECORD)
def test_record_names_the_cell(trials, at, tmp_path, rows, place):
    folder = at("cut")
    file = tmp_path / "bad.csv"
    file.write_text(f"{HEADER}\n{rows.format(c=first_coupon(folder))}\n", encoding="utf-8")
    before = state_of(folder)
    done = trials("record", folder, file)
    assert done.code == 2, done.out
    assert done.err.count("\n") == 1 and "Traceback" not in done.err
    assert names(done.err, "bad.csv", place), done.err
    assert state_of(folder) == before


def test_cells_and_marks_that_cannot_be_used_are_told_in_one_answer(trials, at, tmp_path):
    folder, file = at("frozen"), tmp_path / "bench.csv"
    first, second = load(folder).coupons["coupon"].iloc[:2]
    cut = tmp_path / "cut.csv"
    cut.write_text(f"coupon,outcome\n{first},cut\n", encoding="utf-8")
    assert trials("cut", folder, cut).code == 0
    file.write_text(f"coupon,reading,rz5_um\n{first},1,thirty\n{second},1,30\nXX,1,30\n", encoding="utf-8")
    done = trials("record", folder, file)
    wanted = (
        "row 2, column rz5_um: not a number",
        f"not recorded as cut; found '{second}'",
        "unknown coupon; found 'XX'",
    )
    assert done.code == 2 and all(words in done.err for words in wanted), done.err
    assert load(folder).readings.empty


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.csv", "", "the file is empty"),
        ("none.csv", None, "no such file"),
        ("no-coupon.csv", "reading,rz5_um\n1,30\n", "column coupon: missing"),
        ("odd-unit.csv", "coupon,reading,rz5_bar\nA1A,1,30\n", "rz5_bar"),
        ("no-values.csv", "coupon,reading\n", "no column of readings"),
        ("binary.csv", b"\x00\x01\x02\xff" * 40, "not a table of text"),
        ("picture.xlsx", b"no pages in here", "not a workbook"),
    ],
)
def test_record_names_the_file(trials, at, tmp_path, name, content, words):
    folder, file = at("cut"), tmp_path / name
    if content is not None:
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
    before = state_of(folder)
    done = trials("record", folder, file)
    assert done.code == 2 and done.err.count("\n") == 1
    assert names(done.err, name, words), done.err
    assert state_of(folder) == before


@pytest.mark.parametrize(
    "words",
    [
        ("plan",),
        ("sheet",),
        ("cut", "--as-planned"),
        ("record", "x.csv"),
        ("correct", "A1A", "rz5_um", "3", "--who", "a", "--why", "b"),
        ("amend", "--who", "a", "--why", "b"),
        ("grade",),
        ("fit",),
        ("verdict",),
        ("status",),
        ("life", "lives.csv"),
        ("chart",),
        ("card",),
    ],
    ids=lambda words: words[0],
)
def test_a_folder_that_is_no_trial(trials, tmp_path, words):
    for place in (tmp_path, tmp_path / "missing"):
        done = trials(words[0], place, *words[1:])
        assert done.code == 2 and done.err.count("\n") == 1, done.err
        assert "trials new" in done.err
        assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("words", [("sheet",), ("cut", "--as-planned"), ("fit",), ("verdict",), ("grade",)])
def test_before_the_plan_is_frozen(trials, at, words):
    folder = at("new")
    before = state_of(folder)
    done = trials(words[0], folder, *words[1:])
    assert done.code == 2 and "trials plan" in done.err, done.err + done.out
    assert state_of(folder) == before


@pytest.mark.parametrize("words", [("fit",), ("verdict",)])
def test_before_anything_is_measured(trials, at, words):
    done = trials(words[0], at("cut"))
    assert done.code == 2 and "trials record" in done.err


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("grade", "--u", "-1", "--thickness", "6"), "negative"),
        (("grade", "--u", "0.1"), "--thickness"),
        (("grade", "--u", "0.1", "--thickness", "-6"), "thickness"),
        (("grade",), "nothing to grade"),
        (("grade", "--u", "0.1", "--thickness", "6", "--need-squareness", "7"), "squareness_range"),
        (("new", "no-such-design", "x"), "no such ready-made trial"),
        (("demo", "x", "--trial", "none"), "no such example trial"),
        (("fitt", "x"), "No such command"),
        (("fit",), "Missing argument"),
    ],
)
def test_slips_on_the_command_line(trials, tmp_path, monkeypatch, words, say):
    monkeypatch.chdir(tmp_path)
    done = trials(*words)
    assert done.code == 2 and done.err.count("\n") == 1
    assert names(done.err, say), done.err
    assert not list(tmp_path.iterdir())


CUTS = "coupon,cut_order,outcome,changed_setting"


@pytest.mark.parametrize(
    ("rows", "say"),
    [
        ("{c},1,melted,", "outcome"),
        ("ZZZZ,1,cut,", "ZZZZ"),
        ("{c},one,cut,", "cut_order"),
        ("{c},1,cut,pressure=0.6", "pressure_bar"),
        ("{c},1,cut,pressure_bar=lots", "pressure_bar"),
        ("{c},1,cut,\n{c},2,cut,", "{c}"),
    ],
)
def test_cut_names_the_cell(trials, at, tmp_path, rows, say):
    folder = at("frozen")
    coupon = first_coupon(folder)
    file = tmp_path / "cuts.csv"
    file.write_text(f"{CUTS}\n{rows.format(c=coupon)}\n", encoding="utf-8")
    before = state_of(folder)
    done = trials("cut", folder, file)
    assert done.code == 2 and done.err.count("\n") == 1, done.out
    assert names(done.err, "cuts.csv", say.format(c=coupon)), done.err
    assert state_of(folder) == before


def test_adopt_names_the_column(trials, tmp_path):
    file = tmp_path / "t.csv"
    file.write_text("type,rz\na,1\nb,2\n", encoding="utf-8")
    words = ("adopt", tmp_path / "new", file, "--nozzle", "type", "--today", "a", "--response")
    done = trials(*words, "roughness_um")
    assert done.code == 2 and "roughness_um" in done.err
    other = trials("adopt", tmp_path / "new", file, "--nozzle", "type", "--today", "c", "--response", "rz")
    assert other.code == 2 and "'c'" in other.err
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("command", ["plan", "verdict"])
def test_workers_that_are_none_are_refused(trials, at, command):
    folder = at("cut")
    before = state_of(folder)
    done = trials(command, folder, "--workers", "some")
    assert done.code == 2 and done.err.count("\n") == 1
    assert names(done.err, "--workers", "'some'", "1 to 512", "TRIALS_WORKERS"), done.err
    assert state_of(folder) == before
