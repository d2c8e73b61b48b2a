"""One small tree of named errors; the command line catches the root and prints one line."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, dataclass, replace
from typing import Any


class TrialError(Exception):
    """Root of every error a user can cause; its text is one line that ends with the next step."""


class NotFinite(TrialError):
    """An input array holds NaN or infinity where a number is needed."""


class NotIdentifiable(TrialError):
    """The records cannot separate two things the model asks for; the text names them."""


class Infeasible(TrialError):
    """No plan satisfies the limits, the budget or the model; the text gives the reason."""


class WrongShape(TrialError):
    """Arrays do not fit together."""


class WrongArgument(TrialError):
    """An argument is outside what the function accepts; the text says what it accepts."""


@dataclass(eq=False)
class InputError(TrialError):
    """A file, cell or argument cannot be used; says where, what was found, what is allowed and what to do.

    `where` is built from the parts that are known: file, row (1-based as the user sees it, the header is row 1),
    column. Every part may be empty. Its fields are frozen; what Python itself notes on an exception is not,
    so that it can be raised.
    """

    problem: str
    file: str = ""
    row: int | None = None
    column: str = ""
    found: object = None
    allowed: str = ""
    do: str = ""

    def __setattr__(self, name: str, value: Any) -> None:
        """Set a field once; a second time raises FrozenInstanceError."""
        if name in self.__dataclass_fields__ and name in vars(self):
            raise FrozenInstanceError(f"cannot assign to field {name!r}")
        super().__setattr__(name, value)

    def __reduce__(self) -> tuple[type[InputError], tuple[Any, ...]]:
        """For copies and other processes: made again from its fields."""
        return type(self), tuple(getattr(self, name) for name in self.__dataclass_fields__)

    def placed(self, file: str, row: int | None = None) -> InputError:
        """The same error with a place, where it has none yet."""
        return replace(self, file=self.file or file, row=row if self.row is None else self.row)

    def __str__(self) -> str:
        """One line: place, problem, value found, what is allowed, next step."""
        place = ", ".join(
            part
            for part in (
                str(self.file),
                f"row {self.row}" if self.row is not None else "",
                f"column {self.column}" if self.column else "",
            )
            if part
        )
        parts = [f"{place}: {self.problem}" if place else self.problem]
        if self.found is not None:
            parts.append(f"found {self.found!r}")
        if self.allowed:
            parts.append(f"allowed: {self.allowed}")
        text = "; ".join(parts)
        line = f"{text}. {self.do}" if self.do else text
        return " ".join(line.split())
