"""Mixed model by restricted likelihood with the Kenward-Roger tests: the yardstick of every measured response.

Readings sit in coupons, coupons in mounts, mounts in specimens, across sheets; each grouping carries a variance
bounded at zero, the rest is reading-to-reading. Patterson and Thompson (1971) for the restricted likelihood, Kenward
and Roger (1997) for tests and intervals. A variance estimated as zero stays in the adjustment.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.mixed.groupings import RESIDUAL, Grouping, Labels, finest_codes, numbers, read_groupings
from trials.infer.mixed.kenward_roger import Adjustment, adjust, denominator
from trials.infer.mixed.kernel import FixedPart, Layout, lay_out, read_fixed
from trials.infer.mixed.pieces import Pieces
from trials.infer.mixed.reml import LARGE, Solved, criterion, information, minimise, solve_fixed

DEPENDENT = 1e-9  # singular value, relative to the largest, below which a contrast row adds nothing
FAINT = 1e5  # variance of a group's sum to that of its readings from which rounding may keep a search from settling
NOTHING_LEFT = 1e-13  # spread left after the fixed columns, relative to the largest deviation, that is rounding


@dataclass(frozen=True)
class FTest:
    """Scaled F of Kenward and Roger: F on df and den_df degrees of freedom with its p."""

    F: float
    df: int
    den_df: float
    p: float


@dataclass(frozen=True)
class Estimate:
    """A combination of coefficients: value, standard error, df, confidence limits and two-sided p of no effect."""

    value: float
    se: float
    df: float
    low: float
    high: float
    p: float


def interval(value: float, se: float, df: float, confidence: float) -> Estimate:
    """Two-sided t interval.

    Raises
    ------
    WrongArgument
        If confidence is not between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise WrongArgument(f"confidence is {confidence}, expected a figure between 0 and 1 such as 0.95")
    reach = float(special.stdtrit(df, 0.5 + confidence / 2.0)) * se
    p = 2.0 * float(special.stdtr(df, -abs(value) / se))
    return Estimate(value, se, df, value - reach, value + reach, p)


@dataclass(frozen=True)
class Anchored:
    """Coefficients in three parts, so that differences and small coefficients keep all their digits.

    part: the factored fixed columns; start (k,): least squares in the given coding, for readings less offset;
    weights (k,): what is to be added, in terms of part.q; offset: what every reading was reduced by.
    """

    part: FixedPart
    start: np.ndarray
    weights: np.ndarray
    offset: float

    def turned(self, rows: np.ndarray) -> np.ndarray:
        """Contrast rows (..., k) in terms of the orthonormal columns."""
        return np.linalg.solve(self.part.r.T, (rows / self.part.scale).T).T

    def values(self, rows: np.ndarray) -> np.ndarray:
        """Contrast rows (..., k) @ coefficients; a contrast that cancels the constant cancels it exactly."""
        values: np.ndarray = rows @ self.start + self.turned(rows) @ self.weights
        if self.part.constant is None:
            return values
        share = rows @ self.part.constant
        share = np.where(np.abs(share) <= 1e-10 * (np.abs(rows) @ np.abs(self.part.constant)), 0.0, share)
        result: np.ndarray = values + self.offset * share
        return result


@dataclass(frozen=True, eq=False)
class MixedFit:
    """A fitted mixed model.

    coefficients (k,); covariance (k, k) Kenward-Roger adjusted; covariance_unadjusted (k, k); variances by grouping
    and "reading", in squared units of the response; reml_criterion: -2 log restricted likelihood, which depends on
    the coding of the fixed columns; converged: whether the conditions of a minimum were met. adjustment and anchored
    carry what tests and estimates need, in terms of orthonormal columns.
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    covariance_unadjusted: np.ndarray
    variances: dict[str, float]
    reml_criterion: float
    converged: bool
    adjustment: Adjustment
    anchored: Anchored

    def test(self, contrast: np.ndarray) -> FTest:
        """Test that every row of contrast (q, k) gives zero; dependent rows are reduced and df says so.

        Raises
        ------
        WrongShape
            If contrast is not (q, k).
        WrongArgument
            If all rows of contrast are zero.
        NotFinite
            If contrast holds a value that is not a number.
        """
        rows, value = self.reduced(contrast)
        df, scale = denominator(self.adjustment, rows)
        q = len(rows)
        wald = float(value @ np.linalg.solve(rows @ self.adjustment.phi_adjusted @ rows.T, value))
        f = scale * wald / q
        return FTest(f, q, df, float(special.fdtrc(q, df, f)))

    def estimate(self, contrast: np.ndarray, confidence: float = 0.95) -> Estimate:
        """Estimate contrast (k,) @ coefficients with its interval.

        Raises
        ------
        WrongShape
            If contrast is not (k,).
        WrongArgument
            If contrast is all zero, or confidence is not between 0 and 1.
        NotFinite
            If contrast holds a value that is not a number.
        """
        turned, value = self.single(contrast)
        df, _ = denominator(self.adjustment, turned[None, :])
        se = float(np.sqrt(turned @ self.adjustment.phi_adjusted @ turned))
        return interval(value, se, df, confidence)

    def single(self, contrast: np.ndarray) -> tuple[np.ndarray, float]:
        """Contrast (k,) in terms of orthonormal columns, and its value; raises as estimate."""
        row = self._read(contrast, 1)
        if not row.any():
            raise WrongArgument("the contrast is all zero, so it asks nothing; give at least one weight")
        return self.anchored.turned(row), float(self.anchored.values(row))

    def _read(self, contrast: np.ndarray, ndim: int) -> np.ndarray:
        rows = numbers(contrast, "the contrast")
        k = len(self.coefficients)
        if rows.ndim != ndim or rows.shape[-1] != k:
            raise WrongShape(
                f"the contrast has shape {rows.shape}, expected {'(q, k)' if ndim == 2 else '(k,)'}, k = {k}"
            )
        if not np.isfinite(rows).all():
            raise NotFinite("the contrast holds a value that is not a finite number; give plain weights")
        return rows

    def reduced(self, contrast: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Independent combinations (q, k) of contrast rows, of unit covariance before adjustment, and their values.

        Combinations are in terms of orthonormal columns; raises as test.
        """
        rows = self._read(contrast, 2)
        rows = rows[rows.any(axis=1)]
        if not len(rows):
            raise WrongArgument("every row of the contrast is zero, so it asks nothing; give at least one weight")
        turned = self.anchored.turned(rows)
        scaled = turned @ np.linalg.cholesky(self.adjustment.phi)
        length = np.linalg.norm(scaled, axis=1)
        vectors, sizes, _ = np.linalg.svd(scaled / length[:, None], full_matrices=False)
        kept = sizes > DEPENDENT * sizes[0]
        combine = (vectors[:, kept] / sizes[kept]).T / length
        return combine @ turned, combine @ self.anchored.values(rows)


@dataclass(frozen=True, eq=False)
class MixedDesign:
    """Fixed columns and groupings made ready once, to fit any number of responses cut to the same plan."""

    fixed_part: FixedPart
    groupings: tuple[Grouping, ...]
    layout: Layout

    @classmethod
    def build(
        cls, fixed: np.ndarray, groups: Mapping[str, Labels], collapse: bool = True, dense: bool | None = None
    ) -> MixedDesign:
        """Check and prepare a design; raises as fit_mixed does.

        collapse False keeps every row a unit of its own, and dense picks the algebra, to check one against the other.
        """
        x = numbers(fixed, "the fixed part")
        groupings = tuple(read_groupings(groups, len(x))) if x.ndim == 2 else ()
        part = read_fixed(x, finest_codes(groupings))
        layout = lay_out(part, groupings, collapse, dense)
        design = cls(part, groupings, layout)
        design._refuse_inseparable()
        return design

    @property
    def nu(self) -> int:
        """Readings less fixed columns."""
        n, k = self.fixed_part.q.shape
        result: int = n - k
        return result

    def _refuse_inseparable(self) -> None:
        """Refuse groupings whose variance the data cannot show."""
        if self.groupings:
            kernel = self.layout.kernel_for(np.zeros(len(self.fixed_part.q)))
            pieces = kernel.evaluate(np.zeros(len(self.groupings)), residual=True)
            refuse_inseparable(pieces, [g.name for g in self.groupings] + [RESIDUAL])

    def fit(self, response: np.ndarray) -> MixedFit:
        """Fit one response (n,).

        Raises
        ------
        WrongShape
            If response is not (n,).
        NotFinite
            If response holds a value that is not a number.
        NotIdentifiable
            If the readings leave no spread to judge by.
        """
        rest, unit, least_squares = self.least_squares(response)
        pieces, ratios, converged = self._best(rest)
        return self.finish(pieces, ratios, converged, unit, least_squares)

    def criteria(self, responses: Iterable[np.ndarray]) -> np.ndarray:
        """The `reml_criterion` of each fit alone, where every response (n,) is much like the one before; raises as fit.

        Each search begins where the last one ended.
        """
        found, near = list[float](), None
        for response in responses:
            rest, unit, _ = self.least_squares(response)
            pieces, ratios, _ = self._best(rest, near)
            near = np.array([ratios[g.name] for g in self.groupings])
            found.append(self._criterion(pieces, solve_fixed(pieces), unit))
        return np.array(found)

    def least_squares(self, response: np.ndarray) -> tuple[np.ndarray, float, Anchored]:
        """What ordinary least squares leaves of a response (n,), in units of its standard deviation; the unit; the fit.

        Raises as fit does.
        """
        y, offset = self._centred(response)
        part = self.fixed_part
        start = part.coefficients(part.q.T @ y)
        rest = y - part.columns @ start
        again = part.q.T @ rest
        rest = rest - part.q @ again
        spread = float(rest @ rest)
        rounding = max(NOTHING_LEFT * np.abs(y).max(), 4.0 * np.finfo(float).eps * abs(offset))
        if spread <= rounding**2 * len(y):
            raise NotIdentifiable(
                "the fixed columns reproduce every reading exactly, so no spread is left to judge by; "
                "record more digits or fit fewer terms"
            )
        unit = np.sqrt(spread / self.nu)
        return rest / unit, float(unit), Anchored(part, start, again, offset)

    def _centred(self, response: np.ndarray) -> tuple[np.ndarray, float]:
        y = numbers(response, "the response")
        n = len(self.fixed_part.q)
        if y.shape != (n,):
            raise WrongShape(f"the response has shape {y.shape}, expected ({n},) to match the fixed columns")
        if not np.isfinite(y).all():
            row = int(np.argmax(~np.isfinite(y))) + 1
            raise NotFinite(f"the response holds no finite number at row {row}; leave the row out")
        offset = 0.0 if self.fixed_part.constant is None else float(np.partition(y, n // 2)[n // 2])
        centred = y - offset
        return (centred, offset) if np.abs(centred).max() < abs(offset) else (y, 0.0)

    def _best(self, rest: np.ndarray, near: np.ndarray | None = None) -> tuple[Pieces, dict[str, float], bool]:
        """Pieces at the best variance ratios, residual included, those ratios, and whether the search converged."""
        kernel = self.layout.kernel_for(rest)
        per_level = np.array([len(rest) / g.levels for g in self.groupings])
        found = minimise(kernel, self.nu, per_level, near)
        gamma, size = found.gamma, float(np.max(found.gamma * per_level, initial=0.0))
        if size > 0.01 * LARGE or (size > FAINT and not found.converged):
            raise NotIdentifiable(
                "readings of the same group never differ, or too little to be seen beside the groups, so their spread "
                "has no estimate; record more digits, or average each group and leave that grouping out"
            )
        ratios = dict(zip((g.name for g in self.groupings), gamma, strict=True))
        return kernel.evaluate(gamma, residual=True), {**ratios, RESIDUAL: 1.0}, found.converged

    def _criterion(self, pieces: Pieces, solved: Solved, unit: float) -> float:
        nu = self.nu
        return float(criterion(pieces, solved, nu) + self.fixed_part.log_det + 2.0 * nu * np.log(unit))

    def finish(
        self, pieces: Pieces, ratios: Mapping[str, float], converged: bool, unit: float, least_squares: Anchored
    ) -> MixedFit:
        """The fit at variance ratios whose pieces, residual included, are given; unit and least_squares as above."""
        part, nu = self.fixed_part, self.nu
        solved = solve_fixed(pieces)
        sigma2 = solved.rss / nu * unit**2
        adjustment = adjust(pieces, solved, sigma2, nu)
        anchored = replace(least_squares, weights=least_squares.weights + unit * solved.beta)
        identity = np.eye(len(solved.beta))
        back = part.coefficients(identity)
        return MixedFit(
            anchored.values(identity),
            back @ adjustment.phi_adjusted @ back.T,
            back @ adjustment.phi @ back.T,
            {name: float(ratio * sigma2) for name, ratio in ratios.items()},
            self._criterion(pieces, solved, unit),
            converged,
            adjustment,
            anchored,
        )


def refuse_inseparable(pieces: Pieces, names: Sequence[str]) -> None:
    """Refuse variances that the data cannot show, from tr(M G_i M G_j) with M = I - X(X'X)^-1X'.

    pieces: with every grouping's variance at zero, in terms of orthonormal columns; names: of its terms, readings last.

    Raises
    ------
    NotIdentifiable
        Always, naming the grouping.
    """
    k = pieces.aha.shape[0] - 1
    solved = Solved(np.eye(k), np.zeros(k), 0.0, 0.0)
    left = pieces.trace - np.trace(pieces.aga[:, :k, :k], axis1=1, axis2=2)
    for name, rest, whole in zip(names, left, pieces.trace, strict=True):
        if rest <= 1e-9 * whole:
            raise NotIdentifiable(
                f"grouping {name!r} is spanned by the fixed columns: its levels cannot differ once the "
                "fixed terms are taken out; leave it out, or leave out the fixed term that stands for it"
            )
    gram = information(pieces, solved)
    unit = 1.0 / np.sqrt(np.diagonal(gram))
    values, vectors = np.linalg.eigh(gram * np.outer(unit, unit))
    if values[0] > 1e-9:
        return
    mixed = [name for name, weight in zip(names, vectors[:, 0], strict=True) if abs(weight) > 0.05]
    raise NotIdentifiable(
        f"the variances of {', '.join(repr(n) for n in mixed)} cannot be told apart once the fixed "
        f"terms are taken out; leave {mixed[0]!r} out"
    )


def fit_mixed(response: np.ndarray, fixed: np.ndarray, groups: Mapping[str, Labels]) -> MixedFit:
    """Fit response = fixed @ coefficients + one random effect per grouping + reading, by restricted likelihood.

    Args:
        response: (n,) readings on the model scale.
        fixed: (n, k) model matrix of full column rank, any coding.
        groups: name -> labels (n,); groupings may nest or cross, a label means the same thing wherever it stands;
            {} fits without. "reading" is the name of the residual.

    Raises
    ------
    WrongShape
        If arrays do not fit together.
    WrongArgument
        If a grouping is called "reading".
    NotFinite
        If a value or label is missing or infinite.
    NotIdentifiable
        If fixed lacks rank (the column is named), a grouping has one level, one row per level, equals another, or is
        spanned by the fixed columns, or the readings leave no spread to judge by.
    """
    y, x = numbers(response, "the response"), numbers(fixed, "the fixed part")
    if y.ndim != 1 or x.ndim != 2 or len(y) != len(x):
        raise WrongShape(f"response {y.shape} and fixed {x.shape} do not fit together; expected (n,) and (n, k)")
    return MixedDesign.build(x, groups).fit(y)
