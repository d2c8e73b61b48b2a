"""The two workbooks of a trial: one for the machine, one for the bench. This is the face of the room."""

from trials.store.workbooks.bench_book import bench_workbook, measuring_order
from trials.store.workbooks.run_book import run_workbook

__all__ = ["bench_workbook", "measuring_order", "run_workbook"]
