"""Names of a package fetched when first used, so that a command pays only for the step it takes (PEP 562)."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from importlib import import_module
from types import ModuleType
from typing import Any

Places = Mapping[str, str]


class _Late(ModuleType):
    """A package whose names lie in its modules; a module called like one of them never hides it."""

    _late: Mapping[str, str]

    def __getattr__(self, name: str) -> Any:
        if name not in self._late:
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r}")
        found = getattr(import_module(self._late[name]), name)
        super().__setattr__(name, found)
        return found

    def __setattr__(self, name: str, value: Any) -> None:
        if isinstance(value, ModuleType) and self._late.get(name) == value.__name__:
            value = getattr(value, name)
        super().__setattr__(name, value)


def fetched_late(package: str, places: Places) -> list[str]:
    """Let a package fetch its names when they are used; returns them in order, for `__all__`.

    places: {module of the package, or of another by its full name: names in it, with blanks between}.
    """
    module = sys.modules[package]
    full = {place if "." in place else f"{package}.{place}": names for place, names in places.items()}
    module.__dict__["_late"] = {name: place for place, names in full.items() for name in names.split()}
    module.__class__ = _Late
    return sorted(module.__dict__["_late"])
