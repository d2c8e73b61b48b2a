"""What it takes to settle an open answer: the pieces that the records call for, cut and measured like those before."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from trials.decide.decision_result import MoreCutting
from trials.errors import TrialError
from trials.findings import Finding
from trials.plan.kinds import PlanKind
from trials.plan.settling.costs import prices_of
from trials.plan.settling.request import Candidate
from trials.trial import Trial


def more_cutting(trial: Trial, needed: Sequence[Finding], coupons: pd.DataFrame) -> MoreCutting | None:
    """The cutting that would most likely settle the answer, whatever the true difference is.

    needed: how many pieces of each type settle each open response; the most counts. coupons: as planned or cut, one row
    each with `nozzle, specimen, mount`. None where no number of pieces would do, or the coupons cannot be laid out.
    """
    counts = [_pieces(finding) for finding in needed if finding.kind == PlanKind.NEEDED]
    if not counts or None in counts or not coupons["mount"].astype(bool).all():
        return None
    pieces = max(n for n in counts if n is not None)
    finding = next(f for f in needed if f.kind == PlanKind.NEEDED)
    now, chance = finding.facts["specimens"], finding.facts["chance"]
    if not isinstance(now, int) or not isinstance(chance, float) or pieces <= now:
        return None
    mounts = max(1, round(coupons["mount"].nunique() / max(1, coupons["specimen"].nunique())))
    each = max(1, round(len(coupons) / coupons["mount"].nunique()))
    readings = max(asked.readings for asked in trial.responses.values())
    extra = Candidate((pieces - now,) * len(trial.nozzles), mounts, each, 0, readings)
    try:
        bill = prices_of(trial).bill(extra)
    except TrialError:
        return None
    return MoreCutting(
        chance=chance,
        specimens=pieces,
        now=now,
        coupons=extra.n_coupons,
        machine_hours=bill.machine_hours,
        bench_hours=bill.bench_hours,
        money=bill.money if trial.costs.stated else None,
        currency=trial.trial.currency,
    )


def _pieces(finding: Finding) -> int | None:
    """Pieces of a type that settle it, both where the difference is worthwhile and where there is none."""
    known = [finding.facts.get(name) for name in ("specimens_at_worthwhile", "specimens_at_zero")]
    counts = [n for n in known if isinstance(n, int)]
    return max(counts) if len(counts) == len(known) else None
