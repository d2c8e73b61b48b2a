"""This trial's own honesty: its layout and losses, cut again and again at its own spreads, by the real rule.

Readings are drawn without a difference between types; a true difference moves every interval by as much, so the same
draws also tell what happens if the difference is the worthwhile one. Repetitions with lost coupons and zeros are left
out: they only take words back.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trials.decide.evidence import Evidence
from trials.decide.judged import design_of
from trials.decide.measured import mean_rows
from trials.decide.prepare import NOZZLE, Array, Prepared
from trials.decide.response import Studied, compared_at, fit_response
from trials.decide.results import HonestyRow, OwnHonesty
from trials.findings import Place
from trials.infer.answer import Answer, Levels, critical_values_below
from trials.infer.answer import levels as share_out
from trials.infer.draws import Draws, codes_of, pieces
from trials.infer.many import ManyDesign
from trials.infer.means import beyond_critical
from trials.infer.yardstick import Estimates
from trials.sharing import shared
from trials.trial import Trial, worthwhile_margins
from trials.worthwhile import Margins

TRIALS = 4000
FEWEST = 200
READINGS = 1_000_000
"""Readings that are drawn in all, but for the fewest trials, where each trial has to be fitted alone."""
TOGETHER, ALONE = 0.001, 0.01
"""Seconds that a trial takes, about, where many are fitted at once and where each is alone."""
SEED = 20417
AT_ONCE = 100
"""Trials of a piece of work, which one worker does."""
WORDS = (Answer.SAME, Answer.BETTER, Answer.WORSE)
"""In the order of the rule; the first that holds is given."""
Words = NDArray[np.object_]


def own_honesty(
    studied: Studied,
    place: Place,
    levels: Levels,
    worthwhile: Margins,
    progress: Callable[[int, int], None] | None = None,
    trials: int | None = None,
) -> OwnHonesty | None:
    """Simulate one response of a trial; None where nothing gives words.

    progress(done, trials) is called now and then; trials: `TRIALS` if None, fewer of a large trial that has to be
    fitted one by one. The same records give the same figures: neither time nor number of workers enters.
    """
    ready = studied.ready
    if ready.today is None or len(ready.types) < 2 or not ready.structure.replicated:
        return None
    rows, today = mean_rows(ready, place), ready.types.index(ready.today)
    others = [i for i in range(len(ready.types)) if i != today]
    sign = 1.0 if ready.quantity.higher_is_better else -1.0
    words = _words(studied, sign * (rows[others] - rows[today]), (levels, worthwhile), trials, progress)
    return _summary(ready.name, [ready.types[i] for i in others], words) if len(words) else None


def _words(
    studied: Studied,
    contrasts: Array,
    rule: tuple[Levels, Margins],
    wanted: int | None,
    progress: Callable[[int, int], None] | None,
) -> Words:
    """The words of each simulated trial, (trials, 2, contrasts): without a difference, and with the worthwhile one."""
    design, draws = ManyDesign.build(design_of(studied.ready, studied.judged.by_type)), _draws(studied)
    trials = wanted if wanted is not None else TRIALS if design.cells else min(TRIALS, max(FEWEST, READINGS // draws.n))
    task, lots, found = _Task(design, draws, contrasts, rule), pieces(trials, AT_ONCE), []
    for lot, words in zip(lots, shared(task.words, lots, trials * (TOGETHER if design.cells else ALONE)), strict=True):
        found.append(words)
        if progress:
            progress(lot.stop, trials)
    return np.concatenate(found)


@dataclass(frozen=True, eq=False)
class _Task:
    """All that a worker needs to know."""

    design: ManyDesign
    draws: Draws
    contrasts: Array
    rule: tuple[Levels, Margins]

    def words(self, numbers: range) -> Words:
        judged = self.design.fit(self.draws.trials(numbers)).judge(self.contrasts)
        return words_of(judged.estimates, *self.rule)


def _draws(studied: Studied) -> Draws:
    """A response without differences at the estimated spreads, those by type where the rule has them."""
    ready, pooled = studied.ready, studied.fit.variances
    own = studied.judged.between.fit.variances if studied.judged.by_type else pooled
    codes = {name: codes_of(labels.astype(str)) for name, labels in ready.structure.groups.items()}
    spreads = {name: np.sqrt(_by_row(ready, name, {**pooled, **own})) for name in (*codes, "reading")}
    return Draws(len(ready.y), codes, spreads, SEED)


def _by_row(ready: Prepared, source: str, variances: Mapping[str, float]) -> Array:
    types = ready.table[NOZZLE].to_numpy(object)
    return np.array([variances.get(f"{source} of {kind}", variances.get(source, 0.0)) for kind in types])


def words_of(found: Estimates, levels: Levels, worthwhile: Margins) -> Words:
    """The words of simulated trials (B, 2, contrasts) without a difference and with the worthwhile one."""
    errors = np.sqrt(np.diagonal(found.covariance, axis1=1, axis2=2))
    asked = [critical_values_below(found.values + d, errors, worthwhile) for d in (0.0, worthwhile.better)]
    sizes = np.stack([each[word] for each in asked for word in WORDS], axis=-1)
    confidences = np.tile([levels.sameness, levels.difference, levels.difference], 2)
    held = beyond_critical(sizes, found.covariance, found.dfs, confidences)
    held = np.moveaxis(held.reshape(*errors.shape, 2, len(WORDS)), 2, 1)  # (B, 2, contrasts, words)
    which = np.where(held.any(axis=-1), held.argmax(axis=-1), len(WORDS))
    words: Words = np.array([*WORDS, Answer.NOT_SETTLED], dtype=object)[which]
    return words


def _summary(response: str, types: list[str], words: Words) -> OwnHonesty:
    """words (trials, 2, types): without a difference, and with the worthwhile one."""
    none, worth = words[:, 0], words[:, 1]
    wrong_none = np.isin(none, [Answer.BETTER, Answer.WORSE]).any(axis=1)
    wrong_worth = np.isin(worth, [Answer.SAME, Answer.WORSE]).any(axis=1)
    rows = tuple(HonestyRow(kind, _shares(none[:, i]), _shares(worth[:, i])) for i, kind in enumerate(types))
    return OwnHonesty(
        response=response,
        trials=len(words),
        wrong_at_none=float(wrong_none.mean()),
        wrong_at_worthwhile=float(wrong_worth.mean()),
        settled_at_none=math.fsum(row.at_none[Answer.SAME] for row in rows) / len(rows),
        settled_at_worthwhile=math.fsum(row.at_worthwhile[Answer.BETTER] for row in rows) / len(rows),
        rows=rows,
    )


def _shares(words: Words) -> dict[Answer, float]:
    return {word: float(np.mean(words == word)) for word in Answer}


def honesty_of(
    trial: Trial, evidence: Evidence, progress: Callable[[int, int], None] | None = None
) -> tuple[OwnHonesty, ...]:
    """The honesty of each decisive response with a worthwhile difference, at the place where types are compared."""
    shared = share_out(max(1, len(trial.primaries)), trial.plan.looks)
    place, _ = compared_at(trial, evidence.allowed)
    found = []
    for name in trial.primaries:
        worthwhile = worthwhile_margins(trial, name)
        studied = fit_response(trial, name, evidence.tables[name]) if name in evidence.tables else None
        if worthwhile is not None and isinstance(studied, Studied):
            found.append(own_honesty(studied, place, shared, worthwhile, progress))
    return tuple(one for one in found if one is not None)
