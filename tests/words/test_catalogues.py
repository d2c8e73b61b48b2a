"""The catalogues of languages: complete for the papers, places agree, and a trial's papers come out in its language."""

import re
import shutil
import string
from dataclasses import replace

import pytest
from words.templates import HOME, brought_up_to_date, catalogue, left_over, modules, templates

from trials.errors import InputError
from trials.grade.dross import SCALE
from trials.responses import QUANTITIES
from trials.standards import cautions
from trials.store.language import KEPT, kept_word, language_named, languages
from trials.words.cautions import caution_lines
from trials.words.language import ENGLISH, Language, plural, speaking, text
from trials.words.numbers import confidence, fixed, number, percent, plain, signed
from trials.words.page_frame import day_words

PATHS = sorted((HOME / "words" / "catalogues").glob("*.po"))
FIRST_INFER = ("better", "worse", "same for practical purposes", "not settled")


@pytest.fixture(scope="module", params=PATHS, ids=[path.stem for path in PATHS])
def found(request):
    """A catalogue as it stands in its file."""
    return catalogue(request.param, request.param.stem)


def test_there_is_a_german_catalogue():
    assert languages() == ("en", "de")


def places(template: str) -> list[str]:
    return sorted({name for _, name, _, _ in string.Formatter().parse(template) if name is not None})


def test_every_template_of_the_papers_is_translated(found):
    alone, pairs = templates(modules())
    assert len(alone) > 800 and len(pairs) > 40
    assert [t for t in alone if t not in found or not found[t].string] == []
    assert [p for p in pairs if p not in found or not all(found[p].string)] == []


def test_names_that_come_from_values_are_translated(found):
    names = [q.short for q in QUANTITIES.values()] + [q.label for q in QUANTITIES.values()]
    names += [c.text for c in cautions()] + [c.hazard for c in cautions()] + [*FIRST_INFER, *KEPT]
    assert [name for name in names if name not in found] == []
    assert len(SCALE) == 5


def test_places_agree(found):
    for message in found:
        if not message.id:
            continue
        if message.pluralizable:
            said = set().union(*(places(form) for form in message.id))
            assert all(set(places(form)) <= said for form in message.string), message.id
            assert places(message.string[-1]) == places(message.id[-1]), message.id
        else:
            assert places(message.string) == places(message.id), message.id


def test_an_untranslated_template_would_be_found(found):
    assert "no such template in any catalogue" not in found
    made = brought_up_to_date(catalogue(HOME / "no such file", "de"))
    assert "no such template in any catalogue" not in made and not made["Question"].string
    assert all(template in made for template in templates(modules())[0])


def test_nothing_is_left_over(found):
    assert left_over(found) == []
    found.add("A sentence that nobody says any more.", "x")
    assert left_over(found) == ["A sentence that nobody says any more."]
    found.delete("A sentence that nobody says any more.")


def test_numbers_plurals_and_dates_follow_the_language():
    from datetime import date

    with speaking(language_named("de")):
        assert (number(34.96), fixed(0.5, 2), plain(0.7, "bar"), percent(0.0275, 1)) == (
            *("35,0", "0,50", "0,7 bar"),
            "2,8 %",
        )
        assert (signed(0.0301), signed(0.0), confidence(1 - 0.05 / 6)) == ("+0,0301", "0", "99,17 %")
        assert day_words(date(2026, 3, 3)) == "3.\u00a0März 2026"
        assert [plural("{n} coupon", "{n} coupons", n) for n in (0, 1, 2)] == [
            *("0 Prüflinge", "1 Prüfling"),
            "2 Prüflinge",
        ]
        assert caution_lines()[0].startswith("Laser der Klasse 4")
    assert number(34.96) == "35.0" and text("yes") == "yes"


def test_an_unknown_language_is_refused_with_those_there_are():
    with pytest.raises(InputError, match="no such language.*allowed: en, de"):
        language_named("xx")


def test_kept_words_are_read_back_from_any_language():
    german = language_named("de")
    for kept in KEPT:
        assert kept_word(german.one(kept)) == kept or german.one(kept_word(german.one(kept))) == german.one(kept), kept
    assert kept_word("nicht durchtrennt") == "not_severed" and kept_word("JA") == "yes"
    assert kept_word("something else") == "something else"


def recorder(missing: set[str], base: Language, found) -> Language:
    """German that writes down what its catalogue lacks."""

    def one(template: str) -> str:
        if template not in found:
            missing.add(template)
        return base.one(template)

    def several(single: str, many: str, n: int) -> str:
        if (single, many) not in found and single not in found:
            missing.add(single)
        return base.several(single, many, n)

    return replace(base, one=one, several=several)


def strings(value):
    if isinstance(value, dict):
        return [s for key, item in value.items() if key != "svg" for s in strings(item)]
    if isinstance(value, (list, tuple)):
        return [s for item in value for s in strings(item)]
    return [value] if isinstance(value, str) else []


def without(said: str, users: tuple[str, ...]) -> str:
    """A sentence without what people typed."""
    for own in users:
        said = said.replace(own, "") if own else said
    return said


def notes(records) -> tuple[str, ...]:
    """What people noted at the machine, named at the bench and gave as a source."""
    lives = records.trial.lives
    found = [*records.cuts["note"].unique(), *records.readings["instrument"].unique(), lives.source if lives else ""]
    return tuple(str(note) for note in found if note)


def test_the_papers_ask_for_nothing_that_the_catalogue_lacks(example):
    from datetime import date

    from trials import steps
    from trials.decide.study import study
    from trials.report.bench_paper import bench_card_data, run_sheet_data
    from trials.report.verdict import verdict_data
    from trials.steps.journal import plan_findings
    from trials.steps.verdict_facts import verdict_extras

    records = steps.load(example("oxygen_12mm"))
    found = catalogue(HOME / "words" / "catalogues" / "de.po", "de")
    missing: set[str] = set()
    evidence, day = steps.evidence(records), date(2026, 3, 2)
    result = study(records.trial, evidence)
    tables = records.coupons, records.planned_mounts, records.planned_sheets
    with speaking(recorder(missing, language_named("de"), found)):
        made = [
            verdict_data(result, records.trial, day, verdict_extras(records, evidence)),
            run_sheet_data(records.trial, *tables, plan_findings(records), day),
            bench_card_data(records.trial, day),
        ]
    own = {records.trial.factor_column(name) for name in records.trial.factors}
    assert missing - own == set(), "only columns of factors keep their names"
    english = re.compile(r"\b(the|and|with|each|coupons?|readings?|nozzle|settings?|specimens?)\b")
    heading = records.trial.trial
    users = (heading.title, heading.question, *notes(records))
    left = [s for s in strings(made) if english.search(without(s, (*users, "nozzle-trials")))]
    assert left == []


def test_the_workbooks_come_back_in_german_as_they_do_in_english(frozen_records, tmp_path):
    from python_calamine import CalamineWorkbook

    from trials.store import intake
    from trials.store.workbooks import bench_workbook, run_workbook

    with speaking(language_named("de")):
        run, bench = run_workbook(frozen_records), bench_workbook(frozen_records)
    for name, data, sheet, head in (
        ("run.xlsx", run, "Schnitte", "Schnittfolge"),
        ("b.xlsx", bench, "Messwerte", "Messfolge"),
    ):
        (tmp_path / name).write_bytes(data)
        rows = CalamineWorkbook.from_path(str(tmp_path / name)).get_sheet_by_name(sheet).to_python()
        assert rows[0][0] == head
    assert len(intake.read_cuts(tmp_path / "run.xlsx", frozen_records).frame) == 0
    assert len(intake.read_mounts(tmp_path / "run.xlsx", frozen_records).frame) == 0
    assert len(intake.read_bench(tmp_path / "b.xlsx", frozen_records).readings.frame) == 0
    marks = frozen_records.coupons["coupon"].tolist()
    table = "Prüfling;Ergebnis\n" + f"{marks[0]};nicht durchtrennt\n{marks[1]};geschnitten\n"
    (tmp_path / "cuts.csv").write_text(table, encoding="utf-8")
    read = intake.read_cuts(tmp_path / "cuts.csv", frozen_records)
    assert read.frame["outcome"].tolist() == ["not_severed", "cut"]


def test_a_german_table_of_readings_is_read(frozen_records, tmp_path):
    from trials.store import intake
    from trials.store import records as store

    folder = shutil.copytree(frozen_records.folder, tmp_path / "t")
    mark = frozen_records.coupons["coupon"].iloc[0]
    (tmp_path / "cuts.csv").write_text(f"Prüfling;Ergebnis\n{mark};geschnitten\n", encoding="utf-8")
    store.record_cuts(folder, intake.read_cuts(tmp_path / "cuts.csv", frozen_records))
    (tmp_path / "r.csv").write_text(f"Prüfling;Messwert;Seite;Rz5_um\n{mark};1;links;31,5\n", encoding="utf-8")
    (row,) = intake.read_bench(tmp_path / "r.csv", store.load(folder)).readings.frame.to_dict("records")
    assert (row["coupon"], row["field"], row["value"], row["side"]) == (mark, "rz5_um", 31.5, "left")


@pytest.fixture(scope="module")
def frozen_records(tmp_path_factory):
    from tests_support import TRIAL_TEXT

    from trials import steps
    from trials.trial import parse

    folder = tmp_path_factory.mktemp("german")
    (folder / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
    steps.freeze(folder, steps.propose(parse(TRIAL_TEXT)))
    return steps.load(folder)


def test_english_needs_no_catalogue():
    assert ENGLISH.decimal == "." and language_named("en") is ENGLISH
