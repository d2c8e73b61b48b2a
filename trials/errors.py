"""One small tree of named errors; the command line catches the root and prints one line."""

from __future__ import annotations

from dataclasses import dataclass


class TrialError(Exception):
    """Root of every error a user can cause; its text is one line that ends with the next step."""


class NotFinite(TrialError):
    """An input array holds NaN or infinity where a number is needed."""


class NotIdentifiable(TrialError):
    """The records cannot separate two things the model asks for; the text names them."""


class Infeasible(TrialError):
    """No plan satisfies the limits, the budget or the model; the text gives the reason."""


class WrongShape(TrialError):
    """Arrays do not fit together, or an argument is outside what the function accepts."""


@dataclass
class InputError(TrialError):
    """A file, cell or argument cannot be used; says where, what was found, what is allowed and what to do.

    `where` is built from the parts that are known: file, row (1-based as the user sees it, the header is row 1),
    column. Every part may be empty.
    """

    problem: str
    file: str = ""
    row: int | None = None
    column: str = ""
    found: object = None
    allowed: str = ""
    do: str = ""

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
