"""The steps of a trial, as commands and notebooks call them.

load -> propose, freeze -> run_sheet -> grade | fit | verdict. Each step reads the one before and writes none of it.
Functions take a folder or plain pandas tables and return plain tables or frozen results.
"""

from trials.steps.bench import Settings, keep_pictures, measure_files, measure_into
from trials.steps.files import plain, write_bytes
from trials.steps.grading import grade, grade_table, grade_value, requirement
from trials.steps.papers import run_sheet
from trials.steps.way import evidence, fit, freeze, load, look_number, propose, verdict

__all__ = [
    "Settings",
    "evidence",
    "fit",
    "freeze",
    "grade",
    "grade_table",
    "grade_value",
    "keep_pictures",
    "load",
    "look_number",
    "measure_files",
    "measure_into",
    "plain",
    "propose",
    "requirement",
    "run_sheet",
    "verdict",
    "write_bytes",
]
