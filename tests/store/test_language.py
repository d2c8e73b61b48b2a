"""Workbooks in the language of the papers: their sheets, heads, rules and cells, and what is read back from them."""

import re
import zipfile

import pytest
from python_calamine import CalamineWorkbook

from trials import steps
from trials.errors import InputError
from trials.store import intake
from trials.store import records as store
from trials.store.language import FORMERLY, is_planned, kept_word, language_named, papers_of
from trials.store.records.changed_setting import parse_changed_setting
from trials.store.workbooks import bench_workbook, run_workbook
from trials.words.language import speaking

LANGUAGES = ("en", "de")


@pytest.fixture
def german(cut):
    """A trial that was cut, with a changed setting, a mount with every answer, and papers in German."""
    file = cut / "trial.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("[trial]", '[trial]\nlanguage = "de"'), encoding="utf-8")
    for name, value in (("centring_checked", "yes"), ("height_calibrated", "no"), ("window_changed", "yes")):
        store.correct_row(cut, store.RowChange("mount", "M2", name, value), "Operator", "forgotten")
    changed = store.RowChange("coupon", "QF4", "changed_setting", "pressure_bar=0.7")
    store.correct_row(cut, changed, "Operator", "knob slipped")
    store.correct_row(cut, store.RowChange("coupon", "QF4", "cut_at", "2026-03-02 08:06"), "Operator", "left empty")
    return cut


def book(folder, make, language="de"):
    """A workbook of the trial as it is handed out, and the sheets it has."""
    records = store.load(folder)
    path = folder / f"{make.__name__}-{language}.xlsx"
    with papers_of(records.trial), speaking(language_named(language)):
        path.write_bytes(make(records))
    return path, CalamineWorkbook.from_path(str(path))


def drop_downs(path, sheet):
    """(column, rows, words) of each drop-down of a sheet, counted from 0."""
    with zipfile.ZipFile(path) as archive:
        inside = archive.read(f"xl/worksheets/sheet{sheet + 1}.xml").decode("utf-8")
    found = re.findall(r'type="list".*?sqref="([A-Z])2:[A-Z](\d+)".*?<formula1>"(.*?)"</formula1>', inside)
    return [(ord(letter) - ord("A"), int(last), words.split(",")) for letter, last, words in found]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("make", [run_workbook, bench_workbook])
def test_no_filled_cell_breaks_the_rule_of_its_own_column(german, make, language):
    path, found = book(german, make, language)
    filled = 0
    for at, name in enumerate(found.sheet_names):
        rows = found.get_sheet_by_name(name).to_python()
        for column, last, words in drop_downs(path, at):
            cells = [row[column] for row in rows[1:last] if row[column] != ""]
            filled += len(cells)
            assert [cell for cell in cells if cell not in words] == [], (name, rows[0][column])
    assert filled or make is bench_workbook


def test_sheets_heads_and_titles_are_german(german):
    path, run = book(german, run_workbook)
    assert run.sheet_names == ["Zuerst lesen", "Schnitte", "Einbauten", "Bleche"]
    head = run.get_sheet_by_name("Schnitte").to_python()[0]
    assert head[2:6] == ["Düse (Plan)", "Exemplar (Plan)", "Gasdruck_bar (Plan)", "gas_purity_class (Plan)"]
    bench_path, bench = book(german, bench_workbook)
    assert bench.sheet_names == ["Messwerte", "Anleitung"]
    for each in (path, bench_path):
        with zipfile.ZipFile(each) as archive:
            inside = "".join(archive.read(n).decode("utf-8") for n in archive.namelist() if "worksheets/sheet" in n)
        titles = set(re.findall(r'promptTitle="(.*?)"', inside))
        assert titles and not [
            title for title in titles if re.fullmatch(r"[a-z0-9]+_[a-z_]+", title) and title != "u_mm"
        ]
        assert "'how to'" not in inside
    first = dict(row[:2] for row in run.get_sheet_by_name("Zuerst lesen").to_python())
    assert first["Beispiel"] == "Gasdruck_bar=0,9; gas_purity_class=3.5"


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_run_workbook_of_either_language_reads_back_as_recorded(german, language):
    path, found = book(german, run_workbook, language)
    records = store.load(german)
    cuts = intake.read_cuts(path, records)
    assert cuts.said == ()
    assert cuts.frame.set_index("coupon").loc["QF4", ["cut_at", "changed_setting"]].tolist() == [
        *("2026-03-02 08:06", "pressure_bar=0.7")
    ]
    done = store.record_cuts(german, cuts, intake.read_mounts(path, records), intake.read_sheets(path, records))
    assert (done.added, done.ignored) == (0, 8)
    written = [cell for row in found.get_sheet_by_name(found.sheet_names[1]).to_python() for cell in row]
    assert ("Gasdruck_bar=0,7" if language == "de" else "pressure_bar=0.7") in written


def test_a_time_of_cutting_is_a_time_to_the_spreadsheet(german):
    from datetime import datetime

    _, found = book(german, run_workbook)
    rows = found.get_sheet_by_name("Schnitte").to_python()
    at = rows[0].index("geschnitten um")
    assert [row[at] for row in rows[1:] if row[1] == "QF4"] == [datetime(2026, 3, 2, 8, 6)]


@pytest.mark.parametrize("typed", ["Gasdruck_bar=0,7", "gasdruck_bar = 0,7", "Gasdruck_mbar=700", "pressure_bar=0.7"])
def test_a_changed_setting_may_be_typed_as_german_papers_print_it(german, typed):
    assert parse_changed_setting(typed, store.load(german).trial) == {"pressure_bar": 0.7}


def test_a_held_setting_too(german):
    trial = store.load(german).trial
    assert parse_changed_setting("Geschwindigkeit_m_min=1,05", trial) == {"speed_m_min": 1.05}


def test_an_english_trial_takes_no_decimal_comma(cut):
    with pytest.raises(InputError, match="needs a number"):
        parse_changed_setting("pressure_bar=0,7", store.load(cut).trial)


def test_a_german_table_of_cuts_is_told_by_its_heads(frozen, tmp_path):
    mark = store.load(frozen).coupons["coupon"].iloc[0]
    (tmp_path / "c.csv").write_text(f"Prüfling;Schnittfolge;Ergebnis\n{mark};1;geschnitten\n", encoding="utf-8")
    assert steps.cut(frozen, [tmp_path / "c.csv"]).added == 1


def test_heads_of_earlier_workbooks_are_still_read():
    for word, kept in FORMERLY.items():
        assert kept_word(word) == kept and language_named("de").one(kept) != word
    assert is_planned("Düse (plan)") and is_planned("Düse (Plan)") and not is_planned("plan")
