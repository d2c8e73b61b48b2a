"""Errors: one line each, frozen, and whole after a trip to another process or through a context manager."""

import copy
import pickle
from contextlib import contextmanager
from dataclasses import FrozenInstanceError

import pytest

from trials.errors import InputError, TrialError, WrongArgument, WrongShape

ERROR = InputError(
    "not a number", file="a.csv", row=3, column="rz5_um", found="x", allowed="0 or more", do="Correct it."
)
LINE = "a.csv, row 3, column rz5_um: not a number; found 'x'; allowed: 0 or more. Correct it."


def test_one_line():
    assert str(ERROR) == LINE
    assert str(InputError("no\nname")) == "no name"


@pytest.mark.parametrize("trip", [copy.copy, lambda error: pickle.loads(pickle.dumps(error))])
def test_whole_after_a_trip(trip):
    assert str(trip(ERROR)) == LINE and trip(ERROR).row == 3


def test_fields_do_not_change():
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'file'"):
        ERROR.file = "b.csv"


def test_it_can_be_raised_through_a_context_manager():
    @contextmanager
    def room():
        yield

    with pytest.raises(InputError, match="not a number") as caught, room():
        raise InputError("not a number") from ValueError("inner")
    assert isinstance(caught.value.__cause__, ValueError)


def test_a_place_is_added_where_there_is_none():
    placed = InputError("bad").placed("a.csv", 4)
    assert (placed.file, placed.row) == ("a.csv", 4)
    assert ERROR.placed("b.csv", 9).file == "a.csv"


def test_argument_and_shape_are_two_errors():
    assert issubclass(WrongArgument, TrialError) and not issubclass(WrongArgument, WrongShape)
