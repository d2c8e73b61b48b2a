"""A kept column as people read it: what it holds by name, a figure of it with its unit."""

from __future__ import annotations

from trials.responses import QUANTITIES
from trials.units import shown
from trials.words.language import text, word
from trials.words.numbers import plain

_UNITS = (
    "m_min",
    "mm_min",
    "mm_s",
    "mm2",
    "mm",
    "um",
    "bar",
    "kw",
    "hz",
    "khz",
    "ms",
    "s",
    "deg",
    "in",
    "psi",
    "pct",
    "w",
)


def split(column: str) -> tuple[str, str]:
    """Name and unit of a column or of a held setting.

    >>> split("standoff_mm"), split("rz5_um"), split("gas_purity_class")
    (('standoff', 'mm'), ('Rz5', 'um'), ('gas purity class', ''))
    """
    for quantity in QUANTITIES.values():
        if quantity.column == column:
            return text(quantity.short), quantity.unit
    for unit in _UNITS:
        if column.lower().endswith(f"_{unit}"):
            return word(column[: -len(unit) - 1].replace("_", " ")), unit
    return word(column.replace("_", " ")), ""


def printed(column: str) -> str:
    """A column at the head of a table that is read back: its name in words of the language, the unit behind it.

    >>> printed("pressure_bar"), printed("gas_purity_class")
    ('pressure_bar', 'gas_purity_class')
    """
    if word(column) != column:
        return word(column)
    unit = next((f"_{unit}" for unit in _UNITS if column.lower().endswith(f"_{unit}")), "")
    name = column[: len(column) - len(unit)].replace("_", " ")
    return column if word(name) == name else f"{word(name)}{unit}".replace(" ", "_")


def amount(column: str, value: object) -> str:
    """A value of a column with its unit.

    >>> amount("standoff_mm", 1.2), amount("assist_on", True)
    ('1.2 mm', 'yes')
    """
    if isinstance(value, bool):
        return text("yes") if value else text("no")
    if isinstance(value, (int, float)):
        return plain(value, split(column)[1])
    return text("empty") if value in (None, "") else f"{value} {shown(split(column)[1])}".strip()
