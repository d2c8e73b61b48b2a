"""A fit in a notebook: a study like any other, with tables and a face."""

import dataclasses

import pytest

import trials
from trials.decide.results import Study


@pytest.fixture(scope="module")
def shown(example):
    """The fit of an example trial as a notebook gets it."""
    return trials.fit(example("nitrogen_6mm"))


def test_the_fit_is_the_study_of_the_folder(shown, studied):
    plainly = studied("nitrogen_6mm")
    assert isinstance(shown, Study)
    assert all(getattr(shown, f.name) == getattr(plainly, f.name) for f in dataclasses.fields(Study))


def test_results_are_tables(shown):
    tables = shown.tables
    assert set(tables) == {"means", "comparisons", "pairs", "terms", "spread", "chances"}
    means, first = tables["means"], shown.results[0]
    own = means[means["response"] == first.response]
    assert own["nozzle"].tolist() == [m.nozzle for m in first.means]
    assert own["mean"].tolist() == [m.mean for m in first.means]
    assert own["settings"].str.len().gt(3).all()
    assert len(tables["comparisons"]) == sum(len(r.comparisons) for r in shown.results)
    assert {"F", "df", "den_df", "p"} <= set(tables["terms"].columns)
    assert len(tables["chances"]) == len(shown.chances)


@pytest.mark.usefixtures("drawn_pictures")
def test_it_shows_itself_as_answer_table_and_chart(shown):
    html = shown._repr_html_()
    assert html.index("<h3>") < html.index("<table>") < html.index("<svg")
    assert html.count("<tr>") == 1 + len(shown.nozzles)
    assert 'role="img" aria-label="Typical edge' in html and "<?xml" not in html


def test_names_of_a_user_stay_text(shown):
    named = dataclasses.replace(shown, title="<script>x</script>")
    for name in ("_trial", "_extras"):
        object.__setattr__(named, name, getattr(shown, name))
    html = named._repr_html_()
    assert "<script>" not in html and "&lt;script&gt;" in html
