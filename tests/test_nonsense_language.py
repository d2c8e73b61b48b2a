"""With every sentence replaced by nonsense the example trials give the same numbers, flags, commands and pages."""

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from words.nonsense import NONSENSE, prose_of, structure, without_prose

from trials import steps
from trials.store.intake import typed_tables as intake
from trials.store.records import recording
from trials.store.records.folder import read_trial
from trials.words.language import ENGLISH, speaking

HOME = Path(__file__).parent.parent / "example_data"
MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)


@pytest.fixture(scope="module", params=["oxygen_12mm", "nitrogen_6mm"])
def example(request, tmp_path_factory):
    """Folder of one example trial, recorded as the demo does."""
    source, folder = HOME / request.param, tmp_path_factory.mktemp(request.param)
    (folder / "trial.toml").write_text((source / "trial.toml").read_text(encoding="utf-8"), encoding="utf-8")
    steps.freeze(folder, steps.propose(read_trial(folder)[0]), MOMENT)
    records = steps.load(folder)
    tables = [getattr(intake, f"read_{kind}")(source / f"{kind}.csv", records) for kind in ("cuts", "mounts", "sheets")]
    recording.record_cuts(folder, *tables, at=MOMENT)
    recording.record_readings(folder, intake.read_readings(source / "readings.csv", steps.load(folder)), at=MOMENT)
    return folder


@pytest.fixture(scope="module")
def both(example):
    """The study as JSON and as pages, in English and in nonsense: (english, nonsense), each (json, pages)."""
    from trials.report.verdict import verdict_data
    from trials.steps.verdict_facts import verdict_extras

    found = []
    for language in (ENGLISH, NONSENSE):
        with speaking(language):
            study, records = steps.fit(example), steps.load(example)
            pages = verdict_data(
                study, records.trial, date(2026, 3, 2), verdict_extras(records, steps.evidence(records))
            )
            found.append((json.loads(json.dumps(steps.plain(study))), pages))
    return found


def test_numbers_flags_and_commands_are_the_same(both):
    (english, _), (nonsense, _) = both
    assert without_prose(english) == without_prose(nonsense)
    assert [step["command"] for step in english["next_steps"]] == [step["command"] for step in nonsense["next_steps"]]
    assert any(step["command"] for step in english["next_steps"])


def test_the_words_are_nonsense(both):
    (english, _), (nonsense, _) = both
    sentences = {words for words in prose_of(english) if words.endswith(".")} - told(english)
    assert len(sentences) > 20 and not sentences & set(prose_of(nonsense))
    assert nonsense["sentence"].startswith("zz")


def told(study):
    """Sentences that come ready-made from other floors."""
    return {finding["words"] for finding in findings(study) if finding["kind"] == "told"}


def findings(value):
    if isinstance(value, dict):
        if "kind" in value and "facts" in value:
            yield value
        for item in value.values():
            yield from findings(item)
    elif isinstance(value, list):
        for item in value:
            yield from findings(item)


def test_pages_have_the_same_structure(both):
    (_, english), (_, nonsense) = both
    assert structure(english) == structure(nonsense)
    assert len(english["sections"]) > 8
    assert all(section["title"].startswith("zz") for section in nonsense["sections"])
