"""Second marks of coupons that are measured again: what stands behind them."""

from __future__ import annotations

from trials.store.records.records import Records
from trials.store.records.spelling import as_mark

REPEAT = 1
"""What a reading under a second mark is: the first repeat of its coupon."""


def second_marks(records: Records) -> dict[str, str]:
    """Coupon -> its second mark."""
    return {coupon: mark for mark, coupon in records.repeat_marks.items()}


def known_marks(records: Records) -> set[str]:
    """Every mark that may stand on a coupon at the bench, its own or a second one."""
    return set(records.coupons["coupon"]) | set(records.repeat_marks)


def coupon_behind(mark: str, repeat: int, records: Records) -> tuple[str, int]:
    """The coupon and the repeat that a mark at the bench stands for; repeat: as typed, 0 where nothing was."""
    known = known_marks(records)
    found = mark if mark in known else as_mark(mark, known)
    if found not in records.repeat_marks:
        return mark, repeat
    return records.repeat_marks[found], repeat or REPEAT


def second_mark(coupon: str, repeat: int, records: Records) -> str:
    """The mark under which a repeat is measured, empty where it has none."""
    return second_marks(records).get(coupon, "") if repeat == REPEAT else ""


def at_the_bench(coupon: str, repeat: int, records: Records) -> tuple[str, int]:
    """How a reading is named where the bench sees it: by the second mark if it was measured under one."""
    second = second_mark(coupon, repeat, records)
    return (second, 0) if second else (coupon, repeat)
