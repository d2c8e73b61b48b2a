"""New folders appear whole, and never in the place of another."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from trials.errors import InputError
from trials.store.placing import beside


@dataclass(frozen=True)
class Kept:
    """A trial that was kept elsewhere: where, and the newest hash of its chain."""

    place: Path
    head: str


@contextmanager
def new_folder(place: Path) -> Iterator[Path]:
    """A folder under another name to be filled; at the end it gets its name in one step, or is gone.

    Raises
    ------
    InputError
        If something of that name is there, or nothing can be written there.
    """
    if os.path.lexists(place):
        raise _taken(place)
    part = beside(place)
    try:
        part.mkdir(parents=True)
        yield part
        if os.path.lexists(place):
            raise _taken(place)
        part.rename(place)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError(f"cannot be written ({reason})", file=str(place), do="Name another place.") from None
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _taken(place: Path) -> InputError:
    return InputError("is there already", file=str(place), do="Name a new folder; nothing is overwritten.")
