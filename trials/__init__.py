"""Cutting-nozzle trials: plan, record, grade, fit, decide.

In a notebook: `import trials`, then `trials.load(folder)`, `trials.fit(folder)`, `trials.grade(records)`. The
functions are those of `trials.steps`, imported when first used.
"""

from importlib import import_module
from typing import Any

_STEPS = (
    *("load", "propose", "freeze", "grade", "evidence", "fit", "verdict", "run_sheet", "status"),
    *("record", "cut", "cut_as_planned", "correct", "confirm", "Correction", "adopt", "Adoption", "Keys", "amend"),
    *("register", "enter_instrument", "Instrument"),
)
__all__ = list(_STEPS)
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Fetch a step on first use, so that `import trials` stays quick."""
    if name in _STEPS:
        return getattr(import_module("trials.steps"), name)
    raise AttributeError(f"module 'trials' has no attribute {name!r}")
