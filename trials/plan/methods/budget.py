"""A budget of coupons spent where the model of the trial needs them, the nozzle set per mount."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import Infeasible, InputError
from trials.findings import About, Fact, Finding, Weight
from trials.infer.model import Axis, FixedModel, build_model
from trials.plan.kinds import PlanKind
from trials.plan.layout import MountRuns
from trials.plan.methods.plain import Draft, Progress, all_mounts, mount_rows, moved_repeats
from trials.plan.optimal import choose_rows
from trials.plan.settings import Setting, allowed_settings, crossed, left_out, limit_corners, repeat_setting
from trials.trial import Curves, Trial, expected_spreads

NOZZLE = "nozzle"


@dataclass(frozen=True)
class Candidates:
    """What may be cut: nozzle type and setting of each row, the model, and its matrix (N, k)."""

    nozzles: np.ndarray
    settings: list[Setting]
    model: FixedModel
    rows: np.ndarray
    coordinates: np.ndarray

    def matrix(self, trial: Trial, nozzles: list[str], settings: list[Setting]) -> np.ndarray:
        """Model matrix of other settings of the same trial."""
        return self.model.matrix(_columns(trial, nozzles, settings))


def within_budget(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """`plan.coupons` coupons over all mounts, chosen for effects (D-criterion) or for prediction (I-criterion).

    Raises
    ------
    Infeasible
        If no budget is given, it is smaller than the repeats and one more coupon per mount, or no plan within the
        limits estimates the model.
    """
    mounts = all_mounts(trial, rng)
    share = _shares(trial, mounts, rng)
    found = candidates(trial, int(share.sum()) + len(mounts) * trial.plan.repeats)
    ratios, assumed = _ratios(trial, mounts)
    mount_of = np.repeat(mounts["mount"].to_numpy(object), share)
    again = mounts["mount"].repeat(trial.plan.repeats).to_numpy(object)
    labels = mounts.set_index("mount")
    own = labels.loc[mount_of, "nozzle"].to_numpy(object)
    kept = [(labels.loc[m, "nozzle"], repeat_setting(trial, labels.loc[m, "nozzle"])[0]) for m in again]
    strata = [(_codes(labels, mount_of, name), ratio) for name, ratio in ratios.items()]
    chosen = choose_rows(
        found.rows,
        int(share.sum()),
        criterion="D" if trial.plan.aim == "effects" else "I",
        moments=found.rows.T @ found.rows / len(found.rows),
        strata=strata,
        allowed=[np.flatnonzero(found.nozzles == nozzle) for nozzle in own],
        keep_rows=found.matrix(trial, *map(list, zip(*kept, strict=True))) if kept else None,
        keep_strata=[_codes(labels, again, name) for name in ratios] if kept else None,
        coordinates=found.coordinates,
        seed=int(rng.integers(2**31)),
        progress=None if progress is None else lambda done, _: progress(round(100 * done), 100),
    )
    runs = {}
    for mount, nozzle in mount_rows(mounts):
        settings = [found.settings[row] for row in chosen.rows[mount_of == mount]]
        repeat = repeat_setting(trial, nozzle)[0]
        settings += [repeat] * trial.plan.repeats
        runs[mount] = MountRuns(tuple(settings), tuple(i for i, s in enumerate(settings) if s == repeat))
    return Draft(mounts, runs, (*assumed, *_model_chosen(trial, found), *_counted(trial, mounts, runs)))


def candidates(trial: Trial, coupons: int) -> Candidates:
    """Every allowed crossing of each type and the corners that limits cut off, under the model of the analysis.

    coupons: terms that so few coupons cannot carry are left out, highest first, as in the analysis.

    Raises
    ------
    Infeasible
        If there is neither a second nozzle type nor a factor to vary.
    """
    if len(trial.types) < 2 and not trial.factors:
        raise Infeasible("One nozzle type and no factor: there is nothing to choose. Add a type or a factor.")
    nozzles: list[str] = []
    settings: list[Setting] = []
    for kind in trial.types:
        own = allowed_settings(trial, kind) + limit_corners(trial, kind)
        nozzles += [kind] * len(own)
        settings += own
    axes = [Axis(NOZZLE, trial.types)] if len(trial.types) > 1 else []
    axes += [Axis(name, asked.levels) for name, asked in trial.factors.items() if len(asked.levels) > 1]
    columns = _columns(trial, nozzles, settings)
    values = {axis.name: columns[axis.name] for axis in axes}
    nozzle = NOZZLE if len(trial.types) > 1 else None
    model = build_model(axes, values, nozzle, units=coupons, common_curves=trial.plan.curves is Curves.COMMON)
    coordinates = np.column_stack([_numbers(columns[axis.name], axis) for axis in axes])
    return Candidates(np.asarray(nozzles, dtype=object), settings, model, model.matrix(values), coordinates)


def _columns(trial: Trial, nozzles: list[str], settings: list[Setting]) -> dict[str, np.ndarray]:
    columns = {NOZZLE: np.asarray(nozzles, dtype=object)}
    for name, asked in trial.factors.items():
        columns[name] = np.asarray([s[name] for s in settings], dtype=object if asked.is_text else float)
    return columns


def _numbers(values: np.ndarray, axis: Axis) -> np.ndarray:
    return np.asarray([axis.levels.index(v) for v in values], dtype=float) if axis.is_text else np.asarray(values)


def _codes(labels: pd.DataFrame, mounts: np.ndarray, name: str) -> np.ndarray:
    return mounts if name == "mount" else np.asarray(labels.loc[mounts, name], dtype=object)


def _shares(trial: Trial, mounts: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    """Coupons to choose per mount (mounts,), equal within one; the odd ones go round the types."""
    budget, per_mount = trial.plan.coupons, trial.plan.repeats
    if budget is None:
        raise Infeasible("An optimal plan spends a budget: set plan.coupons to the number of coupons you can cut.")
    least = len(mounts) * (per_mount + 1)
    if budget < least:
        raise Infeasible(
            f"plan.coupons = {budget} leaves some of {len(mounts)} mounts without a coupon of their own beside "
            f"{per_mount} repeats each; set it to {least} or more, or use fewer mounts."
        )
    each, odd = divmod(budget - len(mounts) * per_mount, len(mounts))
    turn = mounts.groupby("nozzle").cumcount().to_numpy()
    first = np.lexsort((rng.random(len(mounts)), turn))[:odd]
    share = np.full(len(mounts), each)
    share[first] += 1
    return share


def _ratios(trial: Trial, mounts: pd.DataFrame) -> tuple[dict[str, float], list[Finding]]:
    """Variance of specimen, mount and sheet over that of a coupon's mean, for the groupings that the plan has."""
    name = trial.primaries[0]
    wanted = ["mount"] + ["specimen"] * (mounts["specimen"].nunique() > 1) + ["sheet"] * (mounts["sheet"].nunique() > 1)
    known = _variances(trial, name)
    coupon = coupon_variance(known, trial.responses[name].readings)
    found = {source: known[source] / coupon for source in wanted if coupon and source in known}
    missing = tuple(source for source in wanted if source not in found)
    if not missing:
        return found, []
    facts: dict[str, Fact] = {"unknown": missing if coupon else (*missing, "coupon"), "assumed": missing}
    assumed = Finding(PlanKind.SPREADS_ASSUMED, About(response=name), facts, Weight.LOOK_AT)
    return {source: found.get(source, 1.0) for source in wanted}, [assumed]


def coupon_variance(variances: Mapping[str, float], readings: int) -> float:
    """Variance of a coupon's mean over its readings, from the variances by source; a missing one counts as none."""
    return variances.get("coupon", 0.0) + variances.get("reading", 0.0) / readings


def _variances(trial: Trial, name: str) -> dict[str, float]:
    """Expected variances of a response by source, as far as the trial file states them."""
    try:
        return {source: sd**2 for source, sd in expected_spreads(trial, name).items()}
    except ValueError as error:
        raise InputError(str(error), do="Correct the trial file.") from None


def _model_chosen(trial: Trial, found: Candidates) -> list[Finding]:
    facts: dict[str, Fact] = {
        "aim": trial.plan.aim,
        "coefficients": found.rows.shape[1],
        "terms": tuple(term.name for term in found.model.terms),
    }
    said = [Finding(PlanKind.CHOSEN_FOR, facts=facts)]
    if found.model.dropped:
        facts = {"terms": found.model.dropped}
        said.append(Finding(PlanKind.TERMS_NOT_CARRIED, facts=facts, weight=Weight.LOOK_AT))
    return said + left_out(trial)


def _counted(trial: Trial, mounts: pd.DataFrame, runs: dict[str, MountRuns]) -> list[Finding]:
    """Unequal nozzle counts, missing repeats, and settings between the levels."""
    cut = [(nozzle, *setting.values()) for mount, nozzle in mount_rows(mounts) for setting in runs[mount].settings]
    counts = {nozzle: sum(one[0] == nozzle for one in cut) for nozzle in trial.types}
    found = moved_repeats(trial)
    if len(set(counts.values())) > 1:
        found.append(Finding(PlanKind.UNEQUAL_COUPONS, facts={"coupons": tuple(counts.items())}))
    if len(set(cut)) == len(cut):
        facts = {"repeats": trial.plan.repeats + 1}
        found.append(Finding(PlanKind.NO_TRUE_REPEATS, facts=facts, weight=Weight.LOOK_AT))
    between = {one[1:] for one in cut} - {tuple(setting.values()) for setting in crossed(trial)}
    if between:
        found.append(Finding(PlanKind.BETWEEN_LEVELS, facts={"settings": len(between)}))
    return found
