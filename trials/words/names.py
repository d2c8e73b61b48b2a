"""Names of nozzle types as a person writes them."""

from __future__ import annotations


def person(nozzle: str) -> str:
    """A nozzle type with a capital first letter and without underscores.

    >>> person("double wall"), person("Öd 3"), person("long_cone")
    ('Double wall', 'Öd 3', 'Long cone')
    """
    name = nozzle.replace("_", " ")
    return f"{name[:1].upper()}{name[1:]}"
