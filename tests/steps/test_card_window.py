"""The card asks the window of one type, which must be the one that the window of all types shows."""

import pytest

from trials import steps


@pytest.fixture(scope="module")
def together(example):
    return steps.window(example("oxygen_12mm"))


@pytest.mark.parametrize("nozzle", ["cylindrical", "double"])
def test_the_window_of_one_type_is_its_part_of_the_window_of_all(nozzle, example, together):
    alone = steps.window(example("oxygen_12mm"), only=nozzle)
    assert [each.nozzle for each in alone.types] == [nozzle] and len(together.types) == 4
    assert alone.types[0] == next(each for each in together.types if each.nozzle == nozzle)
    assert (alone.x, alone.y, alone.today) == (together.x, together.y, together.today)
