"""Paper: verdict, run sheet, bench card and labels as PDF bytes; the caller writes the files.

Each function gives the same bytes for the same input; the date on the paper is `made_on`, never the clock's.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pandas as pd

from trials.decide.results import Study
from trials.findings import Finding
from trials.report.bench_paper import bench_card_data, labels_data, repeat_labels_data, run_sheet_data
from trials.report.extras import Picture, Section, VerdictExtras
from trials.report.typeset import pdf
from trials.report.verdict import verdict_data
from trials.trial import Trial

__all__ = [
    "Picture",
    "Section",
    "VerdictExtras",
    "bench_card_pdf",
    "labels_pdf",
    "repeat_labels_pdf",
    "run_sheet_pdf",
    "verdict_pdf",
]


def verdict_pdf(study: Study, trial: Trial, made_on: date, extras: VerdictExtras | None = None) -> bytes:
    """The verdict: one page for the manager, then the engineer's pages."""
    return pdf(
        "verdict.typ",
        verdict_data(study, trial, made_on, extras or VerdictExtras()),
        made_on,
        trial.trial.invented,
        trial.trial.paper,
    )


def run_sheet_pdf(
    trial: Trial,
    coupons: pd.DataFrame,
    mounts: pd.DataFrame,
    sheets: pd.DataFrame,
    said: Sequence[Finding],
    made_on: date,
) -> bytes:
    """The run sheet, from the planned tables.

    coupons: `coupon, order, sheet, mount, nozzle, specimen`, one column per factor, `x_mm, y_mm, edge, cut_direction`
    (no maps without them); mounts: `mount, order, sheet, nozzle, specimen`; sheets: `sheet` and, where known,
    `heat_lot, surface, gas_purity`; said: what the plan cannot tell apart and what was said about its layout.
    """
    return pdf(
        "run_sheet.typ",
        run_sheet_data(trial, coupons, mounts, sheets, said, made_on),
        made_on,
        trial.trial.invented,
        trial.trial.paper,
    )


def bench_card_pdf(
    trial: Trial, made_on: date, coupons: Sequence[tuple[str, str]] = (), repeats: Sequence[tuple[str, str]] = ()
) -> bytes:
    """The bench card: order of work, depths and sides, dross scale with drawings; no nozzle type and no setting.

    coupons, repeats: (mark, edge to measure) in the order of measuring.
    """
    data = bench_card_data(trial, made_on, coupons, repeats)
    return pdf("bench_card.typ", data, made_on, trial.trial.invented, trial.trial.paper)


def labels_pdf(trial: Trial, marks: Sequence[tuple[str, int]], made_on: date) -> bytes:
    """Labels in the order of measuring, `marks` as (mark, place); no nozzle, no setting: the bench stays blind."""
    return pdf("labels.typ", labels_data(trial, marks, made_on), made_on, trial.trial.invented, trial.trial.paper)


def repeat_labels_pdf(trial: Trial, pairs: Sequence[tuple[str, str]], made_on: date) -> bytes:
    """Labels of the blind repeats, `pairs` as (second mark, coupon): for whoever hands the coupons to the bench."""
    data = repeat_labels_data(trial, pairs, made_on)
    return pdf("repeat_labels.typ", data, made_on, trial.trial.invented, trial.trial.paper)
