"""From files that people fill in to checked tables. This is the face of the room."""

from typing import TYPE_CHECKING

from trials.late import fetched_late

if TYPE_CHECKING:
    from trials.store.intake.adopt import Adoption, Keys, adopt
    from trials.store.intake.adopted_file import ASSUMED_WORTHWHILE, AdoptedResponse
    from trials.store.intake.bench_file import BenchFile, read_bench
    from trials.store.intake.inspections import read_inspections
    from trials.store.intake.reading_cells import bench_cells, refuse_bad_cells
    from trials.store.intake.readings import read_plain_readings
    from trials.store.intake.traces import Points, place_of, point_files, read_points
    from trials.store.intake.typed_tables import read_cuts, read_mounts, read_sheets
    from trials.store.tables import FileTable, number_in, read_table, text_in, yes_no_in

__all__ = fetched_late(
    __name__,
    {
        "adopt": "Adoption Keys adopt",
        "adopted_file": "ASSUMED_WORTHWHILE AdoptedResponse",
        "bench_file": "BenchFile read_bench",
        "inspections": "read_inspections",
        "reading_cells": "bench_cells refuse_bad_cells",
        "readings": "read_plain_readings",
        "traces": "Points place_of point_files read_points",
        "typed_tables": "read_cuts read_mounts read_sheets",
        "trials.store.tables": "FileTable number_in read_table text_in yes_no_in",
    },
)
