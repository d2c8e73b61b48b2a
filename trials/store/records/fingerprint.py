"""What makes two looks at the data one look: a digest of the records, over a list of columns that has a version."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping

import pandas as pd

from trials.store.records.records import Records

FINGERPRINT_VERSION = 2
_CORRECTED = ("who", "why", "replaces")
_FIRST: Mapping[str, tuple[str, ...]] = {
    "cuts": (
        "id",
        *("coupon", "cut_order", "cut_at", "mount", "sheet", "outcome", "changed_setting", "note"),
        *_CORRECTED,
    ),
    "readings": (
        "id",
        *("coupon", "reading", "repeat", "side", "field", "value", "inspector", "instrument"),
        *("cutoff_mm", "depth_mm", "measured_on", "note"),
        *_CORRECTED,
    ),
    "mounts": (
        *("mount", "nozzle", "specimen", "order", "sheet", "fitted_at"),
        *("centring_checked", "height_calibrated", "pierces_before", "window_changed"),
    ),
    "sheets": ("sheet", "heat_lot", "surface", "gas_purity"),
}
COLUMNS: Mapping[int, Mapping[str, tuple[str, ...]]] = {
    1: _FIRST,
    2: {**_FIRST, "readings": (*_FIRST["readings"], "ended")},
}
"""Columns of each table by version. A version that is out is never edited: a new column makes a new version, and a
look that was kept under an older one is compared by the older list, and by whatever was filled in since."""


def fingerprint(records: Records, version: int = FINGERPRINT_VERSION) -> str:
    """SHA-256 of what was recorded, over the columns of a version; `records` without blocks of which nothing is cut.

    Costs, lives, prices and whatever else the freeze does not cover are no part of it.

    Raises
    ------
    KeyError
        If no such version was ever in use.
    """
    planned = {"mounts": records.planned_mounts, "sheets": records.planned_sheets}
    parts = [records.freeze_hash]
    for name, columns in COLUMNS[version].items():
        frame: pd.DataFrame = getattr(records, name)
        plan = [c for c in planned[name].columns if c not in columns] if name in planned else []
        later = [c for c in COLUMNS[FINGERPRINT_VERSION][name] if c in frame and c not in columns and _filled(frame[c])]
        kept = [c for c in frame.columns if c in columns or c in plan or c in later]
        parts.append(frame[kept].to_json(orient="values", date_format="iso") or "")
    parts.append(json.dumps(sorted(records.confirmed)))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _filled(cells: pd.Series) -> bool:
    return bool((cells.notna() & (cells != "")).any())


def look_of(records: Records) -> int | None:
    """The kept look at exactly these records, each compared by its own version of the columns; None where none is."""
    looks = records.looks
    for look, mark, version in zip(looks["look"], looks["fingerprint"], looks["fingerprint_version"], strict=True):
        if mark and mark == fingerprint(records, int(version)):
            return int(look)
    return None
