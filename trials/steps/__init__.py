"""The steps of a trial, as commands and notebooks call them.

load -> propose, freeze -> run_sheet -> grade | fit | verdict. Each step reads the one before and writes none of it.
Functions take a folder or plain pandas tables and return plain tables or frozen results.
"""

from trials.steps.assessing import assessment_json, judge
from trials.steps.bench_study import Against, keep_study_picture, study_bench
from trials.steps.extending import add_extension, extension
from trials.steps.files import plain, write_bytes
from trials.steps.grade import grade, grade_rows, grade_table, grade_value, graded_facts, requirement
from trials.steps.ladders import ladder_study
from trials.steps.lives import read_lives, recorded_lives, study_table, write_lives
from trials.steps.measure import Settings, keep_pictures, measure_files, measure_into
from trials.steps.sheet import run_sheet
from trials.steps.signing import verdict
from trials.steps.way import evidence, fit, freeze, load, look_number, propose

__all__ = [
    "Against",
    "Settings",
    "add_extension",
    "assessment_json",
    "evidence",
    "extension",
    "fit",
    "freeze",
    "grade",
    "grade_rows",
    "grade_table",
    "grade_value",
    "graded_facts",
    "judge",
    "keep_pictures",
    "keep_study_picture",
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
    "study_bench",
    "study_table",
    "verdict",
    "write_bytes",
    "write_lives",
]
