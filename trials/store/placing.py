"""New files appear whole, under names that nobody else writes to, and never in the place of another."""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path


def beside(path: Path) -> Path:
    """A hidden name in the same folder that no other process uses."""
    return path.with_name(f".{secrets.token_hex(8)}.part")


def place_new(part: Path, path: Path) -> None:
    """Give a finished file its name in one step, unless something has that name already.

    Raises
    ------
    FileExistsError
        If the name is taken; `part` stays as it was.
    """
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # no hard links on this file system: the name is taken first, then filled
        os.close(os.open(path, os.O_CREAT | os.O_EXCL))
        os.replace(part, path)
        return
    part.unlink()


def write_new(path: Path, data: bytes) -> None:
    """Write a file that must not be there yet, whole or not at all.

    Raises
    ------
    FileExistsError
        If something of that name is there.
    """
    part = beside(path)
    try:
        part.write_bytes(data)
        place_new(part, path)
    finally:
        part.unlink(missing_ok=True)


def replace_bytes(path: Path, data: bytes) -> None:
    """Put new content in the place of a file, in one step; its rights stay."""
    part = beside(path)
    try:
        part.write_bytes(data)
        shutil.copymode(path, part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
