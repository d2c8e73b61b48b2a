"""Results as plain values, and the one door through which outputs are written: whole, and over nobody's work."""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from trials.errors import InputError
from trials.store import placing


def plain(value: Any) -> Any:
    """A result as plain JSON values: NaN and infinity become null, tuples lists; words are made here and nowhere else.

    A finding gets its sentence beside its facts; a place, a next step, a response, a chance and a study get theirs.
    """
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value) and not isinstance(value, type):
        return _plain_result(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _plain_result(value: Any) -> dict[str, Any] | str:
    from trials.words import machine

    in_words = machine.in_words(value)
    if isinstance(in_words, str):
        return in_words
    shown = {field.name: getattr(value, field.name) for field in fields(value) if not field.name.startswith("_")}
    return {str(name): plain(item) for name, item in {**shown, **in_words}.items()}


PROTECTED = ("trial.toml", "trial.db", "trial.db-journal", "trial.db-wal", "trial.db-shm")
"""Names of a trial's own files: no paper or picture is ever called so."""
REGISTER = ".trials-written"
"""Hidden folder beside the outputs: for each name, the SHA-256 of every content this tool gave it, one a line."""


def write_bytes(path: Path, data: bytes, endings: tuple[str, ...] = ()) -> None:
    """Write an output whole or not at all; only what this tool wrote, unchanged since, is replaced.

    endings: those the name may have; any if empty.

    Raises
    ------
    InputError
        If the name is that of a trial's own file or has another ending, the file there was not written by this tool
        or was changed since, or the place cannot be written to.
    """
    _check_name(path, endings)
    if not _placed(path, data):
        raise _not_ours(path)


def write_beside(path: Path, data: bytes, joint: str = "-") -> Path:
    """Write an output as `write_bytes` does, but under the next free name (`name-2.xlsx`) where it may not replace.

    joint: what stands between the name and the number. Returns the path that was written.
    """
    _check_name(path, ())
    place, number = path, 1
    while not _placed(place, data):
        number += 1
        place = path.with_name(f"{path.stem}{joint}{number}{path.suffix}")
    return place


def write_new(path: Path, data: bytes) -> None:
    """Write a file that must not be there yet, such as `trial.toml`; raises InputError if it is."""
    with _told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            placing.write_new(path, data)
        except FileExistsError:
            raise InputError("is there already", file=str(path), do="Choose another name or folder.") from None


def rewrite(path: Path, before: bytes, after: bytes) -> None:
    """Put new content into a person's own file that still is as it was read.

    Raises
    ------
    InputError
        If the file changed since it was read, or cannot be written.
    """
    with _told(path):
        if path.read_bytes() != before:
            raise InputError("was changed meanwhile", file=str(path), do="Look at it, then run the command again.")
        _replace(path, after)


def check_place(path: Path, endings: tuple[str, ...]) -> None:
    """Whether an output may be written here, asked before work is done for it.

    Raises
    ------
    InputError
        As `write_bytes`, for any content.
    """
    _check_name(path, endings)
    with _told(path):
        if os.path.lexists(path) and _hash_of(path) not in _noted(path):
            raise _not_ours(path)


def _not_ours(path: Path) -> InputError:
    return InputError(
        "is there already, and not as this tool wrote it",
        file=str(path),
        do="Choose another name, or move the file away.",
    )


def _check_name(path: Path, endings: tuple[str, ...]) -> None:
    if path.name.lower() in PROTECTED:
        raise InputError("is the name of a trial's own file", file=str(path), do="Choose another name.")
    if endings and path.suffix.lower() not in endings:
        allowed = ", ".join(endings)
        raise InputError("not a name for this output", found=str(path), allowed=allowed, do="Change the ending.")


def _placed(path: Path, data: bytes) -> bool:
    """Whether the content now stands under this name; False where that would replace what is not ours."""
    with _told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        mine = hashlib.sha256(data).hexdigest()
        if not os.path.lexists(path):
            _note(path, mine)
            with suppress(FileExistsError):  # another process was quicker: looked at below
                placing.write_new(path, data)
        there = _hash_of(path)
        if there == mine:
            return True
        if there not in _noted(path):
            return False
        _note(path, mine)
        _replace(path, data)
        return True


def _replace(path: Path, data: bytes) -> None:
    part = placing.beside(path)
    try:
        part.write_bytes(data)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _hash_of(path: Path) -> str:
    """Hash of what stands there; empty for anything but a plain file."""
    if path.is_symlink() or not path.is_file():
        return ""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _note(path: Path, digest: str) -> None:
    """Noted before the file is written: a crash in between leaves a file that is ours, not one that is nobody's."""
    register = path.parent / REGISTER
    register.mkdir(exist_ok=True)
    with (register / path.name).open("a", encoding="ascii") as stream:
        stream.write(f"{digest}\n")


def _noted(path: Path) -> set[str]:
    try:
        return set((path.parent / REGISTER / path.name).read_text(encoding="ascii", errors="replace").split())
    except OSError:
        return set()


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Problems of the file system as one line."""
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be written: {reason}", file=str(path), do="Close it or choose another place."
        ) from None
