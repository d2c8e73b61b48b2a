"""What was recorded: one database per trial, nothing overwritten. This is the face of the room.

Floors above import from here; what is not named here may change without notice.
"""

from typing import TYPE_CHECKING

from trials.late import fetched_late

if TYPE_CHECKING:
    from trials.record_kinds import JournalKind
    from trials.store.records.as_cut import NOT_CUT, analysis_table, coupon_table, departures
    from trials.store.records.changed_setting import nearest
    from trials.store.records.check import Checked, check
    from trials.store.records.corrections import (
        READING_DETAILS,
        Change,
        NewReading,
        ReadingPlace,
        RowChange,
        confirm_slips,
        correct,
        correct_detail,
        correct_row,
        detail_change,
        reading_change,
        row_change,
    )
    from trials.store.records.database import NewQuestion, add_block, amend, freeze
    from trials.store.records.entry import Recorded, journal_lots
    from trials.store.records.fingerprint import ALL_CELLS, FINGERPRINT_VERSION, fingerprint, look_of
    from trials.store.records.folder import load, read_trial, records_place, require_frozen
    from trials.store.records.instruments import Instrument, calibration_doubts, instruments, keep_instrument
    from trials.store.records.journal import Entry, entries
    from trials.store.records.kept_findings import revived
    from trials.store.records.looks import (
        KeptLook,
        KeptWord,
        NewLook,
        costs_of,
        keep_look,
        kept_look,
        kept_looks,
        note_provisional,
    )
    from trials.store.records.reading_columns import READING_COLUMNS
    from trials.store.records.recording import record_as_planned, record_cuts, record_readings
    from trials.store.records.records import Records, standing
    from trials.store.records.repeats import draw_marks
    from trials.store.records.retirement import Retired, open_coupons, retire, retired
    from trials.store.records.rules import check_coupon, check_was_cut, outcomes, quantities
    from trials.store.records.second_marks import coupon_behind, second_marks
    from trials.store.records.slips import Slip, open_slips

__all__ = fetched_late(
    __name__,
    {
        "trials.record_kinds": "JournalKind",
        "as_cut": "NOT_CUT analysis_table coupon_table departures",
        "changed_setting": "nearest",
        "check": "Checked check",
        "corrections": "READING_DETAILS Change NewReading ReadingPlace RowChange confirm_slips correct correct_detail "
        "correct_row detail_change reading_change row_change",
        "database": "NewQuestion add_block amend freeze",
        "entry": "Recorded journal_lots",
        "fingerprint": "ALL_CELLS FINGERPRINT_VERSION fingerprint look_of",
        "folder": "load read_trial records_place require_frozen",
        "instruments": "Instrument calibration_doubts instruments keep_instrument",
        "journal": "Entry entries",
        "kept_findings": "revived",
        "looks": "KeptLook KeptWord NewLook costs_of keep_look kept_look kept_looks note_provisional",
        "recording": "record_as_planned record_cuts record_readings",
        "reading_columns": "READING_COLUMNS",
        "records": "Records standing",
        "repeats": "draw_marks",
        "retirement": "Retired open_coupons retire retired",
        "rules": "check_coupon check_was_cut outcomes quantities",
        "second_marks": "coupon_behind second_marks",
        "slips": "Slip open_slips",
    },
)
