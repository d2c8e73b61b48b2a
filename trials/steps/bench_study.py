"""The measurement study: what the bench adds to a reading, from a trial's blind re-measurements or a plain table."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trials.errors import InputError, NotIdentifiable
from trials.responses import QUANTITIES, Quantity, Scale
from trials.steps.grade import thickness
from trials.steps.load import load
from trials.store.intake.inspections import Inspections, read_inspections
from trials.store.records.records import Records
from trials.worthwhile import amount_on_scale

if TYPE_CHECKING:
    from trials.bench.agreement import Agreement
    from trials.bench.gauge import Bias, GaugeStudy

DROSS = "dross_grade"


@dataclass(frozen=True)
class Against:
    """What a study is held against, each by column: range limit, worthwhile difference (`15 %` or a figure with its
    unit), standard deviation of a trial's readings, further standard uncertainty, stated value of the reference piece
    and its U. reference: table of readings on that piece."""

    limit: Mapping[str, float] = field(default_factory=dict)
    worthwhile: Mapping[str, str] = field(default_factory=dict)
    spread: Mapping[str, float] = field(default_factory=dict)
    other: Mapping[str, float] = field(default_factory=dict)
    stated: Mapping[str, float] = field(default_factory=dict)
    stated_u: Mapping[str, float] = field(default_factory=dict)
    reference: Path | None = None


@dataclass(frozen=True)
class BenchResult:
    """The study of one column. readings: `place, inspector, value` of what was measured more than once; limit, spread
    and worthwhile in the unit of the column, None where there is none."""

    column: str
    label: str
    unit: str
    study: GaugeStudy
    bias: Bias | None
    limit: float | None
    spread: float | None
    worthwhile: float | None
    readings: pd.DataFrame


@dataclass(frozen=True)
class LeftOut:
    """A column that the study cannot tell anything of, and the error that says why."""

    column: str
    reason: str

    def __str__(self) -> str:
        """Column and reason in one line."""
        return f"{self.column}: {self.reason}"


@dataclass(frozen=True)
class BenchStudy:
    """Results by column, agreement on dross grades (None without grades given twice), and what could not be told."""

    results: tuple[BenchResult, ...]
    agreement: Agreement | None
    left_out: tuple[LeftOut, ...]

    def toml(self) -> str:
        """The lines for `trial.toml`: U rounded up, the repeatability part rounded down, three digits each."""
        whole = ", ".join(f"{r.column} = {_rounded(r.study.expanded, math.ceil)}" for r in self.results)
        part = ", ".join(f"{r.column} = {_rounded(r.study.repeatability.sd, math.floor)}" for r in self.results)
        return f"[bench]\nuncertainty = {{ {whole} }}\nrepeatability = {{ {part} }}"


def _rounded(value: float, towards: Callable[[float], int]) -> str:
    if value <= 0:
        return "0.0"
    digits = 2 - math.floor(math.log10(value))
    return f"{towards(round(value * 10**digits, 6)) / 10**digits:.{max(digits, 1)}f}"


def study_bench(source: Path, against: Against | None = None) -> BenchStudy:
    """Study the bench of a trial folder, by its re-measurements, or of a plain table of repeated readings.

    Raises
    ------
    InputError
        If the table cannot be used, or nothing in it was measured more than once.
    """
    given = against or Against()
    if source.is_dir() or not source.exists():
        records = load(source)
        readings = _of_trial(records)
        given = _from_trial(records, readings, given)
    else:
        readings = read_inspections(source)
    reference = _reference(given)
    results: list[BenchResult] = []
    left_out: list[LeftOut] = []
    agreement = None
    for column in readings.columns:
        try:
            if column == DROSS:
                agreement = _agreement(readings.frame)
            else:
                results.append(_result(column, readings.frame, given, reference))
        except NotIdentifiable as error:
            left_out.append(LeftOut(column, str(error)))
    if not results and agreement is None:
        raise InputError(
            f"the bench cannot be studied ({' '.join(map(str, left_out)) or 'no readings'})",
            file=str(source),
            do="Measure some coupons again, blind, and record them as repeat 1.",
        )
    return BenchStudy(tuple(results), agreement, tuple(left_out))


def _of_trial(records: Records) -> Inspections:
    """Readings of a trial, wide, one row for each measurement of a place."""
    names = [quantity.column for quantity in QUANTITIES.values() if quantity.column != "dross_height_mm"]
    rows = records.readings[records.readings["field"].isin(names)]
    if not len(rows):
        raise InputError(
            "no readings are recorded yet", file=str(records.folder), do="Record some with `trials record`."
        )
    keys = ["coupon", "inspector", "reading", "repeat"]
    wide = rows.pivot_table(index=keys, columns="field", values="value", aggfunc="first", sort=False).reset_index()
    found = [name for name in names if name in wide.columns]
    return Inspections(wide[[*keys, *found]], tuple(found), str(records.folder))


def _from_trial(records: Records, readings: Inspections, given: Against) -> Against:
    """What the trial itself says of limit, worthwhile difference and spread, where the caller does not."""
    firsts = readings.frame[readings.frame["repeat"] == 0]
    spread = {name: float(firsts[name].std(ddof=1)) for name in readings.columns if name != DROSS}
    worthwhile = {}
    for name, asked in records.trial.responses.items():
        if asked.worthwhile is not None:
            worthwhile[records.trial.quantity(name).column] = asked.worthwhile
    return replace(
        given,
        limit=_tightest_limits(records) | dict(given.limit),
        spread={k: v for k, v in spread.items() if v > 0} | dict(given.spread),
        worthwhile=worthwhile | dict(given.worthwhile),
    )


def _tightest_limits(records: Records) -> dict[str, float]:
    """The limits that the requirement sets, by column, at the thickness where each is tightest."""
    from trials.grade.conformity import limits_of

    of_coupon = thickness(records)
    thick = list(of_coupon.values()) if isinstance(of_coupon, Mapping) else [of_coupon]
    known_mm = [value for value in thick if value is not None]
    if len(known_mm) < len(thick):
        return {}
    known = limits_of(records.trial.application.required, known_mm)
    limits = (("u_mm", known.squareness_mm), ("rz5_um", known.roughness_um))
    return {column: float(np.min(values)) for column, values in limits if values is not None}


def _reference(given: Against) -> pd.DataFrame | None:
    if given.reference is None:
        return None
    readings = read_inspections(given.reference, needed=())
    lost = [name for name in readings.columns if name not in given.stated]
    if lost:
        raise InputError(
            "the stated value of the reference piece is missing",
            file=str(given.reference),
            column=lost[0],
            do=f"Give it with --stated {lost[0]}=VALUE, and its U with --stated-u.",
        )
    return readings.frame


def _result(column: str, frame: pd.DataFrame, given: Against, reference: pd.DataFrame | None) -> BenchResult:
    from trials.bench.gauge import measurement_study, reference_bias, remeasured

    values, places, who = remeasured(
        frame.rename(columns={column: "value"})[["coupon", "reading", "inspector", "value"]]
    )
    quantity = next(known for known in QUANTITIES.values() if known.column == column)
    bias = None
    if reference is not None and column in reference.columns:
        seen = reference[column].dropna().to_numpy()
        bias = reference_bias(seen, given.stated[column], given.stated_u.get(column, 0.0), unit=quantity.unit)
    worthwhile = _in_units(given.worthwhile.get(column), quantity, float(np.mean(values)))
    limit, spread = given.limit.get(column), given.spread.get(column)
    other = given.other.get(column, 0.0)
    study = measurement_study(values, places, who, limit, spread, worthwhile, bias, other, unit=quantity.unit)
    readings = pd.DataFrame({"place": places, "inspector": who, "value": values})
    return BenchResult(column, quantity.label, quantity.unit, study, bias, limit, spread, worthwhile, readings)


def _in_units(text: str | None, quantity: Quantity, level: float) -> float | None:
    """A worthwhile difference in the unit of the column; a share is one of the mean reading."""
    if text is None or quantity.scale == Scale.GRADE:
        return None
    try:
        amount = amount_on_scale(text, quantity, level, "worthwhile difference")
    except ValueError as error:
        raise InputError(str(error), found=text, do="Write it as '15 %' or '3 um'.") from None
    return level * math.expm1(amount) if quantity.scale == Scale.LOG else amount


def _agreement(frame: pd.DataFrame) -> Agreement:
    """Agreement on dross grades; the first grade that an inspector gave a coupon is his first, at whatever repeat."""
    from trials.bench.agreement import agree_on_grades

    rows = frame[frame[DROSS].notna()].sort_values("repeat", kind="stable")
    turn = rows.groupby(["coupon", "inspector"], sort=False).cumcount()
    return agree_on_grades(rows["coupon"], rows["inspector"], rows[DROSS], turn)


def keep_study_picture(found: BenchStudy, path: Path) -> None:
    """Draw what inspectors read at each place, one strip per column, into an SVG, PNG or PDF file."""
    from trials.report.figures.inspectors import Strip, inspectors_figure
    from trials.report.pictures import picture_bytes
    from trials.steps.files import write_bytes

    if not found.results:
        raise InputError("nothing to draw: no measured column was studied", file=str(path), do="Leave --picture out.")
    strips = [Strip(r.label, r.unit, r.readings, r.study.expanded, r.worthwhile) for r in found.results]
    write_bytes(path, picture_bytes(inspectors_figure(strips), path.suffix))
