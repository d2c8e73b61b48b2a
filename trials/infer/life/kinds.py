"""Kinds of findings about lives."""

from enum import StrEnum


class LifeKind(StrEnum):
    """What lives say beside their numbers, and what they cannot say."""

    NOTHING_FAILED = "life_nothing_failed"
    NEITHER_FAILED = "life_neither_failed"
    SHAPE_ASSUMED = "life_shape_assumed"
    SHAPES_NOT_CHECKED = "life_shapes_not_checked"
    SHAPES_DIFFER = "life_shapes_differ"
    SHAPES_ALIKE = "life_shapes_alike"
    EARLY_FAILURES = "life_early_failures"
    FEW_FAILURES = "life_few_failures"
    BEYOND_LONGEST = "life_beyond_longest"
    TAKEN_OFF_LIKE_OTHERS = "life_taken_off_like_others"
