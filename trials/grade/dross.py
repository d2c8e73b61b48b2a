"""Dross: this project's own scale from 0 to 4. No published standard grades dross by number.

Grade the lower edge of a coupon before anything is taken off; the worst spot of the edge gives the grade.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.errors import InputError, NotFinite


@dataclass(frozen=True)
class DrossGrade:
    """One step of the scale: the number and a short name; `trials.words.grade` says how to tell it at the bench."""

    grade: int
    name: str


SCALE: tuple[DrossGrade, ...] = (
    DrossGrade(0, "no dross"),
    DrossGrade(1, "loose beads"),
    DrossGrade(2, "firm beads"),
    DrossGrade(3, "continuous, removable"),
    DrossGrade(4, "continuous, fused"),
)


def check_grades(grades: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Grades as an array of 0 to 4, NaN where nothing was graded.

    Raises
    ------
    InputError
        If a grade is not a whole number from 0 to 4.
    NotFinite
        If a grade is infinite.
    """
    values: npt.NDArray[np.float64]
    if hasattr(grades, "to_numpy"):
        values = grades.to_numpy(dtype=float, na_value=np.nan)
    else:
        values = np.asarray(grades, dtype=float)
    if np.isinf(values).any():
        raise NotFinite("A dross grade is infinite; leave the cell empty where nothing was graded.")
    known = np.isnan(values) | ((values >= 0) & (values <= SCALE[-1].grade) & (values == np.floor(values)))
    if not known.all():
        raise InputError(
            "not a dross grade",
            found=float(values[~known].flat[0]),
            allowed=", ".join(f"{step.grade} {step.name}" for step in SCALE),
            do="Give a whole grade.",
        )
    return values
