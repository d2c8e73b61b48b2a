"""Results as plain values, and files written whole or not at all."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from trials.errors import InputError


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


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written: {error.strerror}", file=str(path), do="Close it or choose another place."
        ) from None
