"""Paper: verdict, run sheet, bench card and labels as PDF bytes; the caller writes the files."""

from __future__ import annotations

from datetime import date

from trials.decide.results import Study
from trials.report.extras import Picture, Section, VerdictExtras
from trials.report.typeset import pdf
from trials.report.verdict import verdict_data
from trials.trial import Trial

__all__ = ["Picture", "Section", "VerdictExtras", "verdict_pdf"]


def verdict_pdf(study: Study, trial: Trial, made_on: date, extras: VerdictExtras | None = None) -> bytes:
    """The verdict: one page for the manager, then the engineer's pages; the same input gives the same bytes."""
    return pdf("verdict.typ", verdict_data(study, trial, made_on, extras or VerdictExtras()), made_on)
