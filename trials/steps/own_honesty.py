"""A trial's own honesty, simulated once for a look and kept with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from trials.store.records import KeptLook
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.decide.evidence import Evidence
    from trials.decide.results import OwnHonesty


def honesty_for(
    trial: Trial, found: Evidence, kept: KeptLook | None, progress: Callable[[int, int], None] | None = None
) -> tuple[OwnHonesty, ...]:
    """As kept with the look; simulated for a new one. None for looks of version 0.1.0, which kept none."""
    from trials.decide.own_honesty import honesty_of

    if kept is None:
        return honesty_of(trial, found, progress)
    study = kept.summary.get("study")
    return tuple(map(_revived, study.get("honesty", ()))) if isinstance(study, Mapping) else ()


def _revived(data: Mapping[str, Any]) -> OwnHonesty:
    from trials.decide.results import HonestyRow, OwnHonesty
    from trials.infer.answer import Answer

    def shares(figures: Mapping[str, float]) -> dict[Answer, float]:
        return {Answer(word): share for word, share in figures.items()}

    rows = tuple(HonestyRow(r["nozzle"], shares(r["at_none"]), shares(r["at_worthwhile"])) for r in data["rows"])
    figures = ("wrong_at_none", "wrong_at_worthwhile", "settled_at_none", "settled_at_worthwhile")
    return OwnHonesty(data["response"], data["trials"], **{name: data[name] for name in figures}, rows=rows)
