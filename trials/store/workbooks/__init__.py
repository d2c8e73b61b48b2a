"""The workbooks of a trial, for the machine and for the bench. This is the face of the room."""

from trials.store.workbooks.bench_book import bench_workbook, repeats_workbook
from trials.store.workbooks.orders import edges_to_measure, labelled, measuring_order, repeat_order, repeatable
from trials.store.workbooks.run_book import run_workbook

__all__ = [
    "bench_workbook",
    "edges_to_measure",
    "labelled",
    "measuring_order",
    "repeat_order",
    "repeatable",
    "repeats_workbook",
    "run_workbook",
]
