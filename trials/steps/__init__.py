"""The steps of a trial, as commands and notebooks call them.

load -> propose, freeze -> run_sheet -> grade | fit | verdict. Each step reads the one before and writes none of it.
Functions take a folder or plain pandas tables and return plain tables or frozen results.
"""

from trials.steps.adopt import Adoption, Keys, adopt
from trials.steps.amend import amend
from trials.steps.bench_study import Against, keep_study_picture, study_bench
from trials.steps.card import card, card_json, write_card
from trials.steps.chart import chart, chart_json, write_chart
from trials.steps.confirming import confirm_best
from trials.steps.correct import Correction, change, confirm, correct
from trials.steps.cut import cut, cut_as_planned
from trials.steps.demo import demo_trial
from trials.steps.extend import add_extension, extension, extension_json
from trials.steps.extend_to_settle import SettlingExtension, settling_extension, settling_extension_json
from trials.steps.files import plain, write_bytes, write_new
from trials.steps.fit import evidence, fit
from trials.steps.grade import (
    grade_rows,
    grade_table,
    grade_trial,
    grade_value,
    graded_facts,
    requirement,
    zones_at,
    zones_of,
)
from trials.steps.instrument import Instrument, enter_instrument, register
from trials.steps.keep import Checked, Kept, backup, check, export, restore
from trials.steps.lives import lives_of_trial, read_lives, record_lives, recorded_lives, study_table, write_lives
from trials.steps.load import load
from trials.steps.looks import look_number
from trials.steps.measure import Settings, keep_pictures, measure_files, measure_into
from trials.steps.picture import picture
from trials.steps.plan import freeze, judge, plan_folder, plan_json, propose
from trials.steps.record import record
from trials.steps.retire import retire, retirement_json
from trials.steps.settling import Wanted, settle_folder, settled_json, side_by_side, sides_json
from trials.steps.sheet import run_sheet
from trials.steps.status import status
from trials.steps.verdict import verdict
from trials.steps.window import keep_window_picture, window, window_json

__all__ = [
    "Adoption",
    "Against",
    "Checked",
    "Correction",
    "Instrument",
    "Kept",
    "Keys",
    "Settings",
    "SettlingExtension",
    "Wanted",
    "add_extension",
    "adopt",
    "amend",
    "backup",
    "card",
    "card_json",
    "change",
    "chart",
    "chart_json",
    "check",
    "confirm",
    "confirm_best",
    "correct",
    "cut",
    "cut_as_planned",
    "demo_trial",
    "enter_instrument",
    "evidence",
    "export",
    "extension",
    "extension_json",
    "fit",
    "freeze",
    "grade_rows",
    "grade_table",
    "grade_trial",
    "grade_value",
    "graded_facts",
    "judge",
    "keep_pictures",
    "keep_study_picture",
    "keep_window_picture",
    "lives_of_trial",
    "load",
    "look_number",
    "measure_files",
    "measure_into",
    "picture",
    "plain",
    "plan_folder",
    "plan_json",
    "propose",
    "read_lives",
    "record",
    "record_lives",
    "recorded_lives",
    "register",
    "requirement",
    "restore",
    "retire",
    "retirement_json",
    "run_sheet",
    "settle_folder",
    "settled_json",
    "settling_extension",
    "settling_extension_json",
    "side_by_side",
    "sides_json",
    "status",
    "study_bench",
    "study_table",
    "verdict",
    "window",
    "window_json",
    "write_bytes",
    "write_card",
    "write_chart",
    "write_lives",
    "write_new",
    "zones_at",
    "zones_of",
]
