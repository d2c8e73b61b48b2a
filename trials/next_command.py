"""A command of the program as a value: its name and arguments; put into words only where it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Blank(StrEnum):
    """An argument that the user fills in."""

    FOLDER = "FOLDER"
    FILE = "FILE"
    VALUE = "VALUE"
    NAME = "NAME"
    REASON = "REASON"


@dataclass(frozen=True)
class Command:
    """`trials NAME ARGUMENTS`; arguments: texts as typed, blanks where the user fills in."""

    name: str
    arguments: tuple[str | Blank, ...] = ()

    def typed(self) -> str:
        """As typed at the prompt.

        >>> Command("record", ("my trial", Blank.FILE)).typed()
        "trials record 'my trial' FILE"
        """
        from shlex import quote

        shown = (part.value if isinstance(part, Blank) else quote(part) for part in self.arguments)
        return " ".join(("trials", self.name, *shown))


class Before(StrEnum):
    """What a person does before the next command."""

    CUT = "cut"
    MEASURE = "measure"
    LOOK = "look"
    FILL_IN = "fill_in"
    NAME_INSTRUMENT = "name_instrument"


@dataclass(frozen=True)
class Next:
    """What to do next. before: what a person does first; coupon: which one to look at; instead: another command that
    may stand in its place; open: a paper to read first."""

    command: Command
    before: Before | None = None
    coupon: str = ""
    instead: Command | None = None
    open: str = ""
