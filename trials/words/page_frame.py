"""What frames every page: dates, page numbers, and the band over invented data."""

from __future__ import annotations

from datetime import date

from trials.words.language import current, text


def day_words(day: date) -> str:
    """A date in words, without locale.

    >>> day_words(date(2026, 3, 3))
    '3 March 2026'
    """
    return text("{day} {month} {year}", day=day.day, month=_months()[day.month - 1], year=day.year)


def _months() -> tuple[str, ...]:
    first = text("January"), text("February"), text("March"), text("April"), text("May"), text("June")
    last = text("July"), text("August"), text("September"), text("October"), text("November"), text("December")
    return first + last


def frame_words(invented: bool) -> dict[str, str]:
    """The words around a page: `page` with {page} and {pages} left open for the typesetter, `band`, `language`."""
    return {
        "page": text("page {page} of {pages}", page="{page}", pages="{pages}"),
        "band": text("Invented data: no such trial was cut") if invented else "",
        "language": current().name,
    }
