"""Unlikely settings at the commands: confirmed by a key at a terminal, refused without one, never silent."""

import io

import pytest

from trials import steps


class Terminal(io.StringIO):
    """A stream that says somebody sits at it."""

    def isatty(self):
        return True


@pytest.fixture
def press(monkeypatch):
    """Somebody at the terminal who presses a key."""

    def pressing(key):
        monkeypatch.setattr("sys.stdin", Terminal())
        monkeypatch.setattr("trials.cli.doubts.sys.stderr.isatty", lambda: True, raising=False)
        monkeypatch.setattr("typer.getchar", lambda: key)

    return pressing


def slip(folder, old='worthwhile = "15 %"', new="worthwhile = 15"):
    file = folder / "trial.toml"
    file.write_text(file.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


@pytest.mark.parametrize("words", [(), ("--show",)])
def test_without_a_terminal_a_doubt_is_an_error_with_the_remedy(trials, at, words):
    folder = at("new")
    slip(folder)
    done = trials("plan", folder, *words)
    assert done.code == 2 and done.out == "" and done.err.count("\n") == 1
    assert "understood as 15 µm (did you mean 15 %?)" in done.err and "Write the unit" in done.err
    assert not (folder / "trial.db").exists()


def test_all_doubts_come_in_one_answer(trials, at):
    folder = at("new")
    slip(folder)
    slip(folder, "levels = [0.5, 0.7, 0.9]", "levels = [0.5, 0.7, 900]")
    done = trials("plan", folder)
    assert done.code == 2 and done.err.count("\n") == 2 and "900 bar (did you mean 9 bar?)" in done.err


def test_a_key_confirms_and_another_stops(trials, at, press):
    folder = at("new")
    slip(folder)
    press("n")
    done = trials("plan", folder)
    assert done.code == 2 and "is understood as 15 µm; did you mean 15 %?" in done.err
    assert "nothing was written" in done.err and not (folder / "trial.db").exists()
    press("y")
    done = trials("plan", folder)
    assert done.code == 0 and "Taken as 15 µm." in done.err and (folder / "trial.db").exists()


def test_as_written_confirms_without_a_terminal(trials, at):
    folder = at("new")
    slip(folder)
    assert trials("plan", folder, "--as-written", "--show").code == 0


def cuts(folder, tmp_path, changed):
    first = steps.load(folder).coupons.iloc[0]
    file = tmp_path / "cuts.csv"
    file.write_text(f"coupon,cut_order,outcome,changed_setting\n{first.coupon},1,cut,{changed}\n", encoding="utf-8")
    return file, first


def test_a_changed_setting_ten_times_the_plan_is_asked_about(trials, at, tmp_path, press):
    folder = at("frozen")
    planned = steps.load(folder).coupons.iloc[0].pressure_bar
    file, _ = cuts(folder, tmp_path, f"pressure_bar={10 * planned:g}")
    done = trials("cut", folder, file)
    assert (
        done.code == 2 and done.err.count("\n") == 1 and "row 2, column changed_setting: far from the plan" in done.err
    )
    assert f"did you mean pressure_bar={planned:g}?" in done.err and "--as-written" in done.err
    assert not len(steps.load(folder).cuts)
    press("y")
    assert trials("cut", folder, file).code == 0 and len(steps.load(folder).cuts) == 1
    # on record now: the same file asks no more
    press("n")
    assert trials("cut", folder, file).code == 0


@pytest.mark.parametrize(("pressure", "kept", "kind"), [(1.0, True, "outside_used"), (1.4, False, "outside_left_out")])
def test_a_coupon_outside_the_plan_is_used_or_left_out_and_listed(at, tmp_path, pressure, kept, kind):
    from trials.store.records import analysis_table, departures, record_as_planned

    # planned 0.5 to 0.9 bar: half the span beyond it is 1.1 bar
    folder = at("frozen")
    file, first = cuts(folder, tmp_path, f"pressure_bar={pressure}")
    steps.cut(folder, [file])
    record_as_planned(folder)
    readings = tmp_path / "readings.csv"
    readings.write_text(f"coupon,reading,rz5_um\n{first.coupon},1,31\n", encoding="utf-8")
    steps.record(folder, readings)
    records = steps.load(folder)
    assert (first.coupon in set(analysis_table(records, "roughness")["coupon"])) is kept
    (found,) = [one for one in departures(records) if one.kind.value.startswith("outside")]
    assert found.kind == kind and found.about.coupons == (first.coupon,)
    assert dict(found.facts) == {"column": "pressure_bar", "now": pressure, "low": 0.5, "high": 0.9}


def test_an_amendment_is_asked_about_what_is_new_in_it(trials, at):
    folder = at("frozen")
    slip(folder, "orifice_mm = 1.4", "orifice_mm = 20")
    words = ("amend", folder, "--who", "AB", "--why", "measured again")
    done = trials(*words)
    assert done.code == 2 and done.err.count("understood as 20 mm (did you mean 2 mm?)") == 2
    assert trials(*words, "--as-written").code == 0
    slip(folder, "speed_m_min = 1.1", "speed_m_min = 1.2")
    assert trials(*words).code == 0  # the orifice was confirmed before
