"""What grading can find on a coupon, the items it judges, and the three answers it gives."""

from __future__ import annotations

from enum import StrEnum


class Meets(StrEnum):
    """Whether an edge meets what is required of it (ISO 14253-1)."""

    YES = "yes"
    UNDECIDED = "undecided"
    NO = "no"


class Item(StrEnum):
    """What is judged on an edge, by the name of its response."""

    SQUARENESS = "squareness"
    ROUGHNESS = "roughness"
    DROSS = "dross"


class GradeKind(StrEnum):
    """Reasons behind a grade, and why there is no designation; `about.response` is an `Item`."""

    SCRAPPED = "scrapped"
    NOT_CUT_YET = "not_cut_yet"
    NOT_CUT = "not_cut"
    NOT_SEVERED = "not_severed"
    ABORTED = "aborted"
    NO_THICKNESS = "no_thickness"
    OUT_OF_SCOPE = "thickness_out_of_scope"
    """facts: low, high"""
    WORSE_THAN_LAST = "worse_than_the_last_range"
    """facts: last"""
    OVER_LIMIT = "over_the_limit"
    NEAR_LIMIT = "too_near_the_limit"
    BEYOND_RANGE = "beyond_the_range_of_the_instrument"
    NOT_MEASURED = "not_measured"
    FEW_READINGS = "few_readings"
    """facts: usual"""
    NO_REQUIREMENT = "no_requirement"
    ALL_INSIDE = "all_inside"
    NOTHING_GRADED = "nothing_graded"
    NO_EDGE = "no_edge"
