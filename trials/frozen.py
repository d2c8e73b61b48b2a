"""What the freeze of a trial covers: compared as parsed, never as dumped, so that it survives a new version.

A key that joins in a later version and is at its default changes neither the question nor its hash.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from enum import StrEnum
from typing import Any

from pydantic import BaseModel

from trials.nozzles import Nozzle
from trials.trial import (
    Application,
    BenchRequest,
    CouponSize,
    Expected,
    Factor,
    Heading,
    Limit,
    PlanRequest,
    Requirement,
    ResponseRequest,
    Trial,
)

NOT_FROZEN: Mapping[type[BaseModel], frozenset[str]] = {
    Heading: frozenset({"title", "engineer", "currency", "notes", "language", "units", "paper"}),
    Nozzle: frozenset({"price", "notes", "lots"}),
    PlanRequest: frozenset({"settle"}),
    Trial: frozenset({"costs", "store", "lives"}),
}
ABSENT = "absent"
HASHED_FIRST: Mapping[type[BaseModel], str] = {
    Trial: "trial application nozzles factors held plan coupon responses bench",
    Heading: "question",
    Application: "material thickness_mm gas cut required",
    Requirement: "squareness_range roughness_range dross_grade u_mm rz5_um execution_class",
    Nozzle: "type bore wall side_jets plated point orifice_mm flow_area_mm2 specimens today",
    Factor: "unit levels today",
    Limit: "nozzle factor at_most at_least factors product_at_most weights sum_at_most",
    PlanRequest: "method aim coupons mounts_per_specimen sheets repeats generators seed compare_at looks limits",
    CouponSize: "length_mm width_mm slat_pitch_mm sheet_length_mm sheet_width_mm",
    Expected: "level sheet specimen mount coupon reading source",
    ResponseRequest: "primary readings worthwhile expected scale column unit resolution higher_is_better",
    BenchRequest: "uncertainty rule judged_by cutoff_mm repeat_share",
}
"""Keys that version 0.1.0 hashed whatever their value. Never add to it: a later key counts where it is not at its
default, so that the hash of an older question stays."""


def frozen_part(trial: Trial) -> dict[str, Any]:
    """What the freeze covers, as plain values; keys that joined later and are at their default are left out."""
    return _frozen(trial)


def _frozen(part: BaseModel) -> dict[str, Any]:
    first, free = HASHED_FIRST.get(type(part), "").split(), NOT_FROZEN.get(type(part), frozenset())
    kept: dict[str, Any] = {}
    for name, known in type(part).model_fields.items():
        value = getattr(part, name)
        at_default = value == known.get_default(call_default_factory=True)
        if name not in free and (name in first or not at_default):
            kept[name] = _plain(value)
    return kept


def _plain(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return _frozen(value)
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value.value if isinstance(value, StrEnum) else value


def freeze_hash(trial: Trial) -> str:
    """SHA-256 of the frozen part, as 64 hexadecimal digits; independent of key order and layout of the file."""
    text = json.dumps(frozen_part(trial), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def changes(old: Trial, new: Trial) -> list[tuple[str, str, str]]:
    """Frozen keys that differ: (key, old value, new value) as text, in key order; empty where the questions are one."""
    return differences(_flat(frozen_part(old)), _flat(frozen_part(new)))


def lots_of(trial: Trial) -> dict[str, str]:
    """Lots of the pieces as text, by key (`lots.TYPE`); types without lots are left out."""
    return _flat({"lots": {nozzle.type: list(nozzle.lots) for nozzle in trial.nozzles if nozzle.lots}})


def differences(before: Mapping[str, str], after: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Keys whose text differs: (key, old, new) in key order; `absent` where one side has no such key."""
    keys = sorted(before.keys() | after.keys())
    return [(key, before.get(key, ABSENT), after.get(key, ABSENT)) for key in keys if before.get(key) != after.get(key)]


def _flat(data: Any, path: str = "") -> dict[str, str]:
    if isinstance(data, dict):
        return {k: v for key, value in data.items() for k, v in _flat(value, f"{path}.{key}".strip(".")).items()}
    if isinstance(data, list) and any(isinstance(item, dict) for item in data):
        return {k: v for i, value in enumerate(data, 1) for k, v in _flat(value, f"{path}.{i}").items()}
    return {path: json.dumps(data, ensure_ascii=False)}
