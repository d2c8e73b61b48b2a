"""Kinds of findings that are made while a model is fitted."""

from enum import StrEnum


class InferKind(StrEnum):
    """What the records carry and what had to be left out of a model."""

    FEW_SHEETS = "few_sheets"
    ONE_READING_PER = "one_reading_per"
    ONE_PER = "one_per"
    ONE_SPECIMEN_EACH = "one_specimen_each"
    ONE_SPECIMEN_OF = "one_specimen_of"
    NOT_NAMED = "not_named"
    NOT_REPEATED = "not_repeated"
