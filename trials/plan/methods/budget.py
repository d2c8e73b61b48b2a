"""A budget of coupons spent where the model of the trial needs them, the nozzle set per mount."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import Infeasible, InputError
from trials.infer.model import Axis, FixedModel, build_model
from trials.plan.layout import MountRuns
from trials.plan.methods.plain import Draft, Progress, all_mounts, repeat_words
from trials.plan.optimal import choose_rows
from trials.plan.settings import Setting, allowed_settings, crossed, left_out, limit_corners, repeat_setting
from trials.trial import Trial, amount_on_scale

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
    found = candidates(trial, trial.plan.coupons)
    ratios, said = _ratios(trial, mounts)
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
    for mount in mounts.itertuples():
        settings = [found.settings[row] for row in chosen.rows[mount_of == mount.mount]]
        repeat = repeat_setting(trial, mount.nozzle)[0]
        settings += [repeat] * trial.plan.repeats
        runs[mount.mount] = MountRuns(tuple(settings), tuple(i for i, s in enumerate(settings) if s == repeat))
    return Draft(mounts, runs, (*said, *_model_words(trial, found), *_count_words(trial, mounts, runs)))


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
    nozzles, settings = [], []
    for nozzle in trial.types:
        own = allowed_settings(trial, nozzle) + limit_corners(trial, nozzle)
        nozzles += [nozzle] * len(own)
        settings += own
    axes = [Axis(NOZZLE, trial.types)] if len(trial.types) > 1 else []
    axes += [Axis(name, asked.levels) for name, asked in trial.factors.items() if len(asked.levels) > 1]
    columns = _columns(trial, nozzles, settings)
    values = {axis.name: columns[axis.name] for axis in axes}
    model = build_model(axes, values, NOZZLE if len(trial.types) > 1 else None, units=coupons)
    coordinates = np.column_stack([_numbers(columns[axis.name], axis) for axis in axes])
    return Candidates(np.asarray(nozzles, dtype=object), settings, model, model.matrix(values), coordinates)


def _columns(trial: Trial, nozzles: list[str], settings: list[Setting]) -> dict[str, np.ndarray]:
    columns = {NOZZLE: np.asarray(nozzles, dtype=object)}
    for name, asked in trial.factors.items():
        columns[name] = np.asarray([s[name] for s in settings], dtype=object if asked.is_text else float)
    return columns


def _numbers(values: np.ndarray, axis: Axis) -> np.ndarray:
    return np.asarray([axis.levels.index(v) for v in values], dtype=float) if axis.is_text else values


def _codes(labels: pd.DataFrame, mounts: np.ndarray, name: str) -> np.ndarray:
    return mounts if name == "mount" else labels.loc[mounts, name].to_numpy(object)


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


def _ratios(trial: Trial, mounts: pd.DataFrame) -> tuple[dict[str, float], list[str]]:
    """Variance of specimen, mount and sheet over that of a coupon's mean, for the groupings that the plan has."""
    name = trial.primaries[0]
    asked, quantity = trial.responses[name].expected, trial.quantity(name)
    wanted = ["mount"] + ["specimen"] * (mounts["specimen"].nunique() > 1) + ["sheet"] * (mounts["sheet"].nunique() > 1)

    def variance(source: str) -> float | None:
        text = getattr(asked, source) if asked else None
        if text is None:
            return None
        try:
            return amount_on_scale(text, quantity, asked.level, f"responses.{name}.expected.{source}") ** 2
        except ValueError as error:
            raise InputError(str(error), do="Correct the trial file.") from None

    coupon = (variance("coupon") or 0.0) + (variance("reading") or 0.0) / trial.responses[name].readings
    found = {source: variance(source) / coupon for source in wanted if coupon and variance(source) is not None}
    missing = [source for source in wanted if source not in found]
    said = []
    if missing:
        unknown = ", ".join(missing if coupon else [*missing, "coupon"])
        said.append(
            f"No expected spread of {name} is given for {unknown}: the plan counts {', '.join(missing)} as large as "
            "the spread from coupon to coupon."
        )
    return {source: found.get(source, 1.0) for source in wanted}, said


def _model_words(trial: Trial, found: Candidates) -> list[str]:
    aim = "effects (D-criterion)" if trial.plan.aim == "effects" else "prediction (I-criterion)"
    said = [
        f"Settings chosen for {aim} under the model of the analysis ({found.rows.shape[1]} coefficients: the mean, "
        f"{', '.join(term.name for term in found.model.terms)})."
    ]
    if found.model.dropped:
        said.append(f"So few coupons or levels do not carry: {', '.join(found.model.dropped)}.")
    return said + left_out(trial)


def _count_words(trial: Trial, mounts: pd.DataFrame, runs: dict[str, MountRuns]) -> list[str]:
    """Unequal nozzle counts, missing repeats, and settings between the levels, in sentences."""
    counts = dict.fromkeys(trial.types, 0)
    different = set()
    for mount in mounts.itertuples():
        counts[mount.nozzle] += len(runs[mount.mount].settings)
        different |= {(mount.nozzle, *setting.values()) for setting in runs[mount.mount].settings}
    said = repeat_words(trial)
    if len(set(counts.values())) > 1:
        shown = ", ".join(f"{nozzle} {count}" for nozzle, count in counts.items())
        said.append(f"The types get unequal numbers of coupons: {shown}.")
    if len(different) == sum(counts.values()):
        said.append(
            "No type is cut twice at any setting, so the model cannot be checked against true repeats; "
            f"plan.repeats = {trial.plan.repeats + 1} forces repeats at today's setting, out of the same budget."
        )
    grid = {tuple(setting.values()) for setting in crossed(trial)}
    between = {tuple(setting.values()) for run in runs.values() for setting in run.settings} - grid
    if between:
        said.append(f"{len(between)} settings lie on a limit or at today's setting, between the levels.")
    return said
