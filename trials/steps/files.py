"""Results as plain values, and files written whole or not at all."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from trials.errors import InputError
from trials.findings import Finding


def plain(value: Any) -> Any:
    """A result as plain JSON values: NaN and infinity become null, tuples lists; a finding gets its words."""
    if isinstance(value, Finding):
        return _plain_finding(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value) if field.name[0] != "_"}
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
    from trials.words.findings import say

    facts = {name: plain(fact) for name, fact in finding.facts.items()}
    about = {name: part for name, part in plain(finding.about).items() if part not in ("", [], None)}
    return {
        "kind": finding.kind.value,
        "weight": finding.weight.value,
        "about": about,
        "facts": facts,
        "words": say(finding),
    }


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
