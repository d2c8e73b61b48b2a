"""Numbers as people read them: digits, signs, per cent, units, intervals and lists, written once for all pages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from trials.findings import Amount
from trials.units import shown
from trials.words.language import current, text
from trials.words.system import DIGITS, in_use, inches, scale_in_use, setting_in_use, shown_unit


def point(figure: str) -> str:
    """A figure with the decimal sign of the current language.

    >>> point("3.14")
    '3.14'
    """
    return figure.replace(".", current().decimal)


LEAST = 1e-6
"""The smallest figure that is printed; what lies closer to zero is below it."""


def number(value: float, digits: int = 3) -> str:
    """A figure with so many significant digits and no exponent in the usual range.

    >>> number(34.96), number(-0.0004, 1), number(0.0), number(math.inf), number(3e-8)
    ('35.0', '-0.0004', '0', 'no bound', 'below 0.000001')
    """
    if not math.isfinite(value):
        return text("no bound")
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    if 0 < value < LEAST:
        return text("below {high}", high=point(f"{LEAST:f}"))
    return point(unsigned_zero(f"{value:.{min(places, 6)}f}"))


def unsigned_zero(figure: str) -> str:
    """The figure without the sign of a zero.

    >>> unsigned_zero("-0.00"), unsigned_zero("-0.01")
    ('0.00', '-0.01')
    """
    return figure.lstrip("+-") if float(figure) == 0 else figure


def fixed(value: float, places: int, sign: bool = False) -> str:
    """A figure with so many places after the point; sign: a plus is shown too.

    >>> fixed(-0.004, 2), fixed(3.14159, 2, sign=True)
    ('0.00', '+3.14')
    """
    return point(unsigned_zero(f"{value:+.{places}f}" if sign else f"{value:.{places}f}"))


def fixed_in_use(value: float, unit: str, places: int) -> str:
    """A figure of `unit` in the unit in use, with places for about the same resolution as so many of its own.

    >>> fixed_in_use(34.961, "um", 2), fixed_in_use(0.0212, "mm", 3)
    ('34.96', '0.021')
    """
    return fixed(in_use(value, unit), max(0, places - round(math.log10(scale_in_use(unit)))))


def percent(share: float, places: int = 0, sign: bool = False) -> str:
    """A share in per cent, with the space of ISO 80000-1 before the sign.

    >>> percent(0.153), percent(0.0275, 1), percent(0.2, sign=True)
    ('15 %', '2.8 %', '+20 %')
    """
    return f"{fixed(100.0 * share, places, sign)} %"


def rounded(value: float, digits: int, sign: bool = False) -> str:
    """A figure with at most so many significant digits, no zeros at its end, no exponent; sign: a plus is shown too.

    >>> rounded(0.30000001, 3), rounded(2.0, 4, sign=True), rounded(1953.4, 3)
    ('0.3', '+2', '1950')
    """
    figure = f"{value:+.{digits}g}" if sign else f"{value:.{digits}g}"
    return point(unsigned_zero(f"{Decimal(figure):{'+' if sign else ''}f}" if "e" in figure else figure))


def with_unit(value: float, unit: str, digits: int = 3) -> str:
    """A figure in the unit in use, with that unit as printed.

    >>> with_unit(34.96, "um")
    '35.0 µm'
    """
    return f"{number_in_use(value, unit, digits)} {shown_unit(unit)}".strip()


def number_in_use(value: float, unit: str, digits: int = 3) -> str:
    """The same figure where its unit stands elsewhere."""
    return number(in_use(value, unit), digits)


def signed(value: float, digits: int = 3) -> str:
    """A change with its sign.

    >>> signed(0.0301), signed(-12.0), signed(0.0)
    ('+0.0301', '-12.0', '0')
    """
    figure = number(value, digits) if abs(value) >= LEAST else "0"
    return f"+{figure}" if 0 < value < math.inf and figure.strip("0.,") else figure


def changed(found: Amount) -> str:
    """A change with its sign and the unit in use, per cent with one decimal.

    >>> changed(Amount(18.13, "%")), changed(Amount(-0.0301, "mm"))
    ('+18.1 %', '-0.0301 mm')
    """
    figure = fixed(found.value, 1, sign=True) if found.unit == "%" else signed(in_use(found.value, found.unit))
    return f"{figure} {shown_unit(found.unit)}".strip()


def beside(low: float, high: float, *values: float, sign: bool = False) -> list[str]:
    """Figures with the decimals that their interval bears: two digits of its half width, at least of one of 1e-6.

    >>> beside(-0.0583, 0.00198, -0.0301, -0.0583, 0.00198, sign=True), beside(-1.3, 1.3, -0.01)
    (['-0.030', '-0.058', '+0.002'], ['0.0'])
    >>> beside(math.nan, math.nan, 0.0301)
    ['0.0301']
    """
    half = (high - low) / 2.0
    if not (math.isfinite(half) and half > 0):
        return [signed(value) if sign else number(value) for value in values]
    places = min(max(0, 1 - math.floor(math.log10(half))), 6)
    return [fixed(value, places, sign) for value in values]


def times(value: float) -> str:
    """A multiple, odds among them: three digits between a thousandth and a thousand.

    >>> times(0.0594), times(8.8e-5), times(12817.0), times(math.inf), times(0.0)
    ('0.0594', 'below\\xa00.001', 'over\\xa01000', 'no bound', '0')
    """
    if math.isinf(value) or value == 0:
        return number(value)
    if value > 1000:
        return text("over\u00a0{bound}", bound=1000)
    return text("below\u00a00.001") if value < 0.001 else number(value)


def changed_within(half: float, *found: Amount) -> list[str]:
    """Changes of one unit with the digits that an interval bears, half the width of which is given in that unit.

    >>> changed_within(0.0114, Amount(0.00568, "mm"), Amount(0.00362, "mm"))
    ['+0.006 mm', '+0.004 mm']
    """
    sizes = [(in_use(each.value, each.unit), each.unit) for each in found]
    reach = in_use(half, found[0].unit)
    figures = beside(-reach, reach, *(size for size, _ in sizes), sign=True)
    return [f"{figure} {shown_unit(unit)}".strip() for figure, (_, unit) in zip(figures, sizes, strict=True)]


def chance(p: float) -> str:
    """A p-value in a sentence: three decimals, or that it lies below 0.001.

    >>> chance(0.0312), chance(1e-5)
    ('p = 0.031', 'p below 0.001')
    """
    return text("p below 0.001") if p < 0.001 else text("p = {figure}", figure=fixed(p, 3))


def p_value(p: float | None) -> str:
    """A p-value in a cell: three decimals, or below 0.001; a dash for none.

    >>> p_value(0.0312), p_value(1e-5), p_value(None)
    ('0.031', 'below\\xa00.001', '–')
    """
    if p is None or math.isnan(p):
        return "–"
    if p > 0.999:
        return text("above\u00a00.999")
    return text("below\u00a00.001") if p < 0.001 else fixed(p, 3)


def confidence(level: float) -> str:
    """A confidence in per cent with the digits that it needs.

    >>> confidence(0.95), confidence(1 - 0.05 / 6)
    ('95 %', '99.17 %')
    """
    return f"{point(f'{100.0 * level:.4g}')} %"


def plain(level: float | str, unit: str = "") -> str:
    """A setting as typed, with its unit: `0.7 bar`, `1 mm`, `fine`; in inches and psi where those are in use."""
    return f"{bare(level, unit)} {shown_unit(unit)}".strip()


def bare(level: float | str, unit: str = "") -> str:
    """The same setting where its unit stands elsewhere, as in the head of a column."""
    return level if isinstance(level, str) else point(unsigned_zero(f"{setting_in_use(level, unit):g}"))


def nominal(size: float, unit: str) -> str:
    """A size that goes by its metric name in both systems, as the cut-off that is set at an instrument."""
    return f"{rounded(size, 6)} {shown(unit)}"


def limit(value: float) -> str:
    """A limit that was worked out, in the unit it has: whole, or as many digits as a converted figure has.

    >>> limit(0.2575)
    '0.2575'
    """
    return rounded(value, DIGITS if inches() else 6)


def listed(names: Sequence[object]) -> str:
    """Names in a row.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    texts = [str(name) for name in names]
    if not texts:
        return text("none")
    if len(texts) == 1:
        return texts[0]
    return text("{first} and {last}", first=", ".join(texts[:-1]), last=texts[-1])


def in_groups(digits: str, shown: int = 8, group: int = 4) -> str:
    """The first digits of a hash as people read them aloud.

    >>> in_groups("7f3a91c2d4e0")
    '7f3a-91c2'
    """
    return "-".join(digits[start : min(start + group, shown)] for start in range(0, min(shown, len(digits)), group))
