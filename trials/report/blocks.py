"""Parts of a page as plain data, and numbers as people read them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from trials.words.language import text, word
from trials.words.names import start
from trials.words.numbers import point, unsigned_zero
from trials.words.system import in_use, shown_unit

Block = dict[str, Any]


def words(*items: str) -> Block:
    """Paragraphs; empty ones are left out."""
    return {"kind": "text", "items": [start(item) for item in items if item]}


def listed(items: Iterable[str]) -> Block:
    """A list of sentences."""
    return {"kind": "list", "items": [start(item) for item in items]}


def lead(title: str) -> Block:
    """A line that says what the next block is, never parted from it."""
    return {"kind": "lead", "title": title}


def columns(items: Iterable[str]) -> Block:
    """A list of sentences in two columns."""
    return {"kind": "columns", "items": [start(item) for item in items]}


def head(title: str) -> Block:
    """A small heading inside a section."""
    return {"kind": "head", "title": title}


def table(
    names: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = (), widths: Sequence[float] = ()
) -> Block:
    """A table of text cells; `right` are the columns that hold numbers, `widths` shares of the line."""
    cells = [[str(cell) for cell in row] for row in rows]
    return {"kind": "table", "head": list(names), "rows": cells, "right": list(right), "widths": list(widths)}


def figure(svg: str, alt: str, caption: str = "") -> Block:
    """A picture with its description for those who cannot see it."""
    return {"kind": "figure", "svg": svg, "alt": alt, "caption": caption}


def section(title: str, blocks: Iterable[Block]) -> dict[str, Any]:
    """A section; blocks without content are left out."""
    return {"title": title, "blocks": [block for block in blocks if block.get("items", True)]}


def num(value: float | None, digits: int = 3) -> str:
    """A number with so many significant digits, never as a power of ten; a dash for none."""
    if value is None or math.isnan(value):
        return "–"
    if math.isinf(value):
        return text("no bound")
    if value == 0:
        return "0"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    return point(unsigned_zero(f"{value:.{places}f}").replace("-", "−"))


def setting(name: str, unit: str) -> str:
    """A factor as printed: its name as words, with the unit in use."""
    words = word(name.replace("_", " "))
    return f"{words}, {shown_unit(unit)}" if unit else words


def alike(*values: float | None, digits: int = 3) -> list[str]:
    """Numbers that stand together, all with the decimals that the largest needs for so many significant digits."""
    sizes = [abs(v) for v in values if v is not None and math.isfinite(v) and v != 0]
    places = max(digits - 1 - math.floor(math.log10(max(sizes))), 0) if sizes else 0
    plain = [v is not None and math.isfinite(v) for v in values]
    return [point(f"{v:z.{places}f}".replace("-", "−")) if ok else num(v) for v, ok in zip(values, plain, strict=True)]


def span(low: str, high: str) -> str:
    """Two ends of an interval, as they are printed; one figure where they do not differ by what is printed."""
    return low if low == high else text("{low} to {high}", low=low, high=high)


def with_unit(value: float | None, unit: str, digits: int = 3) -> str:
    """A number in the unit in use, with that unit as printed for people."""
    return f"{num(None if value is None else in_use(value, unit), digits)} {shown_unit(unit)}".strip()


def f_value(value: float | None) -> str:
    """A test statistic: two decimals, fewer where it is large."""
    if value is None:
        return "–"
    return point(f"{value:.2f}") if value < 100 else num(value)


def percent(share: float | None) -> str:
    """A share as a whole percentage; a dash for none."""
    return "–" if share is None else f"{100 * share:.0f} %"
