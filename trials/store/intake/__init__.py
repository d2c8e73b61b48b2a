"""From files that people fill in to checked tables. This is the face of the room."""

from trials.store.intake.adopt import Adoption, Keys, adopt
from trials.store.intake.adopted_file import ASSUMED_WORTHWHILE, AdoptedResponse
from trials.store.intake.bench_file import BenchFile, read_bench
from trials.store.intake.inspections import read_inspections
from trials.store.intake.readings import read_plain_readings, read_readings
from trials.store.intake.traces import Points, place_of, point_files, read_points
from trials.store.intake.typed_tables import read_cuts, read_mounts, read_sheets
from trials.store.tables import FileTable, number_in, read_table, text_in, yes_no_in

__all__ = [
    "ASSUMED_WORTHWHILE",
    "AdoptedResponse",
    "Adoption",
    "BenchFile",
    "FileTable",
    "Keys",
    "Points",
    "adopt",
    "number_in",
    "place_of",
    "point_files",
    "read_bench",
    "read_cuts",
    "read_inspections",
    "read_mounts",
    "read_plain_readings",
    "read_points",
    "read_readings",
    "read_sheets",
    "read_table",
    "text_in",
    "yes_no_in",
]
