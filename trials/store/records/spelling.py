"""Marks and names that differ only in case or spaces are the same marks and names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


def folded(name: str) -> str:
    """A name without case and spaces."""
    return "".join(name.casefold().split())


def by_folded(known: Iterable[str]) -> Mapping[str, str]:
    """Folded -> name as it is kept, the first of several that fold alike."""
    found: dict[str, str] = {}
    for name in known:
        found.setdefault(folded(name), name)
    return found


def as_mark(name: str, known: Iterable[str]) -> str:
    """A mark as typed in the spelling of the one known mark that it can mean; as typed where there is none or two."""
    return Marks(known).meant(name)


class Marks:
    """Known marks, to be asked about many typed ones."""

    def __init__(self, known: Iterable[str]) -> None:
        """Marks by their folded form."""
        self.known = frozenset(known)
        self._alike: dict[str, list[str]] = {}
        for mark in self.known:
            self._alike.setdefault(folded(mark), []).append(mark)

    def meant(self, name: str) -> str:
        """As `as_mark`."""
        alike = self._alike.get(folded(name), [])
        return name if name in self.known or len(alike) != 1 else alike[0]
