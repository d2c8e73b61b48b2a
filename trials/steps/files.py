"""Results as plain values, and files written whole or not at all."""

from __future__ import annotations

from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

from trials.errors import InputError
from trials.findings import Finding


def plain(value: Any) -> Any:
    """A result as plain JSON values: NaN and infinity become null, tuples and arrays lists."""
    if isinstance(value, Finding):
        return _plain_finding(value)
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


def _plain_finding(finding: Finding) -> dict[str, Any]:
    """A finding as JSON: what it says in words is made here, once."""
    from trials.words.findings import say

    about = {name: plain(value) for name, value in asdict(finding.about).items() if value}
    facts = {name: plain(asdict(v) if is_dataclass(v) else v) for name, v in finding.facts.items()}
    return {"kind": finding.kind, "weight": finding.weight, "about": about, "facts": facts, "words": say(finding)}


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
