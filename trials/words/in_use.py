"""Results in the units in use: the same frozen values, each figure that has a unit converted, for words and figures.

In metric units every function gives back what it got. What is converted carries the unit in use, so that nothing is
converted twice; settings stay as kept, since words and axes convert them one by one. JSON is made of what was found,
never of this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from trials.decide.ladder import LadderAnswer, LadderComparison
from trials.decide.results import Comparison, Effect, Mean, ResponseResult, Study
from trials.decide.window_result import BestComparison, TypeWindow, WindowStudy
from trials.responses import Scale
from trials.words.system import inches, scale_in_use, step_in_use, unit_in_use

if TYPE_CHECKING:
    import pandas as pd

Sized = TypeVar("Sized", Comparison, LadderComparison, BestComparison)


def study_in_use(study: Study) -> Study:
    """A study with every figure in the units in use."""
    if not inches():
        return study
    return replace(
        study,
        results=tuple(map(result_in_use, study.results)),
        ladder=None if study.ladder is None else ladder_in_use(study.ladder),
        window=None if study.window is None else window_in_use(study.window),
    )


def result_in_use(result: ResponseResult) -> ResponseResult:
    """One response in the units in use."""
    if not inches():
        return result
    scale = scale_in_use(result.unit)
    on_model = 1.0 if result.scale == Scale.LOG else scale
    return replace(
        result,
        unit=unit_in_use(result.unit),
        means=tuple(_mean(m, scale) for m in result.means),
        other_means=tuple(_mean(m, scale) for m in result.other_means),
        comparisons=tuple(_sized(_beside(c, scale), scale) for c in result.comparisons),
        pairs=tuple(_sized(_beside(c, scale), scale) for c in result.pairs),
        spread=tuple(replace(s, sd=s.sd * on_model) for s in result.spread),
        worthwhile=_times(result.worthwhile, on_model),
        worthwhile_better=_times(result.worthwhile_better, on_model),
        worthwhile_worse=_times(result.worthwhile_worse, on_model),
        worthwhile_level=_times(result.worthwhile_level, scale),
        effects=tuple(_effect(e, scale) for e in result.effects),
    )


def tables_in_use(tables: Mapping[str, pd.DataFrame], study: Study) -> Mapping[str, pd.DataFrame]:
    """Tables of readings by response, `value` (and `residual`, where the model is on it) in the units in use.

    study: as it was found, not yet in the units in use.
    """
    if not inches():
        return tables
    by_name = {result.response: result for result in study.results}
    return {name: _table(table, by_name[name]) if name in by_name else table for name, table in tables.items()}


def window_in_use(found: WindowStudy) -> WindowStudy:
    """An operating window with its typical edges in the unit in use; settings stay as kept."""
    if not inches():
        return found
    scale = scale_in_use(found.unit)
    return replace(
        found,
        unit=unit_in_use(found.unit),
        types=tuple(_type(each, scale) for each in found.types),
        comparisons=tuple(_sized(one, scale) for one in found.comparisons),
    )


def ladder_in_use(found: LadderAnswer) -> LadderAnswer:
    """The answer of a ladder with its steps and limits in the unit in use."""
    if not inches():
        return found
    scale = scale_in_use(found.unit)
    declared = found.worthwhile
    if declared is not None and declared.kind == "difference":
        declared = replace(declared, value=declared.value * scale)
    return replace(
        found,
        unit=unit_in_use(found.unit),
        types=tuple(
            replace(
                each,
                typical=each.typical * scale,
                low=each.low * scale,
                high=each.high * scale,
                clean_95=each.clean_95 * scale,
                clean_95_low=each.clean_95_low * scale,
            )
            for each in found.types
        ),
        comparisons=tuple(_sized(c, scale) for c in found.comparisons),
        mounts=tuple(replace(m, low=m.low * scale, high=m.high * scale) for m in found.mounts),
        steps=(found.steps[0] * scale, found.steps[1] * scale),
        worthwhile=declared,
    )


def _times(value: float | None, scale: float) -> float | None:
    return None if value is None else value * scale


def _mean(found: Mean, scale: float) -> Mean:
    return replace(found, mean=found.mean * scale, low=found.low * scale, high=found.high * scale)


def _sized(found: Sized, scale: float) -> Sized:
    """A comparison whose size is a difference in the unit; ratios and shares have none."""
    if found.kind != "difference":
        return found
    return replace(found, value=found.value * scale, low=found.low * scale, high=found.high * scale)


def _beside(found: Comparison, scale: float) -> Comparison:
    """A comparison with the change in the unit that stands beside a ratio."""
    if found.in_unit is None:
        return found
    value, low, high = (x * scale for x in found.in_unit)
    return replace(found, in_unit=(value, low, high))


def _effect(found: Effect, scale: float) -> Effect:
    """What a step of a setting does; the step is one that a shop would make in the unit in use."""
    step, _ = step_in_use(found.unit)
    sizes = (found.value, found.low, found.high)
    value, low, high = (x**step if found.kind == "ratio" else x * scale * step for x in sizes)
    return replace(found, value=value, low=low, high=high)


def _table(table: pd.DataFrame, result: ResponseResult) -> pd.DataFrame:
    scale = scale_in_use(result.unit)
    found = table.assign(value=table["value"] * scale)
    if "residual" in table and result.scale != Scale.LOG:
        found = found.assign(residual=table["residual"] * scale)
    return found


def _type(found: TypeWindow, scale: float) -> TypeWindow:
    best = found.best
    gain, confirm = best.gain, best.confirm
    if gain is not None and gain.kind == "difference":
        sizes = {name: getattr(gain, name) * scale for name in ("value", "low", "high", "optimism")}
        gain = replace(gain, **sizes)
    if confirm is not None:
        confirm = replace(confirm, low=confirm.low * scale, high=confirm.high * scale)
    best = replace(
        best,
        edge=_times(best.edge, scale),
        edge_low=_times(best.edge_low, scale),
        edge_high=_times(best.edge_high, scale),
        alone_low=_times(best.alone_low, scale),
        alone_high=_times(best.alone_high, scale),
        gain=gain,
        confirm=confirm,
    )
    return replace(found, best=best)
