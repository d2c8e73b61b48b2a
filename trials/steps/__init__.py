"""The steps of a trial, as commands and notebooks call them.

load -> propose, freeze -> run_sheet -> grade | fit | verdict. Each step reads the one before and writes none of it.
Functions take a folder or plain pandas tables and return plain tables or frozen results.
"""

from trials.steps.adopt import Adoption, Keys, adopt
from trials.steps.amend import amend
from trials.steps.assessing import assessment_json, judge
from trials.steps.bench import Settings, keep_pictures, measure_files, measure_into
from trials.steps.correct import Correction, confirm, correct
from trials.steps.cut import cut, cut_as_planned
from trials.steps.extending import add_extension, extension
from trials.steps.files import plain, write_bytes
from trials.steps.grading import grade, grade_table, grade_value, requirement
from trials.steps.instrument import Instrument, enter_instrument, register
from trials.steps.ladders import ladder_study
from trials.steps.lives import read_lives, recorded_lives, study_table, write_lives
from trials.steps.papers import run_sheet
from trials.steps.record import record
from trials.steps.signing import verdict
from trials.steps.status import status
from trials.steps.way import evidence, fit, freeze, load, look_number, propose

__all__ = [
    "Adoption",
    "Correction",
    "Instrument",
    "Keys",
    "adopt",
    "amend",
    "confirm",
    "correct",
    "cut",
    "cut_as_planned",
    "enter_instrument",
    "record",
    "register",
    "status",
    "Settings",
    "add_extension",
    "assessment_json",
    "evidence",
    "extension",
    "fit",
    "freeze",
    "grade",
    "grade_table",
    "grade_value",
    "judge",
    "keep_pictures",
    "ladder_study",
    "load",
    "look_number",
    "measure_files",
    "measure_into",
    "plain",
    "propose",
    "read_lives",
    "recorded_lives",
    "requirement",
    "run_sheet",
    "study_table",
    "verdict",
    "write_bytes",
    "write_lives",
]
