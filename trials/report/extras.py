"""What a verdict prints beside the study, and the small parts that its pages are made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from trials.findings import Finding


@dataclass(frozen=True)
class Picture:
    """A figure for a page: title, SVG text, what it shows in words for those who cannot see it, caption."""

    title: str
    svg: str
    alt: str
    caption: str = ""


@dataclass(frozen=True)
class Section:
    """One more section of the verdict, for results that the study does not hold (best settings, lives, cost)."""

    title: str
    sentences: tuple[str, ...] = ()
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True)
class VerdictExtras:
    """What the study lacks; every field may be left out, and its part of the paper is then left out too.

    engineer: who answers for the trial; the trial file's own entry if empty.
    graded: one row per coupon, `coupon, nozzle, outcome, roughness_range, squareness_range, dross_grade, designation,
    meets, reasons` as `trials.grade.coupons` gives them.
    tables: by response, the rows that were analysed, one per reading: `coupon, cut_order, sheet, mount, specimen,
    nozzle`, the factor columns, `side` if recorded, `value` in the kept unit, and `residual` (on the model's scale) if
    the fit gives it. Coupons that were lost are not in it.
    changes: after freezing, with who and why; printed on the first page.
    kept_words: answers kept under an earlier rule to which the present one gives another; printed on the first page.
    planned: how the trial was laid out and what it could and could not show, as found when it was planned.
    freeze_hash: hash of the frozen settings; head: newest hash of the chain of the records.
    bench_facts: instruments, uncertainty, inspectors, cut-off and depth as recorded, one sentence each.
    days_cut, days_measured: days on which coupons were cut and readings taken; inspectors: who took them.
    sections: further sections, printed after the responses.
    software: name and version of the program as printed; this package's own if empty.
    """

    engineer: str = ""
    graded: pd.DataFrame | None = None
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    changes: tuple[Finding, ...] = ()
    kept_words: tuple[Finding, ...] = ()
    planned: tuple[Finding, ...] = ()
    freeze_hash: str = ""
    head: str = ""
    bench_facts: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    software: str = ""
    days_cut: tuple[date, ...] = ()
    days_measured: tuple[date, ...] = ()
    inspectors: tuple[str, ...] = ()
