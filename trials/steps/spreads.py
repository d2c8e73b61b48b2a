"""Spreads for planning, taken from a pilot or an earlier trial in another folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trials.errors import InputError, TrialError
from trials.findings import Finding
from trials.trial import Expected, Trial

if TYPE_CHECKING:
    from trials.plan.settling.open_spreads import OpenSpreads
    from trials.plan.settling.problem import Problem
    from trials.plan.settling.request import Option


@dataclass(frozen=True)
class KnownSpreads:
    """A trial with the spreads of another one in place of its own, and what they leave open, by response."""

    trial: Trial
    spreads: Mapping[str, OpenSpreads]

    @property
    def open(self) -> dict[str, tuple[Mapping[str, float], ...]]:
        """Sets of variances that are equally likely, by response."""
        return {name: known.drawn for name, known in self.spreads.items()}

    def findings(self, problem: Problem, best: Option, chance: float) -> list[Finding]:
        """Where the spreads come from, and what they leave open of a plan and of what this chance needs."""
        from trials.plan.settling.open_spreads import range_of

        return [range_of(problem, best, name, known, chance) for name, known in self.spreads.items()]


def spreads_from(trial: Trial, folder: Path | str) -> KnownSpreads:
    """Spreads of the primaries of a trial, as the readings of another trial folder show them.

    Raises
    ------
    InputError
        If the other folder has no readings of a primary response that is planned for, or they show no spread.
    """
    from trials.steps.fit import evidence
    from trials.steps.load import load

    records = load(folder)
    tables = evidence(records).tables
    names = [name for name in trial.primaries if name in tables and name in records.trial.responses]
    if not names:
        raise InputError(
            "has no readings of a primary response of this trial",
            file=str(folder),
            allowed=", ".join(trial.primaries),
            do="Give the folder of a trial that measured one of them.",
        )
    found = {name: _open(records.trial, name, tables[name], str(folder)) for name in names}
    return KnownSpreads(_with_spreads(trial, found), found)


def _open(trial: Trial, name: str, table: object, folder: str) -> OpenSpreads:
    from trials.decide.prepare import prepare
    from trials.infer.chance import find_layers
    from trials.plan.settling.open_spreads import open_spreads

    try:
        ready = prepare(trial, name, table)  # type: ignore[arg-type]
        groups = {layer: ready.structure.groups[layer] for layer in _LAYERS if layer in ready.structure.groups}
        return open_spreads(find_layers(ready.y, ready.fixed, groups).squares, folder)
    except TrialError as error:
        raise InputError(
            f"shows no spread of {name} ({str(error).rstrip('.')})", file=folder, do="Give another folder."
        ) from None


_LAYERS = ("sheet", "specimen", "mount", "coupon")


def _with_spreads(trial: Trial, found: Mapping[str, OpenSpreads]) -> Trial:
    """The trial with the estimated spreads as its expected ones, the level as it was."""
    responses = dict(trial.responses)
    for name, known in found.items():
        asked = responses[name]
        before = asked.expected or Expected()
        sds = {source: _typed(trial, name, variance**0.5) for source, variance in known.point.items()}
        sheet = {"sheet": before.sheet}
        expected = Expected(level=before.level, source="earlier trial", **{**sheet, **sds})
        responses[name] = asked.model_copy(update={"expected": expected})
    return trial.model_copy(update={"responses": responses})


def _typed(trial: Trial, name: str, sd: float) -> str | None:
    """A standard deviation of the model's scale as it is typed in a trial file."""
    import math

    quantity = trial.quantity(name)
    if sd <= 0:
        return None
    return f"{100 * math.expm1(sd):.12g} %" if quantity.scale == "log" else f"{sd:.12g} {quantity.unit}"
