"""Typed columns worked out as a whole: each different cell once, however many rows hold it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from types import NoneType
from typing import Any

from trials.errors import SHOWN, InputError, collected
from trials.store.intake.headers import Columns
from trials.store.tables import FileCells, FileTable


@dataclass(frozen=True)
class Worked:
    """Cells of one column by position: what they hold (None where they cannot be used), and what is wrong with them."""

    values: list[Any]
    wrong: dict[int, InputError] = field(default_factory=dict)


def worked_out(cells: Sequence[Any], work: Callable[[Any], Any]) -> Worked:
    """Every cell by `work`, which is called once for each different one and may raise InputError without a place."""
    alike = len({*map(type, cells), NoneType}) <= 2  # cells of two types may be equal: 1 and True
    keys: Sequence[Hashable] = cells if alike else list(zip(map(type, cells), cells, strict=True))
    done: dict[Hashable, Any] = {}
    bad: dict[Hashable, InputError] = {}
    for key in dict.fromkeys(keys):
        try:
            done[key] = work(key if alike else key[1])  # type: ignore[index]
        except InputError as problem:
            done[key], bad[key] = None, problem
    wrong = {at: bad[key] for at, key in enumerate(keys) if key in bad} if bad else {}
    return Worked(list(map(done.__getitem__, keys)), wrong)


class Faults:
    """What is wrong with the rows of a table: the first fault of a row's own columns, and every fault of its values."""

    def __init__(self, table: FileTable | FileCells, numbers: Sequence[int], columns: Columns) -> None:
        """Nothing yet; numbers: of the rows as the user sees them."""
        self.table, self.numbers, self.columns = table, numbers, columns
        self._found: dict[tuple[int, int], tuple[str, InputError]] = {}

    def of_row(self, column: str, wrong: dict[int, InputError]) -> None:
        """Faults of a column of which only the first in a row is told."""
        for at, problem in wrong.items():
            self._found.setdefault((at, 0), (column, problem))

    def of_value(self, column: str, place: int, wrong: dict[int, InputError]) -> None:
        """Faults of a column of values, the one of that place (from 1) among them."""
        for at, problem in wrong.items():
            self._found[at, place] = (column, problem)

    def in_row(self, at: int) -> bool:
        """Whether a row's own columns have a fault."""
        return (at, 0) in self._found

    def tell(self) -> None:
        """Raise InputError for the first faults in the order of the table, with the number of the others."""
        if not self._found:
            return
        first = sorted(self._found)[:SHOWN]
        raise collected([self._placed(key) for key in first], len(self._found) - len(first))

    def _placed(self, key: tuple[int, int]) -> InputError:
        column, problem = self._found[key]
        header = self.columns.get(column, (column, 1.0))[0]
        return replace(problem, file=self.table.file, row=self.numbers[key[0]], column=header)
