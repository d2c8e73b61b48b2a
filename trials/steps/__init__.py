"""The steps of a trial, as commands and notebooks call them.

load -> propose, freeze -> run_sheet -> grade | fit | verdict. Each step reads the one before and writes none of it.
Functions take a folder or plain pandas tables and return plain tables or frozen results.
"""

from typing import TYPE_CHECKING

from trials.late import fetched_late

if TYPE_CHECKING:
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

__all__ = fetched_late(
    __name__,
    {
        "adopt": "Adoption Keys adopt",
        "amend": "amend",
        "bench_study": "Against keep_study_picture study_bench",
        "card": "card card_json write_card",
        "chart": "chart chart_json write_chart",
        "confirming": "confirm_best",
        "correct": "Correction change confirm correct",
        "cut": "cut cut_as_planned",
        "demo": "demo_trial",
        "extend": "add_extension extension extension_json",
        "extend_to_settle": "SettlingExtension settling_extension settling_extension_json",
        "files": "plain write_bytes write_new",
        "fit": "evidence fit",
        "grade": "grade_rows grade_table grade_trial grade_value graded_facts requirement zones_at zones_of",
        "instrument": "Instrument enter_instrument register",
        "keep": "Checked Kept backup check export restore",
        "lives": "lives_of_trial read_lives record_lives recorded_lives study_table write_lives",
        "load": "load",
        "looks": "look_number",
        "measure": "Settings keep_pictures measure_files measure_into",
        "picture": "picture",
        "plan": "freeze judge plan_folder plan_json propose",
        "record": "record",
        "retire": "retire retirement_json",
        "settling": "Wanted settle_folder settled_json side_by_side sides_json",
        "sheet": "run_sheet",
        "status": "status",
        "verdict": "verdict",
        "window": "keep_window_picture window window_json",
    },
)
