"""The inspector's path through the commands: traces and scans, the study of the bench, instruments, grades."""

import json
import re

import numpy as np
import pytest

POINTS = 7501
STEP_MM = 0.002


def wave(height_um=20.0):
    """A trace of 15 mm: one wave of 0.25 mm, `height_um` from dale to hill, on a slope."""
    x = np.arange(POINTS) * STEP_MM
    return x, height_um / 2 * np.sin(2 * np.pi * x / 0.25) + 4.0 * x


def write(path, x, z, names="distance_mm,height_um"):
    text = "\n".join(f"{a:.6f},{b:.6f}" for a, b in zip(x, z, strict=True))
    path.write_text(f"{names}\n{text}\n", encoding="utf-8")
    return path


def flat_words(text):
    return re.sub(r"\s+", " ", text)


@pytest.fixture
def trace(tmp_path):
    return write(tmp_path / "trace.csv", *wave())


@pytest.fixture
def scan(tmp_path):
    """A flank that leans by 0.01 mm per mm on 12 mm: u over 10 mm is 0.1 mm."""
    depth = np.linspace(0, 12, 121)
    return write(tmp_path / "scan.csv", depth, 0.01 * depth, "depth_mm,offset_mm")


def coupons(folder):
    from trials.steps import load

    return load(folder).coupons["coupon"].tolist()


def readings(folder):
    from trials.steps import load

    return load(folder).readings


def test_a_trace_alone(trials, trace):
    done = trials("measure", trace, "--thickness", 6, "--cutoff", 2.5)
    assert done.code == 0, done.err
    for part in ("Rz5", "length 5", "Ra", "RSm", "cut-off", "Rz5 is in range 2 at 6 mm", "Next: trials grade"):
        assert part in done.out
    found = json.loads(trials("measure", trace, "--cutoff", 2.5, "--json").out)["files"][0]
    # a wave of a tenth of the cut-off passes the filter to 0.1 %, and 125 points on it find its ends to 1e-3
    assert found["rz5"] == pytest.approx(20.0, rel=2e-3)
    assert found["ra"] == pytest.approx(20.0 / np.pi, rel=2e-3)
    assert found["rsm_mm"] == pytest.approx(0.25, rel=1e-3)
    assert len(found["rz_each"]) == 5


def test_a_scan_alone(trials, scan):
    found = json.loads(trials("measure", scan, "--thickness", 12, "--json").out)["files"][0]
    # delta a of 1 mm at 12 mm leaves 10 mm of a lean of 0.01: exact but for rounding
    assert found["u_mm"] == pytest.approx(0.1, abs=1e-9)
    # 10 mm times the tangent of 0.1 degrees
    assert "levelling off by 0.1° adds up to 0.0175 mm" in flat_words(trials("measure", scan, "--thickness", 12).out)


@pytest.mark.usefixtures("drawn_pictures")
@pytest.mark.parametrize(("name", "start"), [("p.svg", b"<?xml"), ("p.png", b"\x89PNG"), ("p.pdf", b"%PDF")])
def test_pictures_of_each_kind(trials, scan, tmp_path, name, start):
    assert trials("measure", scan, "--thickness", 12, "--picture", tmp_path / name).code == 0
    assert (tmp_path / name).read_bytes().startswith(start)


def spiked(x, z):
    return x, np.where(np.arange(len(z)) == 4000, 400.0, z)


def doubled(x, z):
    return np.where(np.arange(len(x)) == 4000, x[3999], x), z


BAD_TRACES = [
    (lambda x, z: (x, np.where(np.arange(len(z)) == 10, np.nan, z)), "row 12, column height: not a number"),
    (lambda x, z: (x[:3000], z[:3000]), "the trace is too short"),
    (lambda x, z: (x, z / 1000), "they may be in mm"),
    (lambda x, z: (1000 * x, z), "the spacing may be in um"),
    (lambda x, z: (x, 0 * z), "the trace is a flat line"),
    (doubled, "stands twice with two heights"),
    (spiked, "the trace has spikes"),
]


@pytest.mark.parametrize(("spoil", "message"), BAD_TRACES)
def test_one_bad_trace_in_a_folder_writes_nothing(trials, at, tmp_path, spoil, message):
    folder, files = at("cut"), tmp_path / "files"
    files.mkdir()
    first, second = coupons(folder)[:2]
    write(files / f"{first}-1.csv", *wave())
    bad = write(files / f"{second}-1.csv", *spoil(*wave()))
    before = (folder / "trial.db").read_bytes()
    done = trials("measure", folder, files)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert str(bad) in done.err and message in done.err
    assert (folder / "trial.db").read_bytes() == before


def test_stated_corrections(trials, tmp_path):
    x, z = wave()
    turned = write(tmp_path / "turned.csv", x[::-1], z[::-1])
    done = trials("measure", turned, "--cutoff", 2.5)
    assert done.code == 0 and "distance ran backwards: trace turned round" in done.out
    spike = write(tmp_path / "spike.csv", *spiked(x, z))
    assert "bridged by straight lines" in trials("measure", spike, "--spikes", "bridge").out


def test_a_folder_into_a_trial_and_nothing_twice(trials, at, tmp_path, scan):
    folder, files = at("cut"), tmp_path / "files"
    files.mkdir()
    first = coupons(folder)[0]
    write(files / f"{first}-1-left.csv", *wave())
    write(files / f"{first}-1-left-again1.csv", *wave(20.5))
    scan.rename(files / f"{first}-2.csv")
    done = trials("measure", folder, files, "--inspector", "AB", "--instrument", "stylus 4", "--depth", 4)
    assert done.code == 0, done.err
    assert "3 readings recorded" in done.out
    kept = readings(folder).sort_values(["field", "repeat"])
    assert kept["field"].tolist() == ["rz5_um", "rz5_um", "u_mm"]
    assert kept["repeat"].tolist() == [0, 1, 0] and kept["side"].tolist() == ["left", "left", ""]
    assert kept["cutoff_mm"].tolist()[:2] == [2.5, 2.5] and set(kept["inspector"]) == {"AB"}
    assert "0 readings recorded, 3 were on record already" in trials("measure", folder, files).out
    write(files / f"{first}-1-left.csv", *wave(30.0))
    changed = trials("measure", folder, files)
    assert changed.code == 2 and "trials correct" in changed.err


WRONG = [
    (("{name}.csv",), (), "holds no coupon and reading"),
    (("ZZZZ-1.csv",), (), "unknown coupon"),
    (("{name}-1.csv",), ("--cutoff", 0.8), "not the cut-off of the trial"),
    (("{name}-1.csv", "{name}-1-left.csv"), (), "is the same reading as"),
    ((), (), "the folder holds no traces or scans"),
    (("{name}-1.csv",), ("--kind", "depth"), "unknown kind"),
    (("{name}-1.csv",), ("--picture", "p.gif"), "not a kind of picture"),
    (("{name}-1.csv", "{name}-2.csv"), ("--picture", "p.png"), "one picture for several files"),
    (("{name}-1.csv",), ("--spacing", "far"), "not a spacing"),
    (("{name}-1.csv",), ("--measured-on", "31.3.26"), "not a date"),
]


@pytest.mark.parametrize(("names", "options", "message"), WRONG)
def test_what_a_trial_refuses(trials, at, tmp_path, names, options, message):
    folder, files = at("cut"), tmp_path / "files"
    files.mkdir()
    for name in names:
        write(files / name.format(name=coupons(folder)[0]), *wave())
    done = trials("measure", folder, files, *options)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert message in done.err
    assert not len(readings(folder))


def study_table(path, dross=True):
    rng = np.random.default_rng(11)
    lines = ["coupon,inspector,repeat,rz5_um" + (",dross_grade" if dross else "")]
    for coupon in range(8):
        level, grade = rng.normal(40, 6), int(rng.integers(0, 4))
        for inspector, off in (("AB", -0.4), ("CD", 0.4)):
            for repeat in (0, 1):
                cell = f"S{coupon},{inspector},{repeat},{level + off + rng.normal(0, 0.8):.2f}"
                lines.append(cell + (f",{min(4, grade + int(rng.integers(0, 2)))}" if dross else ""))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_study_of_a_plain_table(trials, tmp_path):
    table = study_table(tmp_path / "study.csv")
    (tmp_path / "ref.csv").write_text("rz5_um\n30.4\n30.1\n30.6\n", encoding="utf-8")
    words = ("bench", table, "--limit", "rz5_um=49.6", "--worthwhile", "rz5_um=15 %", "--picture", tmp_path / "p.svg")
    words += ("--reference", tmp_path / "ref.csv", "--stated", "rz5_um=30.0", "--stated-u", "rz5_um=0.4")
    done = trials(*words)
    assert done.code == 0, done.err
    text = flat_words(done.out)
    for part in ("crossed", "against the reference", "of the limit it is graded against", "worthwhile difference"):
        assert part in text
    assert "weighted kappa" in text and "[bench] uncertainty = { rz5_um = " in text and "Next:" in text
    assert (tmp_path / "p.svg").is_file()


def test_the_study_agrees_with_its_function(trials, tmp_path):
    import pandas as pd

    from trials.bench.gauge import measurement_study

    table = study_table(tmp_path / "study.csv", dross=False)
    found = json.loads(trials("bench", table, "--json").out)
    frame = pd.read_csv(table)
    direct = measurement_study(frame["rz5_um"], frame["coupon"], frame["inspector"])
    # the same arithmetic on the same numbers
    assert found["results"][0]["study"]["expanded"] == pytest.approx(direct.expanded, rel=1e-12)
    stated = float(re.search(r"rz5_um = ([\d.]+)", found["toml"])[1])
    assert direct.expanded <= stated <= 1.01 * direct.expanded


def test_a_trial_is_studied_by_its_remeasurements_and_takes_the_result(trials, at, tmp_path):
    folder = at("measured")
    assert "No reading was measured again" in trials("bench", folder).err
    lines = ["coupon,reading,repeat,rz5_um,inspector"]
    for k, row in enumerate(readings(folder).query("field == 'rz5_um' and reading == 1").head(8).itertuples()):
        lines.append(f"{row.coupon},1,1,{row.value + (0.9, -0.6, 0.3)[k % 3]:.1f},CD")
    (tmp_path / "again.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert trials("record", folder, tmp_path / "again.csv").code == 0
    done = trials("bench", folder)
    assert done.code == 0 and "once each" in done.out and "trials amend" in flat_words(done.out)
    toml = json.loads(trials("bench", folder, "--json").out)["toml"]
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    assert "[bench]" not in text
    (folder / "trial.toml").write_text(f"{text}\n{toml}\n", encoding="utf-8")
    assert trials("amend", folder, "--who", "A. Berg", "--why", "bench studied").code == 0
    assert trials("grade", folder).code == 0


BAD_STUDIES = [
    ("coupon,rz5_um\nA,1\nB,2\n", (), "No reading was measured again"),
    ("coupon,rz5_um\nA,1\nA,x\n", (), "row 3, column rz5_um: not a number"),
    ("coupon,rz5_um\nA,1\nA,2\n", (), "one coupon"),
    ("coupon,colour\nA,1\n", (), "no column of readings"),
    ("coupon,rz5_um\nA,1\n", ("--limit", "rz=3"), "not a column and its figure"),
    ("coupon,rz5_um\nA,1\n", ("--limit", "rz5_um=0"), "not a figure above zero"),
    ("coupon,rz5_um\nA,1\nA,2\nB,1\nB,2\n", ("--worthwhile", "rz5_um=much"), "no number in 'much'"),
]


@pytest.mark.parametrize(("text", "options", "message"), BAD_STUDIES)
def test_a_study_that_cannot_be_made(trials, tmp_path, text, options, message):
    (tmp_path / "study.csv").write_text(text, encoding="utf-8")
    done = trials("bench", tmp_path / "study.csv", *options)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert message in done.err


def test_the_register_keeps_every_calibration(trials, at, tmp_path):
    folder = at("cut")
    first = coupons(folder)[0]
    file = tmp_path / "r.csv"
    file.write_text(f"coupon,reading,rz5_um,instrument,measured_on\n{first},1,30,S4,2026-02-01\n", encoding="utf-8")
    assert trials("record", folder, file).code == 0
    assert "No instrument is entered yet" in trials("instrument", folder).out
    enter = ("instrument", folder, "S4", "--who", "A. Berg", "--uncertainty", "rz5_um=1.0")
    late = trials(*enter, "--calibrated", "2025-01-10", "--due", "2026-01-10")
    assert late.code == 0 and "no calibration on record covers" in flat_words(late.out)
    assert "no calibration on record covers" in flat_words(trials("record", folder, file).out)
    done = trials(*enter, "--calibrated", "2026-01-11", "--due", "2027-01-10")
    assert "covers" not in done.out
    assert "The same is on record already" in trials(*enter, "--calibrated", "2026-01-11", "--due", "2027-01-10").out
    found = json.loads(trials("instrument", folder, "--json").out)
    assert [one["calibrated_on"] for one in found["instruments"]] == ["2025-01-10", "2026-01-11"]
    from trials.steps import load
    from trials.steps.verdict_facts import bench_facts

    records = load(folder)
    assert records.journal["kind"].tolist().count("instrument") == 2
    assert any("due 2027-01-10" in fact for fact in bench_facts(records))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("S4",), "who makes it"),
        (("S4", "--who", "A", "--calibrated", "31.3.26"), "not a date"),
        (("S4", "--who", "A", "--calibrated", "2026-03-01", "--due", "2026-01-01"), "due before it was calibrated"),
        (("--due", "2026-01-01"), "no instrument named"),
    ],
)
def test_an_entry_that_cannot_be_used(trials, at, options, message):
    done = trials("instrument", at("cut"), *options)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert message in done.err


def test_one_value_on_six_millimetres(trials):
    done = trials("grade", "--u", 0.12, "--rz5", 31, "--thickness", 6)
    assert "u: range 2" in done.out and "Rz5: range 2" in done.out and "ISO 9013-220" in done.out
    found = json.loads(trials("limits", "--thickness", 6, "--json").out)["limits"]
    # 0.15 + 0.007 x 6 mm and 40 + 0.8 x 6 um
    assert [one["at_most"] for one in found if one["range"] == 2] == [0.192, 44.8]


GRADES = [
    (("--uncertainty", "rz5_um=2.0"), "undecided"),
    (("--uncertainty", "rz5_um=2.0", "--rule", "simple"), "yes"),
    ((), "yes"),
]


@pytest.mark.parametrize(("options", "meets"), GRADES)
def test_the_rule_decides_near_the_limit(trials, tmp_path, options, meets):
    """Rz5 of 44 um against 44.8 um: inside, but nearer than 1.645 um."""
    table = tmp_path / "r.csv"
    table.write_text("coupon,rz5_um\nA,44\n", encoding="utf-8")
    words = ("grade", table, "--thickness", 6, "--need-roughness", 2, *options, "--json")
    assert json.loads(trials(*words).out)["coupons"][0]["meets"] == meets


def test_an_execution_class_with_edition_and_status(trials):
    done = trials("grade", "--u", 0.12, "--rz5", 31, "--thickness", 6, "--class", "EXC4 2008")
    assert "EXC4 of EN 1090-2:2008+A1:2011" in done.out and "from memory" in flat_words(done.out)
    assert "unknown execution class" in trials("grade", "--u", 0.1, "--thickness", 6, "--class", "EXC9").err


def test_a_mean_is_judged_with_less_uncertainty(trials, at):
    """Three readings of one coupon at 47 um on 12 mm against 49.6 um: U 4 um, of which 1.9 um sd repeats."""
    from trials.grade.conformity import Uncertainty
    from trials.steps.grade import trial_uncertainty
    from trials.store.records.folder import read_trial

    folder = at("new")
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    lines = "[bench]\nuncertainty = { rz5_um = 4.0 }\nrepeatability = { rz5_um = 1.9 }\n"
    (folder / "trial.toml").write_text(f"{text}\n{lines}", encoding="utf-8")
    known = trial_uncertainty(read_trial(folder)[0])["rz5_um"]
    assert known == Uncertainty(4.0, 1.9)
    # sqrt(2^2 - 1.9^2 + 1.9^2 / 3)
    assert known.standard(3) == pytest.approx(np.sqrt(4 - 1.9**2 + 1.9**2 / 3), rel=1e-12)
