"""How likely the next coupon is to be graded no worse than asked, cut with a new specimen of the type."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import expit

from trials.errors import NotIdentifiable, WrongArgument, WrongShape
from trials.findings import Finding
from trials.infer.chance.draws import chi_square_draws, even_normals
from trials.infer.chance.kinds import ChanceKind
from trials.infer.chance.next_edge import DRAWS, Chance, lost_cuts
from trials.infer.ordinal import OrdinalFit

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(32)
_WEIGHTS = _WEIGHTS / np.sqrt(2 * np.pi)


def chance_of_grade(
    fit: OrdinalFit,
    row: np.ndarray,
    at_most: float,
    specimens: int,
    df: float,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
    cuts: int | None = None,
    lost: int = 0,
) -> Chance:
    """Chance that a coupon at settings row (k,) gets a grade of `at_most` or lower, with a lower bound.

    From the penalised estimates. On the logit scale the variance of the type's level times its number of
    `specimens` stands for a specimen mean square with `df` degrees of freedom (specimens less types), corrected for
    the types fitted; what the specimens do not explain of it is taken as known. The bound then follows from the same
    pivotal draws as for measured responses. `cuts` and `lost` as in `chance`.

    Raises
    ------
    WrongShape
        If the row does not have k numbers.
    WrongArgument
        If specimens or df are under 1, or confidence is outside (0, 1).
    NotIdentifiable
        If every grade that occurred is at most, or none is, so the model has no chance to estimate.
    """
    level, found = _draws(fit, row, at_most, specimens, df, confidence, draws, seed, seed)
    estimate = float(_new_specimen(np.array([level]), np.array([fit.penalised_full.group_sd]))[0])
    rests_on = (
        Finding(ChanceKind.GRADE_RULE, facts={"at_most": float(at_most), "new_specimen": fit._data.starts is not None}),
        Finding(ChanceKind.PENALISED),
    )
    if cuts is not None:
        share, share_draws = lost_cuts(cuts, lost, even_normals(3, draws, seed)[:, 2])
        estimate, found = estimate * share, found * share_draws
    return Chance(estimate, float(np.quantile(found, 1 - confidence)), confidence, rests_on, cuts, lost)


def grade_draws(
    fit: OrdinalFit, row: np.ndarray, at_most: float, specimens: int, df: float, draws: int, seed: int, means_seed: int
) -> np.ndarray:
    """Draws (at least draws,) of the chance of `chance_of_grade`; means_seed: of the error of the type's level.

    Raises:
        WrongShape, NotIdentifiable: as `chance_of_grade`.
    """
    return _draws(fit, row, at_most, specimens, df, 0.95, draws, seed, means_seed)[1]


def _draws(
    fit: OrdinalFit,
    row: np.ndarray,
    at_most: float,
    specimens: int,
    df: float,
    confidence: float,
    draws: int,
    seed: int,
    means_seed: int,
) -> tuple[float, np.ndarray]:
    """The level of a type on the logit scale, and draws of its chance."""
    row = np.asarray(row, dtype=float)
    if row.shape != fit.penalised.shape:
        raise WrongShape(f"The settings have shape {row.shape} where {fit.penalised.shape} is needed.")
    if specimens < 1 or df < 1 or not 0 < confidence < 1:
        raise WrongArgument("Specimens and df are at least 1 and the confidence lies between 0 and 1; check them.")
    return _drawn(fit, tuple(row.tolist()), at_most, specimens, df, draws, seed, means_seed)


@lru_cache(maxsize=4)  # one chance is asked for at two confidences, with and without lost cuts
def _drawn(
    fit: OrdinalFit,
    row: tuple[float, ...],
    at_most: float,
    specimens: int,
    df: float,
    draws: int,
    seed: int,
    means_seed: int,
) -> tuple[float, np.ndarray]:
    step = int(np.searchsorted(fit.categories, at_most, side="right")) - 1
    if not 0 <= step < len(fit.thresholds):
        side = "at most" if step >= 0 else "above"
        raise NotIdentifiable(f"Every grade is {side} {at_most:g}; state the share and its limits instead.")
    soft = fit.penalised_full
    lever = np.concatenate([np.eye(len(fit.thresholds))[step], -np.array(row)])
    level = float(lever @ np.concatenate([soft.thresholds, soft.coefficients]))
    variance = float(lever @ soft.covariance @ lever)
    z = even_normals(3, draws, seed)
    ratio = df / chi_square_draws(df, 3, draws, seed, 0)
    if fit._data.starts is None:
        spread, shares = np.zeros(len(z)), np.sqrt(variance * ratio)
    else:
        groups = len(fit._data.starts)
        square = specimens * variance * groups / min(df, groups)
        within = max(specimens * variance - soft.group_sd**2, 0.0)
        spread = np.sqrt(np.maximum(square * ratio - within, 0.0))
        shares = np.sqrt(square * ratio / specimens)
    found = _new_specimen(level - even_normals(3, draws, means_seed)[:, 1] * shares, spread)
    found.flags.writeable = False
    return level, found


def _new_specimen(level: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Chance averaged over a normal specimen effect."""
    return expit(level[:, None] - spread[:, None] * _NODES) @ _WEIGHTS
