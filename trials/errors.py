"""One small tree of named errors; the command line catches the root and prints one line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import FrozenInstanceError, dataclass, fields, replace
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
            parts.append(f"found {_short(repr(self.found))}")
        if self.allowed:
            parts.append(f"allowed: {self.allowed}")
        text = "; ".join(parts)
        line = f"{text}. {self.do}" if self.do else text
        return " ".join(line.split())


LONGEST = 120
"""Characters of a cell that a message shows."""


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}..."


SHOWN = 20
"""Problems of one file that are listed; the others are counted."""


@dataclass(eq=False)
class InputErrors(InputError):
    """Several problems of one input at once: the first is this error itself, the next stand in `others`.

    others: the problems after the first, at most `SHOWN` in all; unlisted: how many more there are.
    """

    others: tuple[InputError, ...] = ()
    unlisted: int = 0

    def placed(self, file: str, row: int | None = None) -> InputErrors:
        """The same errors with a place, where they have none yet."""
        first, *others = (each.placed(file, row) for each in (_alone(self), *self.others))
        return InputErrors(**_fields(first), others=tuple(others), unlisted=self.unlisted)

    def __str__(self) -> str:
        """One line for each problem, and how many more there are."""
        lines = [super().__str__(), *map(str, self.others)]
        more = f"and {self.unlisted} more such line{'' if self.unlisted == 1 else 's'}"
        return "\n".join([*lines, more] if self.unlisted else lines)


def collected(problems: Sequence[InputError], beyond: int = 0) -> InputError:
    """One error for one or more problems of the same input, in their order; beyond: how many more there are."""
    if len(problems) == 1 and not beyond:
        return problems[0]
    flat: list[InputError] = []
    for problem in problems:
        flat.append(_alone(problem))
        if isinstance(problem, InputErrors):
            flat += problem.others
            beyond += problem.unlisted
    return InputErrors(**_fields(flat[0]), others=tuple(flat[1:SHOWN]), unlisted=max(0, len(flat) - SHOWN) + beyond)


def _alone(problem: InputError) -> InputError:
    return InputError(**_fields(problem))


def _fields(problem: InputError) -> dict[str, Any]:
    return {each.name: getattr(problem, each.name) for each in fields(InputError)}


class Problems:
    """Problems of one input, gathered so that all are told at once."""

    def __init__(self) -> None:
        """Nothing found yet."""
        self._found: list[InputError] = []

    @contextmanager
    def gathered(self) -> Iterator[None]:
        """Keep an InputError for later instead of stopping at it."""
        try:
            yield
        except InputError as problem:
            self._found.append(problem)

    def tell(self) -> None:
        """Raise what was gathered, if anything was."""
        if self._found:
            raise collected(self._found)


def no_trial_folder(folder: object) -> InputError:
    """What is said of a folder that holds no trial."""
    return InputError(
        "not a trial folder (it holds no trial.toml)",
        file=str(folder),
        do="Name the folder of a trial, or make one with `trials new`.",
    )
