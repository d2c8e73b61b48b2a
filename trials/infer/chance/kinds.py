"""Kinds of findings about a chance."""

from enum import StrEnum


class ChanceKind(StrEnum):
    """What is found about a chance, or what it rests on."""

    RULE = "chance_rule"
    GRADE_RULE = "chance_grade_rule"
    NEW_EACH_TIME = "chance_new_each_time"
    SPREAD_NOT_KNOWN = "chance_spread_not_known"
    READINGS_INDEPENDENT = "chance_readings_independent"
    SPREAD_OF_TYPE = "chance_spread_of_type"
    PENALISED = "chance_penalised"
    NO_GRADE_MODEL = "chance_no_grade_model"
    MOVE_TOGETHER = "chance_move_together"
    DROSS_APART = "chance_dross_apart"
    LOST_CUTS = "chance_lost_cuts"
    TOLERANCE = "chance_tolerance"
    REACH = "chance_reach"
    WITHOUT_FLAGGED = "chance_without_flagged"
    ANY_CORRELATION = "chance_any_correlation"
