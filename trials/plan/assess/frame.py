"""A plan as the arrays of the model that will analyse it: columns, groupings, contrasts, degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import NotIdentifiable, TrialError
from trials.findings import Finding
from trials.infer.model import Axis, FixedModel, Structure, build_model, find_structure
from trials.plan.assess.questions import NOZZLE
from trials.plan.assess.run_order import dummies, rank, types_along_sheets_and_order, types_on_own_sheets
from trials.plan.choose import Plan
from trials.plan.optimal import efficiencies
from trials.plan.power import Balanced, Counts
from trials.plan.settings import allowed_settings
from trials.trial import CompareAt, Curves, Level, Trial

GROUPS = ("sheet", "specimen", "mount", "coupon")
SHEETS_OUT = 1e6
"""Sheet variance in coupon variances: so large that sheets are taken out as fixed ones would be."""
Array = np.ndarray


@dataclass(frozen=True)
class Frame:
    """The arrays of a plan, one row per coupon.

    fixed (n, k); settings: nozzle and factors by name; labels: sheet, specimen, mount, coupon; yardstick_df and
    coupon_df: what is left to judge types and settings by.
    """

    trial: Trial
    model: FixedModel
    fixed: Array
    settings: dict[str, Array]
    labels: dict[str, Array]
    structure: Structure
    balanced: bool
    yardstick_df: int
    coupon_df: int
    confounded: tuple[Finding, ...]

    @property
    def types(self) -> tuple[str, ...]:
        """Nozzle types that are cut, in the order of the trial file."""
        return tuple(t for t in self.trial.types if t in set(self.settings[NOZZLE]))

    def per_type(self, name: str) -> float:
        """Mean number of specimens, mounts or coupons of a type."""
        return len(set(self.labels[name])) / len(self.types)

    def coupon_variance(self, spreads: Mapping[str, float], readings: int) -> float:
        """Variance of a coupon's mean within its mount."""
        return spreads.get("coupon", 0.0) ** 2 + spreads.get("reading", 0.0) ** 2 / readings

    def covariance(self, spreads: Mapping[str, float], readings: int, sheets_out: bool = True) -> Array:
        """Covariance (k, k) of the coefficients at these spreads, (X'V^-1X)^-1.

        Sheets are taken out, as a comparison of types needs it, or count with their own expected spread.
        """
        coupon = self.coupon_variance(spreads, readings)
        v = coupon * np.eye(len(self.fixed))
        for name, variance in self._variances(spreads, coupon if sheets_out else None).items():
            v += variance * (self.labels[name][:, None] == self.labels[name])
        return np.asarray(np.linalg.inv(self.fixed.T @ np.linalg.solve(v, self.fixed)))

    def _variances(self, spreads: Mapping[str, float], coupon: float | None) -> dict[str, float]:
        found = {name: spreads.get(name, 0.0) ** 2 for name in ("specimen", "mount")}
        if self.structure.pieces_only:
            found.pop("specimen")
        if len(set(self.labels["sheet"])) > 1 and len(self.model.block_levels) < 2:
            found["sheet"] = spreads.get("sheet", 0.0) ** 2 if coupon is None else SHEETS_OUT * coupon
        return found

    def rows(self, nozzle: str, settings: Sequence[Mapping[str, Level]]) -> Array:
        """Row (k,) of the mean of one type, averaged over settings."""
        points = [{NOZZLE: nozzle, **point} for point in settings]
        table = {axis.name: [point[axis.name] for point in points] for axis in self.model.axes}
        return np.asarray(self.model.matrix(table).mean(axis=0))

    def common_settings(self) -> list[dict[str, Level]]:
        """Settings that every type is cut at; all that are cut where there is none."""
        names = list(self.trial.factors)
        if not names:
            return [{}]
        points = list(zip(self.settings[NOZZLE], *(self.settings[name] for name in names), strict=True))
        each = [{point[1:] for point in points if point[0] == t} for t in self.types]
        shared = set.intersection(*each) or set.union(*each)
        return [dict(zip(names, point, strict=True)) for point in sorted(shared, key=str)]

    def mixed_df(self, contrast: Array, covariance: Array) -> float:
        """Degrees of freedom of a comparison that rests on pieces and coupons both, by Satterthwaite (1946)."""
        if self.yardstick_df < 1:
            return float(self.yardstick_df)
        whole = _pair_variance(contrast, covariance)
        average = min(whole, _pair_variance(self.type_contrast(self.common_settings()), covariance))
        coupons = (whole - average) ** 2 / max(self.coupon_df, 1)
        return whole**2 / (average**2 / self.yardstick_df + coupons)

    def type_contrast(self, settings: Sequence[Mapping[str, Level]]) -> Array:
        """Contrast (types - 1, k) of each type against the first, averaged over settings."""
        rows = np.array([self.rows(t, settings) for t in self.types])
        return np.asarray(rows[1:] - rows[0])

    def compared_settings(self) -> Sequence[Mapping[str, Level]]:
        """Where the answer is given: today's settings, or all that every type is cut at."""
        today = self.trial.plan.compare_at is CompareAt.TODAY
        return [self.trial.today_settings] if today else self.common_settings()

    def effective_coupons(self, spreads: Mapping[str, float], readings: int) -> float | None:
        """Coupons with a specimen and mount of their own that the coupons of one type are worth; None for one type."""
        if len(self.types) < 2 or self.structure.pieces_only or self.yardstick_df < 1:
            return None
        contrast = self.type_contrast(self.common_settings())
        one = sum(spreads.get(name, 0.0) ** 2 for name in ("specimen", "mount"))
        one += self.coupon_variance(spreads, readings)
        return 2.0 * one / _pair_variance(contrast, self.covariance(spreads, readings))

    def counts(self, covariance: Array, spreads: Mapping[str, float], readings: int) -> Counts | None:
        """Counts of the nearest balanced plan for `specimens_needed`; None where no type can be judged.

        Today's type may have more specimens than the others, which have equal numbers.
        """
        nearest = self.nearest_balanced(readings)
        if nearest is None or self.yardstick_df < 1:
            return None
        specimens, ratio = self._specimens(nearest.specimens)
        pieces = specimens * nearest.mounts
        contrast = self.type_contrast(self.compared_settings())
        whole = _pair_variance(contrast, covariance) if ratio == 1.0 else self._variance_against_today(covariance)
        fixed_part = 0.0 if specimens == 1 else spreads.get("specimen", 0.0) ** 2 / specimens
        rest = whole / (1.0 + 1.0 / ratio) - fixed_part - spreads.get("mount", 0.0) ** 2 / pieces
        n, mounts = len(self.fixed), len(set(self.labels["mount"]))
        return Counts(
            types=nearest.types,
            specimens=specimens,
            mounts=nearest.mounts,
            coupons=self.coupon_variance(spreads, readings) / (pieces * rest),
            readings=readings,
            sheets=nearest.sheets,
            coupons_cut=n / mounts,
            terms=n - mounts - self.coupon_df,
            today=ratio,
        )

    def _specimens(self, nearest: int) -> tuple[int, float]:
        """Specimens of the other types and how many times as many today's has; the nearest balanced plan's, and one.

        The latter where today's is not cut, the others differ among themselves, or a type has one specimen.
        """
        counts = {t: len(set(self.labels["specimen"][self.settings[NOZZLE] == t])) for t in self.types}
        today = counts.pop(self.trial.today.type, 0)
        others = set(counts.values())
        if today < 2 or len(others) != 1 or min(others) < 2:
            return nearest, 1.0
        return min(others), today / min(others)

    def _variance_against_today(self, covariance: Array) -> float:
        """Mean variance of the difference of another type to today's at the compared settings."""
        rows = np.array([self.rows(t, self.compared_settings()) for t in self.types])
        today = self.types.index(self.trial.today.type)
        contrast = np.delete(rows, today, axis=0) - rows[today]
        return float(np.mean(np.diagonal(contrast @ covariance @ contrast.T)))

    def nearest_balanced(self, readings: int) -> Balanced | None:
        """The nearest balanced plan; None with a single type."""
        if len(self.types) < 2:
            return None
        specimens = max(1, round(self.per_type("specimen")))
        mounts = max(1, round(self.per_type("mount") / specimens))
        coupons = max(1, round(self.per_type("coupon") / (specimens * mounts)))
        return Balanced(len(self.types), specimens, mounts, coupons, readings, len(set(self.labels["sheet"])))

    def reading_rows(self, readings: int) -> tuple[Array, dict[str, Array]]:
        """Model matrix and groupings with one row per reading, as they will be analysed."""
        return np.repeat(self.fixed, readings, axis=0), _structure(self.settings, self.labels, readings).groups

    def spreads_of_groups(
        self, groups: Mapping[str, Array], spreads: Mapping[str, float], readings: int
    ) -> dict[str, float]:
        """Standard deviation for each grouping; one that the records cannot separate adds to its twin."""
        squares = dict.fromkeys(groups, 0.0) | {"reading": spreads.get("reading", 0.0) ** 2}
        for name in ("specimen", "mount", "coupon"):
            if name == "specimen" and self.structure.pieces_only:
                continue
            labels = np.repeat(self.labels[name], readings)
            twin = next((g for g in groups if g == name or _same(groups[g], labels)), None)
            squares[twin or "reading"] += spreads.get(name, 0.0) ** 2
        if "sheet" in groups:
            squares["sheet"] = spreads.get("sheet", math.sqrt(squares.get("specimen", squares["reading"]))) ** 2
        return {name: math.sqrt(square) for name, square in squares.items()}

    def grid_rows(self) -> tuple[pd.DataFrame, Array]:
        """Every allowed setting of every type, and its rows (N, k)."""
        points = [(t, setting) for t in self.types for setting in allowed_settings(self.trial, t)]
        table = pd.DataFrame([{NOZZLE: t, **setting} for t, setting in points])
        return table, self.model.matrix({axis.name: table[axis.name].to_numpy() for axis in self.model.axes})

    def efficiency(self) -> float | None:
        """D-efficiency of the settings per coupon, 1 for orthogonal columns of length one; None if singular."""
        try:
            return efficiencies(self.fixed).d
        except TrialError:
            return None


def build_frame(trial: Trial, plan: Plan) -> Frame:
    """The arrays of a plan, with what its layout cannot tell apart."""
    coupons = plan.coupons
    settings = {NOZZLE: coupons[NOZZLE].to_numpy(object)}
    for name, asked in trial.factors.items():
        settings[name] = coupons[trial.factor_column(name)].to_numpy(object if asked.is_text else float)
    labels = {name: coupons[name].to_numpy(object) for name in GROUPS}
    readings = max(asked.readings for asked in trial.responses.values())
    structure = _structure(settings, labels, readings)
    types = [t for t in trial.types if t in set(settings[NOZZLE])]
    axes = [Axis(NOZZLE, tuple(types))] if len(types) > 1 else []
    axes += [Axis(name, asked.levels) for name, asked in trial.factors.items() if len(asked.levels) > 1]
    block = None if structure.block is None else labels["sheet"]
    common = trial.plan.curves is Curves.COMMON
    model, block = _model(axes, settings, block, common)
    fixed = model.matrix({axis.name: settings[axis.name] for axis in axes} or {"": labels["coupon"]}, block)
    return Frame(
        trial=trial,
        model=model,
        fixed=fixed,
        settings=settings,
        labels=labels,
        structure=structure,
        balanced=_balanced(settings, labels),
        yardstick_df=_yardstick_df(settings[NOZZLE], labels, structure),
        coupon_df=len(fixed) - rank(np.hstack([fixed, dummies(labels["mount"])])),
        confounded=types_along_sheets_and_order(coupons),
    )


def _model(
    axes: list[Axis], settings: dict[str, Array], block: Array | None, common_curves: bool
) -> tuple[FixedModel, Array | None]:
    """The model that the plan carries, without the sheets where types cannot be told apart from them."""
    nozzle, n = NOZZLE if axes and axes[0].name == NOZZLE else None, len(settings[NOZZLE])
    try:
        return build_model(axes, settings, nozzle, block, n, common_curves), block
    except NotIdentifiable:
        return build_model(axes, settings, nozzle, None, n, common_curves), None


def _structure(settings: Mapping[str, Array], labels: Mapping[str, Array], readings: int) -> Structure:
    groups = {name: np.repeat(values, readings) for name, values in labels.items()}
    return find_structure(np.repeat(settings[NOZZLE], readings), groups)


def _pair_variance(contrast: Array, covariance: Array) -> float:
    """Mean variance of the difference of two types, from contrasts against the first."""
    spread = contrast @ covariance @ contrast.T
    one = np.diag(spread)
    between = one[:, None] + one - 2.0 * spread
    return float(np.mean([*one, *between[np.triu_indices(len(one), 1)]]))


def _same(a: Array, b: Array) -> bool:
    return len(set(zip(a, b, strict=True))) == len(set(a)) == len(set(b))


def _yardstick_df(nozzle: Array, labels: Mapping[str, Array], structure: Structure) -> int:
    if not structure.replicated or structure.yardstick not in ("specimen", "mount"):
        return 0
    if types_on_own_sheets(nozzle, labels["sheet"]):
        return 0
    piece = labels[structure.yardstick]
    units = pd.DataFrame({"piece": piece, NOZZLE: nozzle, "sheet": labels["sheet"]}).drop_duplicates()
    if len(units) > len(set(piece)):
        return len(set(piece)) - len(set(nozzle))
    return len(units) - rank(np.hstack([dummies(units[name].to_numpy(object)) for name in (NOZZLE, "sheet")]))


def _balanced(settings: Mapping[str, Array], labels: Mapping[str, Array]) -> bool:
    """Every mount holds the same settings, every specimen as many mounts, every type as many mounts per sheet.

    And every specimen stays on one sheet or visits all of them equally often.
    """
    table = pd.DataFrame({**settings, **{name: labels[name] for name in ("sheet", "specimen", "mount")}})
    names = [name for name in settings if name != NOZZLE]
    held = {mount: tuple(sorted(map(str, part[names].to_numpy().tolist()))) for mount, part in table.groupby("mount")}
    mounts = table.drop_duplicates("mount")
    per_sheet = mounts.groupby([NOZZLE, "sheet"]).size().unstack(fill_value=0)
    per_piece = mounts.groupby("specimen").size()
    pieces = mounts.drop_duplicates("specimen").groupby(NOZZLE).size()
    even = [len(set(values)) == 1 for values in (held.values(), per_sheet.to_numpy().ravel(), per_piece, pieces)]
    visits = mounts.groupby(["specimen", "sheet"]).size().unstack(fill_value=0).to_numpy()
    stays = ((visits > 0).sum(axis=1) == 1).all()
    return bool(all(even) and (stays or (visits == visits[0, 0]).all()))
