"""The questions of `trials new --ask`, one by one; an answer that does not fit is asked for again."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from typing import TypeVar

import typer

from trials.errors import InputError
from trials.steps import asking

T = TypeVar("T")


def answers() -> asking.Answers:
    """Ask for everything that a trial file needs; raises Abort where the answers end before the questions."""
    material = _ask("Material, such as S235", asking.words_of)
    thickness = _ask("Thickness, mm", asking.number_of)
    gas = _ask("Cutting gas (oxygen, nitrogen, argon, air)", partial(asking.one_of, allowed=GASES))
    types = _ask("Nozzle types, parted by commas, the one in use today first", asking.names_of)
    nozzles = tuple(map(_nozzle, types))
    settings = tuple(found for found in map(_setting, SETTINGS) if found is not None)
    return asking.Answers(
        material=material,
        thickness_mm=thickness,
        gas=gas,
        nozzles=nozzles,
        settings=settings,
        roughness_range=_ask("Required range of Rz5, 1 to 4 (- for none)", _up_to(1, 4)),
        squareness_range=_ask("Required range of u, 1 to 5 (- for none)", _up_to(1, 5)),
        dross_grade=_ask("Worst dross grade allowed, 0 to 4 (- for none)", _up_to(0, 4)),
        worthwhile=_ask("Smallest difference in Rz5 worth a change, such as 15 %", asking.worthwhile_of),
    )


GASES = ("oxygen", "nitrogen", "argon", "air")
SETTINGS = (("pressure", "bar"), ("standoff", "mm"))


def _nozzle(name: str) -> asking.AskedNozzle:
    return asking.AskedNozzle(
        name,
        _ask(f"{name}: how many pieces, 3 or more if you can", partial(asking.count_of, low=1, high=50)),
        _ask(f"{name}: orifice, mm", partial(asking.number_of, high=20.0)),
        _ask(f"{name}: wall (single, double)", partial(asking.one_of, allowed=("single", "double"))),
    )


def _setting(of: tuple[str, str]) -> asking.AskedSetting | None:
    name, unit = of
    levels = _ask(f"Levels of {name}, {unit}, parted by blanks (- if it is not varied)", asking.levels_of)
    if not levels:
        return None
    today = _ask(f"Today's {name}, {unit}", partial(asking.level_of, levels=levels))
    return asking.AskedSetting(name, unit, levels, today)


def _up_to(low: int, high: int) -> Callable[[str], int | None]:
    return partial(asking.count_or_none, low=low, high=high)


def _ask(question: str, check: Callable[[str], T]) -> T:
    """The checked answer to one question."""
    while True:
        sys.stdout.write(f"{question}: ")
        sys.stdout.flush()
        typed = sys.stdin.readline()
        if not typed:
            raise typer.Abort
        try:
            return check(typed.strip())
        except InputError as error:
            sys.stdout.write(f"  {error}\n")
