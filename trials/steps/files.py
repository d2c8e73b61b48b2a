"""Results as plain values, and files written whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trials.errors import InputError


def plain(value: Any) -> Any:
    """A result as plain JSON values: NaN and infinity become null, tuples and arrays lists."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


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
