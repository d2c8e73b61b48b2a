"""Cutting-nozzle trials: plan, record, grade, fit, decide.

In a notebook: `import trials`, then `trials.load(folder)`, `trials.fit(folder)`, `trials.grade_trial(records)`.
The functions are those of `trials.steps`, imported when first used; no name is also that of a room (`trials.grade` is
the room of grades). `trials.fit` is the one of `trials.steps.notebook`: its study shows itself, and has tables.
"""

from importlib import import_module
from typing import Any

_STEPS = (
    *("Adoption", "Against", "Checked", "Correction", "Instrument", "Kept", "Keys", "Settings"),
    *("SettlingExtension", "Wanted", "add_extension", "adopt", "amend", "backup", "card", "card_json"),
    *("change", "chart", "chart_json", "check", "confirm", "confirm_best", "correct", "cut"),
    *("cut_as_planned", "demo_trial", "enter_instrument", "evidence", "export", "extension"),
    *("extension_json", "fit", "freeze", "grade_rows", "grade_table", "grade_trial", "grade_value"),
    *("graded_facts", "judge", "keep_pictures", "keep_study_picture", "keep_window_picture"),
    *("lives_of_trial", "load", "look_number", "measure_files", "measure_into", "picture", "plain"),
    *("plan_folder", "plan_json", "propose", "read_lives", "record", "record_lives", "recorded_lives"),
    *("register", "requirement", "restore", "retire", "retirement_json", "run_sheet", "settle_folder"),
    *("settled_json", "settling_extension", "settling_extension_json", "side_by_side", "sides_json"),
    *("status", "study_bench", "study_table", "verdict", "window", "window_json", "write_bytes"),
    *("write_card", "write_chart", "write_lives", "write_new", "zones_at", "zones_of"),
)
__all__ = list(_STEPS)
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Fetch a step on first use, so that `import trials` stays quick."""
    if name == "fit":
        return import_module("trials.steps.notebook").fit
    if name in _STEPS:
        return getattr(import_module("trials.steps"), name)
    raise AttributeError(f"module 'trials' has no attribute {name!r}")
