import pandas as pd
import pytest

from trials.decide.kinds import StudyKind
from trials.findings import About, Finding
from trials.trial import parse
from trials.words.spaced import spaced, spaced_names


@pytest.fixture
def named(trial_text):
    """The trial of the tests with its second type under an underscored name."""

    def made(*names):
        trial = parse(trial_text)
        own = [nozzle.model_copy(update={"type": name}) for nozzle, name in zip(trial.nozzles, names, strict=False)]
        return trial.model_copy(update={"nozzles": own})

    return made


def test_types_lose_their_underscores_in_findings_tables_and_the_trial(named):
    trial = named("plain", "long_cone")
    names = spaced_names(trial)
    assert names == {"long_cone": "long cone"} and spaced(trial, names).types == ("plain", "long cone")
    finding = Finding(StudyKind.ALWAYS_ONE_GRADE, About(nozzle="long_cone", nozzles=("plain", "long_cone")), {"g": 4.0})
    found = spaced(finding, names)
    assert (found.about.nozzle, found.about.nozzles) == ("long cone", ("plain", "long cone"))
    assert found.kind is StudyKind.ALWAYS_ONE_GRADE and spaced(found, {}) is found
    table = pd.DataFrame({"nozzle": ["long_cone", "plain"], "coupon": ["long_cone", "B"]})
    assert spaced(table, names)["nozzle"].tolist() == ["long cone", "plain"]
    assert spaced({"long_cone": 1}, names) == {"long cone": 1}


def test_a_name_that_another_type_has_already_is_left_alone(named):
    assert spaced_names(named("long cone", "long_cone")) == {}
