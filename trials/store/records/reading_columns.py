"""Columns of a reading, named where they are checked before any library of tables and databases is loaded."""

READING_COLUMNS = (
    "coupon",
    "reading",
    "repeat",
    "side",
    "field",
    "value",
    "inspector",
    "instrument",
    "cutoff_mm",
    "depth_mm",
    "measured_on",
    "note",
    "ended",
    "beyond",
    "measured_order",
)
