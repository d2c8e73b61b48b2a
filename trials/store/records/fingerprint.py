"""What makes two looks at the data one look: the question put to them, as a digest that has a version.

From version 3 on the question is which coupons count and which readings of them are there. Correcting a value,
confirming a reading or correcting a cut record asks nothing new; a withdrawn reading, a coupon left out and a further
coupon do.
Versions 1 and 2 took every cell of the records.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping

import numpy as np
import pandas as pd

from trials.store.records.records import Records
from trials.trial import Outcome

FINGERPRINT_VERSION = 3
ALL_CELLS = 2  # the last version that took every cell; it tells whether a kept paper is still that of its records
LEFT_OUT = (Outcome.SCRAPPED, Outcome.NOT_CUT)
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
"""Columns of each table by version. A version that is out is never edited: a new column that decides which coupons
count or which readings are there makes a new version, and a look that was kept under an older one is compared by the
older list, and by whatever was filled in since."""


def fingerprint(records: Records, version: int = FINGERPRINT_VERSION) -> str:
    """SHA-256 of the question put to the records, or of every cell in the columns of an earlier version.

    records: without blocks of which nothing is cut. Costs, lives, prices and whatever else the freeze does not cover
    are no part of it.

    Raises
    ------
    KeyError
        If no such version was ever in use.
    """
    if version > ALL_CELLS:
        return _question(records)
    planned = {"mounts": records.planned_mounts, "sheets": records.planned_sheets}
    parts = [records.freeze_hash]
    for name, columns in COLUMNS[version].items():
        frame: pd.DataFrame = getattr(records, name)
        plan = [c for c in planned[name].columns if c not in columns] if name in planned else []
        later = [c for c in COLUMNS[ALL_CELLS][name] if c in frame and c not in columns and _filled(frame[c])]
        kept = [c for c in frame.columns if c in columns or c in plan or c in later]
        parts.append(frame[kept].to_json(orient="values", date_format="iso") or "")
    parts.append(json.dumps(sorted(records.confirmed)))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _question(records: Records) -> str:
    """Coupons that count, coupons left out, and the readings that are there."""
    cuts, readings = records.cuts, records.readings
    out = cuts["outcome"].isin(LEFT_OUT)
    there = readings[readings["value"].notna() & (readings["repeat"] == 0)]
    parts = {
        "freeze": records.freeze_hash,
        "cut": sorted(cuts.loc[~out, "coupon"]),
        "left_out": sorted(cuts.loc[out, "coupon"]),
        "read": _in_order(there),
    }
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _in_order(there: pd.DataFrame) -> list[tuple[str, str, int]]:
    """Coupon, field and number of each reading, once, in their order."""
    once = there[["coupon", "field", "reading"]].drop_duplicates()
    places = [pd.factorize(once[name], sort=True)[0] for name in ("reading", "field", "coupon")]
    once = once.iloc[np.lexsort(places)]
    return list(zip(once["coupon"].tolist(), once["field"].tolist(), once["reading"].tolist(), strict=True))


def _filled(cells: pd.Series) -> bool:
    return bool((cells.notna() & (cells != "")).any())


def look_of(records: Records) -> int | None:
    """The kept look at these records, each compared by its own version of the fingerprint; None where none is."""
    looks = records.looks[records.looks["fingerprint"] != ""]
    now = {version: fingerprint(records, int(version)) for version in looks["fingerprint_version"].unique()}
    same = looks["fingerprint"] == looks["fingerprint_version"].map(now)
    return int(looks["look"][same].iloc[0]) if same.any() else None
