"""The language in which templates come out.

A template is an English sentence with named places, `"{n} of {total} cuts were lost"`. It is looked up in the
catalogue of the current language and filled in; where a catalogue has no such template the English one is used.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True)
class Language:
    """A language: how a template is translated, alone and by number, and its decimal sign."""

    name: str
    one: Callable[[str], str]
    several: Callable[[str, str, int], str]
    decimal: str = "."


def _choose(single: str, many: str, n: int) -> str:
    return single if n == 1 else many


ENGLISH = Language("en", lambda template: template, _choose)
_current: ContextVar[Language] = ContextVar("language", default=ENGLISH)


def current() -> Language:
    """The language in which everything comes out just now."""
    return _current.get()


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Everything said inside comes out in this language."""
    token = _current.set(language)
    try:
        yield
    finally:
        _current.reset(token)


def text(template: str, **facts: object) -> str:
    """The template in the current language, filled in.

    >>> text("cut at {place}", place="0.7 bar")
    'cut at 0.7 bar'
    """
    return _current.get().one(template).format(**facts)


def word(name: str) -> str:
    """A name that may be a user's own, in the words of the language where it has some; braces in it mean nothing.

    >>> word("{x} of mine")
    '{x} of mine'
    """
    return _current.get().one(name)


def plural(single: str, many: str, n: int, **facts: object) -> str:
    """The template that fits the number, in the current language, filled in; `{n}` is the number.

    >>> plural("{n} row", "{n} rows", 1), plural("{n} row", "{n} rows", 3)
    ('1 row', '3 rows')
    """
    return _current.get().several(single, many, n).format(n=counted(n), **facts)


def counted(n: int) -> str:
    """A count as people read it, in groups of three from a thousand on (ISO 80000-1), as amounts of money are.

    >>> counted(76), counted(4000)
    ('76', '4\\xa0000')
    """
    return f"{n:,}".replace(",", "\u00a0")
