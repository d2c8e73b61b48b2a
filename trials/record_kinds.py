"""What records can show: departures from the plan, suspected slips, open work, remarks on files; and journal entries.

They stand on the ground floor because the sentences for them stand below the store.
"""

from __future__ import annotations

from enum import StrEnum


class RecordKind(StrEnum):
    """Kinds of findings about records."""

    # departures from the plan
    COUPON_LOST = "coupon_lost"
    COUPONS_NOT_CUT = "coupons_not_cut"
    ANOTHER_ORDER = "another_order"
    CHANGED_SETTING = "changed_setting"
    OUTSIDE_USED = "outside_used"
    OUTSIDE_LEFT_OUT = "outside_left_out"
    COUPONS_MOVED = "coupons_moved"
    MOUNT_ADDED = "mount_added"
    MOUNT_HELD_OTHER = "mount_held_other"
    MOUNT_ON_OTHER_SHEET = "mount_on_other_sheet"
    WINDOW_CHANGED = "window_changed"
    NOT_CENTRED = "not_centred"
    NOT_CALIBRATED = "not_calibrated"
    SHEET_ADDED = "sheet_added"
    NO_READING = "no_reading"
    NOT_MEASURABLE = "not_measurable"
    FEWER_READINGS = "fewer_readings_than_planned"
    # readings and instruments to look at again
    SLIP = "slip"
    INSTRUMENT_UNKNOWN = "instrument_unknown"
    CALIBRATION_OPEN = "calibration_open"
    READING_UNPLANNED = "reading_unplanned"
    DATED_LATER = "dated_later"
    SIDE_UNKNOWN = "side_unknown"
    # what is still to be done
    COUPONS_OPEN = "coupons_open"
    WITHOUT_READINGS = "without_readings"
    READINGS_OPEN = "readings_open"
    REPEATS_OPEN = "repeats_open"
    # what was passed over in a file, or was known already
    CUTS_KNOWN = "cuts_known"
    READINGS_KNOWN = "readings_known"
    CORRECTION_STANDS = "correction_stands"
    WITHDRAWAL_STANDS = "withdrawal_stands"
    EQUAL_CELLS = "equal_cells"
    COLUMNS_LEFT_OUT = "columns_left_out"
    ROWS_WITHOUT_OUTCOME = "rows_without_outcome"
    PLANNED_ORDER_TAKEN = "planned_order_taken"
    READ_AS_LATIN = "read_as_latin"
    NAMES_TAKEN_AS = "names_taken_as"
    TITLES_PASSED_OVER = "titles_passed_over"
    SHEET_RENAMED = "sheet_renamed"
    NOTED_GOOD = "noted_good"
    # what changed after the freeze, and words that a later rule gives otherwise
    QUESTION_AMENDED = "question_amended"
    LOTS_CHANGED = "lots_changed"
    BLOCK_ADDED = "block_added"
    SPECIMEN_RETIRED = "specimen_retired"
    KEPT_WORD_DIFFERS = "kept_word_differs"
    # corrected after words were seen
    READING_WAS_CORRECTED = "reading_was_corrected"
    CUT_WAS_CORRECTED = "cut_was_corrected"
    MOUNT_WAS_CORRECTED = "mount_was_corrected"
    SHEET_WAS_CORRECTED = "sheet_was_corrected"
    SLIP_WAS_CONFIRMED = "slip_was_confirmed"
    # of records that are checked
    FILE_DAMAGED = "file_damaged"
    ENTRY_CHANGED = "entry_changed"
    ENTRY_MOVED = "entry_moved"
    ROWS_CHANGED = "rows_changed"
    ROWS_UNCOVERED = "rows_uncovered"
    HEAD_CHANGED = "head_changed"
    ROWS_ORPHANED = "rows_orphaned"
    COUNT_DIFFERS = "count_differs"
    QUESTION_DIFFERS = "question_differs"
    QUESTION_UNNAMED = "question_unnamed"
    FILES_LEFT = "files_left"
    # of an adopted table
    ORDER_NOT_RANDOM = "order_not_random"
    WORTHWHILE_ASSUMED = "worthwhile_assumed"


class Where(StrEnum):
    """Which other readings a suspected slip was compared with; pair: the one other reading of its coupon; whole: its
    coupon as a whole against those at like settings, or all of the trial."""

    COUPON = "coupon"
    COUPON_AND_REPEATS = "coupon_and_repeats"
    LIKE_COUPONS = "like_coupons"
    TRIAL = "trial"
    PAIR = "pair"
    WHOLE_LIKE = "whole_like"
    WHOLE_TRIAL = "whole_trial"


class JournalKind(StrEnum):
    """Kinds of journal entries, as they stand in the database since its first version."""

    FROZEN = "frozen"
    PLAN = "plan"
    AMENDED = "amended"
    LOTS = "lots changed"
    BLOCK_ADDED = "block added"
    CUTS_RECORDED = "cuts recorded"
    READINGS_RECORDED = "readings recorded"
    READING_CORRECTED = "reading corrected"
    CUT_CORRECTED = "cut corrected"
    MOUNT_CORRECTED = "mount corrected"
    SHEET_CORRECTED = "sheet corrected"
    SLIP_CONFIRMED = "slip confirmed"
    INSTRUMENT = "instrument"
    RETIRED = "specimen retired"
    REPEAT_MARKS = "repeat marks drawn"
    ADOPTED = "adopted"
    VERDICT = "verdict"
    PROVISIONAL = "provisional verdict"


class Step(StrEnum):
    """Steps of a trial whose state is counted."""

    PLAN = "plan"
    CUT = "cut"
    MEASURED = "measured"
    VERDICT = "verdict"
