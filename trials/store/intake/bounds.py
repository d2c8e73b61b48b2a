"""One cell of readings: a figure, a bound such as `>100`, or `not measurable` with a note that says why."""

from __future__ import annotations

from typing import Any

from trials.errors import InputError
from trials.responses import Beyond, Quantity, Scale
from trials.store.language import kept_word
from trials.store.records.bounds import NOT_MEASURABLE
from trials.store.records.rules import check_value
from trials.store.tables import number_in

SIDES = {">": Beyond.ABOVE, "<": Beyond.BELOW}


def reading_in(
    cell: Any, quantity: Quantity, scale: float, decimal_comma: bool, *, noted: bool, **place: Any
) -> tuple[float | None, str] | None:
    """`value` (kept unit) and `beyond` of a cell, None where it is empty; noted: whether the row has a note.

    Raises
    ------
    InputError
        If it is no figure, outside what is allowed, a bound of a grade, or could not be measured without a reason.
    """
    text = cell.strip() if isinstance(cell, str) else ""
    if kept_word(text).casefold() == NOT_MEASURABLE:
        if not noted:
            raise InputError("no reason why it could not be measured", do="Write it into the note.", **place)
        return None, Beyond.NOT_MEASURABLE.value
    side = SIDES.get(text[:1])
    if side and quantity.scale is Scale.GRADE:
        raise InputError("a grade has no bound", found=cell, do="Judge it, or leave the cell empty.", **place)
    value = number_in(text[1:].strip() or "-" if side else cell, decimal_comma=decimal_comma, **place)
    if value is None:
        return None
    kept = check_value(value if scale == 1.0 else float(f"{value * scale:.12g}"), quantity, **place)
    return kept, side.value if side else ""
