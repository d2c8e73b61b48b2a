"""Names of nozzle types as a person writes them."""

from __future__ import annotations


def start(said: str) -> str:
    """A sentence or an item of a list with a capital first letter; a symbol of one letter stays as it is.

    >>> start("double is best."), start("u at most 0.2 mm"), start("")
    ('Double is best.', 'u at most 0.2 mm', '')
    """
    first = said.split(maxsplit=1)[:1]
    alone = bool(first) and sum(letter.isalpha() for letter in first[0]) == 1
    return said if alone else f"{said[:1].upper()}{said[1:]}"


def person(nozzle: str) -> str:
    """A nozzle type with a capital first letter and without underscores.

    >>> person("double wall"), person("Öd 3"), person("long_cone")
    ('Double wall', 'Öd 3', 'Long cone')
    """
    name = nozzle.replace("_", " ")
    return f"{name[:1].upper()}{name[1:]}"
