"""The marks of a trial straight from its file, for an answer to readings that are refused whatever is on record.

Nothing rests on it: what is taken in is held against the records as they were proved.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

from trials.store.question import DATABASE

_COUPONS = "SELECT coupon FROM planned_coupons"
_CUT = "SELECT coupon, outcome FROM cuts WHERE id NOT IN (SELECT replaces FROM cuts WHERE replaces IS NOT NULL)"
_AGAIN = "SELECT mark, coupon FROM repeat_marks"


def marks_on_file(folder: Path) -> Mapping[str, str | None]:
    """Every mark that may stand on a coupon at the bench -> what became of the coupon, None where it is not cut yet.

    Empty where the records lie elsewhere, cannot be read, or hold no plan yet.
    """
    place = f"{(folder / DATABASE).absolute().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(place, uri=True)) as connection:
            outcomes = dict(connection.execute(_CUT))
            found = {coupon: outcomes.get(coupon) for (coupon,) in connection.execute(_COUPONS)}
            return found | {mark: outcomes.get(coupon) for mark, coupon in connection.execute(_AGAIN)}
    except sqlite3.Error:
        return {}
