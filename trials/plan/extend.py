"""Going on with a trial that was cut: more mounts, points for curvature, or coupons that confirm a setting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
import pandas as pd

from trials.errors import Infeasible, InputError
from trials.findings import About, Fact, Finding, Weight, each_once
from trials.plan.assess.gain import gain_of_axial_points, gain_of_confirmation, gain_of_repeats
from trials.plan.cautions import nozzle_cautions
from trials.plan.choose import Plan, plan_size
from trials.plan.kinds import PlanKind
from trials.plan.layout import LayoutRequest, MountRequest, MountRuns, lay_out, place_mounts, sheet_balance
from trials.plan.methods.plain import dealt_runs, mount_rows
from trials.plan.settings import Setting, broken, limit_facts, setting_facts
from trials.trial import Level, Trial


class ExtensionKind(StrEnum):
    """What a further block is for.

    Repeat mounts cut what each type was planned for once more, in one new mount of each specimen; axial points are the
    lowest and highest level of each number factor with the others in the middle, and the middle itself; confirmation
    cuts settings that are named; settling cuts what `trials.plan.settling.further` found.
    """

    REPEAT_MOUNTS = "repeat mounts"
    AXIAL = "axial"
    CONFIRM = "confirm"
    SETTLE = "settle"


@dataclass(frozen=True)
class ExtensionRequest:
    """A further block: settings to confirm, or by_type one of each type; nozzles: types to cut, all where None; seed of
    what is drawn; retired: specimens that are no longer there."""

    kind: ExtensionKind
    settings: Sequence[Mapping[str, Level]] = ()
    nozzles: Sequence[str] | None = None
    seed: int = 1
    retired: frozenset[str] = frozenset()
    by_type: Mapping[str, Mapping[str, Level]] = field(default_factory=dict)


@dataclass(frozen=True)
class SettlingBlock:
    """A further block that settles: pieces to mount by type, new ones among them; coupons in each mount, `repeats` of
    them at today's setting, the others dealt; sheets; seed of what is drawn."""

    pieces: Mapping[str, Sequence[str]]
    coupons: int
    repeats: int
    sheets: int
    seed: int = 1


def extend(trial: Trial, coupons_so_far: pd.DataFrame, mounts_so_far: pd.DataFrame, asked: ExtensionRequest) -> Plan:
    """New mounts on new sheets as a further block; only the new coupons, mounts and sheets are in the plan.

    A repeat always includes today's type, because the others are compared with it. Marks, mounts and sheets are unlike
    those so far.

    Raises
    ------
    InputError
        If a nozzle or a setting is not known, or the seed is negative.
    Infeasible
        If no setting is left within the limits, or the coupons do not fit on the sheets.
    """
    types = _types(trial, asked)
    rng = np.random.default_rng(asked.seed)
    wanted, lost = _settings(trial, coupons_so_far, asked, types)
    pieces = {nozzle: there(trial, nozzle, asked.retired) for nozzle in types}
    sheets = min([trial.plan.sheets, *map(len, pieces.values())])
    mounts = _mounts(MountRequest(pieces, 1, sheets), mounts_so_far, rng)
    runs = {mount: MountRuns(tuple(wanted[nozzle])) for mount, nozzle in mount_rows(mounts)}
    made = _Block(trial, coupons_so_far, mounts, runs, asked.kind).lay_out(rng)
    gain = _gain(trial, asked.kind, coupons_so_far, made.coupons)
    return replace(made, found=each_once([*made.found[:2], *gain, *lost, *made.found[2:]]))


def settling_block(
    trial: Trial, coupons_so_far: pd.DataFrame, mounts_so_far: pd.DataFrame, asked: SettlingBlock
) -> Plan:
    """The further block that a search for the cheapest extension ended with, laid out.

    Raises
    ------
    Infeasible
        If the coupons do not fit on the sheets.
    """
    rng = np.random.default_rng(asked.seed)
    pieces = {nozzle: asked.pieces[nozzle] for nozzle in trial.types if asked.pieces.get(nozzle)}
    mounts = _mounts(MountRequest(pieces, 1, asked.sheets), mounts_so_far, rng)
    runs = dealt_runs(trial, mounts, asked.coupons, asked.repeats, rng)
    return _Block(trial, coupons_so_far, mounts, runs, ExtensionKind.SETTLE).lay_out(rng)


def _mounts(asked: MountRequest, so_far: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Mounts of a further block; their numbers and those of their sheets go on from those so far."""
    first_mount, first_sheet = _last(so_far["mount"], "M") + 1, _last(so_far["sheet"], "S") + 1
    return place_mounts(replace(asked, first_mount=first_mount, first_sheet=first_sheet), rng)


@dataclass(frozen=True)
class _Block:
    trial: Trial
    so_far: pd.DataFrame
    mounts: pd.DataFrame
    runs: dict[str, MountRuns]
    kind: ExtensionKind

    def lay_out(self, rng: np.random.Generator) -> Plan:
        """The coupons of the block and what has to be said of it, its size first."""
        block = 1 + int(self.so_far["block"].max() if "block" in self.so_far else 1)
        layout = LayoutRequest(
            self.mounts,
            self.runs,
            block=block,
            first_order=1 + int(self.so_far["order"].max()),
            taken=[str(mark) for mark in self.so_far["coupon"]],
        )
        coupons, places = lay_out(self.trial, layout, rng)
        sheets = pd.DataFrame({"sheet": self.mounts["sheet"].drop_duplicates().to_list()})
        size: dict[str, Fact] = {"block": block, "purpose": self.kind, **plan_size(coupons, self.mounts, sheets)}
        used = set(self.mounts["nozzle"])
        found = [
            Finding(PlanKind.BLOCK, facts=size),
            Finding(PlanKind.BETWEEN_BLOCKS),
            *sheet_balance(self.mounts),
            *places,
            *nozzle_cautions(self.trial, [n for n in self.trial.nozzles if n.type in used]),
        ]
        return Plan(coupons, self.mounts, sheets, each_once(found))


def _gain(trial: Trial, kind: ExtensionKind, before: pd.DataFrame, added: pd.DataFrame) -> list[Finding]:
    if kind is ExtensionKind.REPEAT_MOUNTS:
        return gain_of_repeats(trial, before, added)
    if kind is ExtensionKind.AXIAL:
        return gain_of_axial_points(trial, before, added)
    return gain_of_confirmation(added)


def _types(trial: Trial, asked: ExtensionRequest) -> list[str]:
    if asked.seed < 0:
        raise InputError("the seed is negative", found=asked.seed, allowed="0 or more", do="Change it.")
    unknown = [nozzle for nozzle in asked.nozzles or () if nozzle not in trial.types]
    if unknown:
        raise InputError(
            "no such nozzle type", found=unknown[0], allowed=", ".join(trial.types), do="Name one of them."
        )
    wanted = set(trial.types if asked.nozzles is None else asked.nozzles)
    if asked.kind is ExtensionKind.REPEAT_MOUNTS:
        wanted.add(trial.today.type)
    return [nozzle for nozzle in trial.types if nozzle in wanted]


def there(trial: Trial, nozzle: str, retired: frozenset[str]) -> tuple[str, ...]:
    """Specimens of a type that can still be mounted.

    Raises
    ------
    Infeasible
        If all of them are retired.
    """
    pieces = next(n.specimens for n in trial.nozzles if n.type == nozzle)
    left = tuple(mark for mark in pieces if mark not in retired)
    if pieces and not left:
        raise Infeasible(
            f"Every specimen of {nozzle!r} is retired: name other types with --nozzle, or `trials extend --settle` to "
            "have new pieces planned."
        )
    return left


def _last(labels: pd.Series, letter: str) -> int:
    """Highest number among labels like M07; how many labels there are where they look otherwise."""
    numbers = labels.astype(str).str.extract(rf"^{letter}(\d+)$")[0].dropna().astype(int)
    return int(max([labels.nunique(), *numbers]))


Wanted = dict[str, list[Setting]]


def _settings(
    trial: Trial, so_far: pd.DataFrame, asked: ExtensionRequest, types: Sequence[str]
) -> tuple[Wanted, list[Finding]]:
    """Settings of each type, and what was left out."""
    if asked.kind is ExtensionKind.CONFIRM:
        if asked.by_type:
            return _within_limits(trial, {nozzle: [_checked(trial, asked.by_type[nozzle])] for nozzle in types})
        named = [_checked(trial, setting) for setting in asked.settings]
        if not named:
            raise InputError("no setting is named to confirm", do="Give settings, one value for each factor.")
        return _within_limits(trial, dict.fromkeys(types, named))
    if asked.kind is ExtensionKind.AXIAL:
        return _within_limits(trial, dict.fromkeys(types, axial_settings(trial)))
    return {nozzle: _planned_settings(trial, so_far, nozzle) for nozzle in types}, []


def _planned_settings(trial: Trial, so_far: pd.DataFrame, nozzle: str) -> list[Setting]:
    columns = {name: trial.factor_column(name) for name in trial.factors}
    own = so_far[so_far["nozzle"] == nozzle].drop_duplicates(list(columns.values()) or ["nozzle"])
    if own.empty:
        raise InputError("nothing was planned for this nozzle so far", found=nozzle, do="Extend in another way.")
    own = own.sort_values(list(columns.values())) if columns else own
    return [{name: row[column] for name, column in columns.items()} for row in own.to_dict("records")]


def _checked(trial: Trial, setting: Mapping[str, Level]) -> Setting:
    """A named setting with a value for each factor; factors left out stay at today's."""
    for name, value in setting.items():
        _check_level(trial, name, value)
    full = {**trial.today_settings, **setting}
    return {n: full[n] if f.is_text else float(full[n]) for n, f in trial.factors.items()}


def _check_level(trial: Trial, name: str, value: Level) -> None:
    if name not in trial.factors:
        raise InputError("no such factor", found=name, allowed=", ".join(trial.factors), do="Correct the name.")
    asked = trial.factors[name]
    if asked.is_text and value not in asked.levels:
        allowed = ", ".join(map(str, asked.levels))
        raise InputError(f"no such level of {name}", found=value, allowed=allowed, do="Name a level of the trial.")
    if not asked.is_text and (isinstance(value, (str, bool)) or not np.isfinite(value)):
        raise InputError(f"{name} needs a number", found=value, do="Correct the setting.")


def axial_settings(trial: Trial) -> list[Setting]:
    """The middle of the number factors, and each of them at its lowest and highest level; words stay at today's.

    Raises
    ------
    Infeasible
        If no factor has numbers with two levels or more.
    """
    varied = {n: f.numbers for n, f in trial.factors.items() if len(f.numbers) > 1}
    if not varied:
        raise Infeasible("Points for curvature need a factor with two numbers or more as levels; none has.")
    middle = dict(trial.today_settings)
    middle |= {n: round((min(levels) + max(levels)) / 2.0, 10) for n, levels in varied.items()}
    ends = [middle | {n: end} for n, levels in varied.items() for end in (min(levels), max(levels))]
    return [middle, *ends]


def _within_limits(trial: Trial, wanted: Mapping[str, list[Setting]]) -> tuple[Wanted, list[Finding]]:
    kept: Wanted = {}
    lost: list[Finding] = []
    for nozzle, settings in wanted.items():
        kept[nozzle] = []
        for setting in settings:
            limit = broken(trial, nozzle, setting)
            if limit is None:
                kept[nozzle].append(setting)
                continue
            facts: dict[str, Fact] = {"setting": setting_facts(trial, setting), **limit_facts(limit)}
            lost.append(Finding(PlanKind.SETTING_LEFT_OUT, About(nozzle=nozzle), facts, Weight.LOOK_AT))
        if not kept[nozzle]:
            limit = broken(trial, nozzle, settings[0])
            raise Infeasible(
                f"Limits forbid every setting asked of nozzle {nozzle!r}, the first by "
                f"'{limit.formula if limit else ''}'. Name other settings."
            )
    return kept, lost
