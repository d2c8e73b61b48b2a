"""A language of nonsense: every sentence is replaced, its places stay; what stays the same was no sentence."""

import string
from collections.abc import Iterator
from typing import Any

from trials.words.language import Language

PROSE = frozenset(
    (
        *("words", "sentence", "rests_on", "settings", "requirement", "assumed", "label", "worthwhile_words"),
        *("described", "why", "designation", "note", "pattern_words", "question", "place"),
    )
)
"""Keys of JSON that hold words; all others hold numbers, flags, names and enumerated values."""


def _nonsense(template: str) -> str:
    """`zz` with the places of the template in their order, so that a sentence that is read back is not found."""
    places = [f"{{{name}}}" for _, name, _, _ in string.Formatter().parse(template) if name is not None]
    return " ".join(["zz", *places])


NONSENSE = Language("zz", _nonsense, lambda one, many, n: _nonsense(many))


def without_prose(value: Any, prose: frozenset[str] = PROSE) -> Any:
    """A JSON value without its words."""
    if isinstance(value, dict):
        return {key: without_prose(item, prose) for key, item in value.items() if key not in prose}
    if isinstance(value, list):
        return [without_prose(item, prose) for item in value]
    return value


def prose_of(value: Any, prose: frozenset[str] = PROSE) -> Iterator[str]:
    """All words of a JSON value."""
    if isinstance(value, dict):
        for key, item in value.items():
            if key in prose and isinstance(item, str):
                yield item
            else:
                yield from prose_of(item, prose)
    elif isinstance(value, list):
        for item in value:
            yield from prose_of(item, prose)


def commands_of(value: Any) -> list[str]:
    """Names of the next commands in a JSON value."""
    if isinstance(value, dict):
        own = [value["name"]] if set(value) == {"name", "arguments"} else []
        return own + [name for item in value.values() for name in commands_of(item)]
    return [name for item in value for name in commands_of(item)] if isinstance(value, list) else []


def structure(page: Any) -> Any:
    """Number and kind of the blocks of a page; rows, columns and items counted, texts left out."""
    if isinstance(page, dict):
        return {key: structure(item) for key, item in page.items() if key != "svg"}
    if isinstance(page, (list, tuple)):
        return [structure(item) for item in page]
    return page if isinstance(page, (bool, int, float)) else type(page).__name__
