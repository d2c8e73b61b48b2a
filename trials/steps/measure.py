"""From files of an instrument to readings: traces and scans measured, alone or into a trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from trials.bench.roughness import Roughness, Spikes
from trials.bench.squareness import Squareness
from trials.errors import InputError, TrialError
from trials.findings import Finding
from trials.steps.files import write_bytes
from trials.steps.grade import thickness
from trials.steps.load import load
from trials.store import records as store
from trials.store.intake.traces import Kind, Place, Points, place_of, point_files, read_points
from trials.store.records.entry import Recorded
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import Records
from trials.store.records.rules import check_coupon, check_was_cut, outcomes
from trials.words.findings import say

RZ5_DIGITS, U_DIGITS = 4, 5
"""Digits after the point that are kept of a reading: a tenth of a nanometre of Rz5, ten of u, far below any bench."""


@dataclass(frozen=True)
class Settings:
    """How files are read and measured. None and empty take what the file or the trial says.

    spacing_mm: of heights alone; along_unit, across_unit: of columns that name none; automatic: `ISO 21920-3` or
    `ISO 4288`, used where no cut-off is given; spikes: refuse, bridge or keep.
    """

    kind: Kind | None = None
    spacing_mm: float | None = None
    along_unit: str = ""
    across_unit: str = ""
    cutoff_mm: float | None = None
    automatic: str = "ISO 21920-3"
    tip_um: float | None = None
    spikes: Spikes = "refuse"
    thickness_mm: float | None = None
    angle_deg: float = 90.0
    delta_a_mm: float | None = None


@dataclass(frozen=True)
class Measured:
    """One file measured: `result` is a `Roughness` or a `Squareness`; warnings: what to look at; notes: what was
    changed or passed over."""

    file: str
    kind: Kind
    result: Roughness | Squareness
    warnings: tuple[Finding, ...]
    notes: tuple[Finding, ...]

    @property
    def value(self) -> float:
        """Rz5 in um or u in mm, as it is kept."""
        if isinstance(self.result, Roughness):
            return round(float(self.result.rz5), RZ5_DIGITS)
        return round(float(self.result.u_mm), U_DIGITS)

    @property
    def column(self) -> str:
        """Column of the reading."""
        return "rz5_um" if isinstance(self.result, Roughness) else "u_mm"


def measure_files(sources: Sequence[Path], settings: Settings) -> list[Measured]:
    """Each trace or scan among files and folders, measured; the first that cannot be used raises InputError."""
    return [_measure(path, settings) for path in point_files(sources)]


def _measure(path: Path, settings: Settings) -> Measured:
    points = read_points(path, settings.kind, settings.along_unit, settings.across_unit)
    try:
        return (_trace if points.kind == "roughness" else _scan)(points, settings)
    except InputError as error:
        raise replace(error, file=error.file or str(path)) from None
    except TrialError as error:
        raise type(error)(f"{path}: {error}") from None


def _trace(points: Points, settings: Settings) -> Measured:
    from trials.bench.roughness import measure_profile
    from trials.bench.traces import Trace, prepare_trace

    if points.along is None:
        if settings.spacing_mm is None:
            raise InputError("the file holds heights alone", do="Give their distance with --spacing, such as 0.5um.")
        trace = Trace(points.across, settings.spacing_mm, ())
    else:
        trace = prepare_trace(points.along, points.across)
    automatic = settings.automatic if settings.cutoff_mm is None else None
    found = measure_profile(
        trace.heights_um, trace.spacing_mm, settings.cutoff_mm, automatic, settings.tip_um, settings.spikes
    )
    return Measured(points.file, "roughness", found, found.warnings, (*points.said, *trace.notes, *found.notes))


def _scan(points: Points, settings: Settings) -> Measured:
    from trials.bench.squareness import perpendicularity

    if settings.thickness_mm is None:
        raise InputError("the thickness is missing", column="--thickness", do="Give it in mm.")
    if points.along is None:
        raise InputError("the scan holds no depths", do="Export depth and offset together.")
    found = perpendicularity(
        points.along, points.across, settings.thickness_mm, settings.angle_deg, settings.delta_a_mm
    )
    return Measured(points.file, "squareness", found, found.warnings, (*points.said, *found.notes))


def measure_into(
    folder: Path,
    sources: Sequence[Path],
    settings: Settings,
    details: Mapping[str, Any],
    who: str = "",
    pictures: Path | None = None,
) -> tuple[Recorded, list[Measured]]:
    """Measure files and record them as readings of a trial; if one file cannot be used, nothing is recorded.

    The file name carries coupon and reading (`trials.store.intake.traces.place_of`); the cut-off is the trial's, the
    thickness the coupon's. details: any of inspector, instrument, depth_mm, measured_on, kept with each reading.
    pictures: where pictures will go, checked before anything is recorded.

    Raises
    ------
    InputError
        If a file, its name or its coupon cannot be used, or another cut-off than the trial's is asked for.
    """
    records = load(folder)
    cutoff = records.trial.bench.cutoff_mm
    if settings.cutoff_mm not in (None, cutoff):
        raise InputError(
            "not the cut-off of the trial",
            column="--cutoff",
            found=settings.cutoff_mm,
            allowed=f"{cutoff:g} mm",
            do="Leave it out; a trial keeps one cut-off.",
        )
    files = point_files(sources)
    if pictures is not None:
        picture_paths(files, pictures)
    places = _places(files, records)
    of_coupon = thickness(records)
    measured, rows = [], []
    for path in files:
        place = places[path]
        mine = of_coupon.get(place.coupon) if isinstance(of_coupon, Mapping) else of_coupon
        found = _measure(path, _for_trial(settings, cutoff, mine))
        measured.append(found)
        rows.append(_reading(found, place, details))
    _refuse_twins(rows, files)
    return store.record_readings(folder, pd.DataFrame(rows, columns=list(READING_COLUMNS)), who), measured


def _for_trial(settings: Settings, cutoff_mm: float, thickness_mm: float | None) -> Settings:
    return replace(settings, cutoff_mm=cutoff_mm, thickness_mm=settings.thickness_mm or thickness_mm)


def _places(files: Sequence[Path], records: Records) -> dict[Path, Place]:
    """What each file name says, checked against the plan and the cuts before anything is measured."""
    marks, recorded = set(records.coupons["coupon"]), outcomes(records)
    places = {path: place_of(path) for path in files}
    for path, place in places.items():
        check_coupon(place.coupon, marks, file=str(path), column="")
        check_was_cut(place.coupon, recorded, file=str(path), column="")
    return places


def _reading(found: Measured, place: Place, details: Mapping[str, Any]) -> dict[str, Any]:
    row = {"coupon": place.coupon, "reading": place.reading, "repeat": place.repeat, "side": place.side}
    row |= {"field": found.column, "value": found.value, **details}
    row |= {"cutoff_mm": found.result.cutoff_mm} if isinstance(found.result, Roughness) else {"depth_mm": None}
    return row | {"note": "; ".join((Path(found.file).name, *(say(note) for note in found.notes)))}


def _refuse_twins(rows: Sequence[dict[str, Any]], files: Sequence[Path]) -> None:
    seen: dict[tuple[Any, ...], Path] = {}
    for row, path in zip(rows, files, strict=True):
        key = (row["coupon"], row["reading"], row["repeat"], row["field"])
        if key in seen:
            raise InputError(
                f"is the same reading as {seen[key]}", file=str(path), do="Keep one; a second measurement is -again1."
            )
        seen[key] = path


def picture_paths(files: Sequence[Path], target: Path) -> list[Path]:
    """Where pictures go: the file `target` where it is one, else one SVG for each file in the folder `target`.

    Raises
    ------
    InputError
        If one picture is named for several files, or its ending is not a kind of picture.
    """
    from trials.report.pictures import check_suffix

    if not target.suffix:
        return [target / f"{path.stem}.svg" for path in files]
    check_suffix(target.suffix)
    if len(files) > 1:
        raise InputError("one picture for several files", file=str(target), do="Name a folder for the pictures.")
    return [target]


def keep_pictures(measured: Sequence[Measured], target: Path) -> list[Path]:
    """Draw what was measured, to where `picture_paths` says."""
    from trials.report.figures import scan_figure, trace_figure
    from trials.report.pictures import picture_bytes

    paths = picture_paths([Path(found.file) for found in measured], target)
    for path, found in zip(paths, measured, strict=True):
        if isinstance(found.result, Roughness):
            drawn = trace_figure(found.result)
        else:
            drawn = scan_figure(found.result, found.result.to_mm + found.result.delta_a_mm)
        write_bytes(path, picture_bytes(drawn, path.suffix))
    return paths
