"""From nozzle types, factors and limits to candidate settings, and from settings to the model matrix of a plan.

Nozzle types and text factors by effects (sum) coding, last level = -1; quantitative factors coded to [-1, 1] from
low and high. Columns are dictionaries of equally long arrays, `{"nozzle": labels, "pressure": values, ...}`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from trials.errors import Infeasible, NotFinite, WrongShape

NOZZLE = "nozzle"
TERMS = (
    "nozzle",
    "text",
    "linear",
    "squares",
    "products",
    "nozzle x linear",
    "nozzle x text",
    "text x linear",
    "nozzle x squares",
)
Columns = dict[str, np.ndarray]


@dataclass(frozen=True)
class Factors:
    """What is varied: nozzle types, quantitative factors as name -> (low, high), text factors as name -> levels."""

    nozzles: tuple[str, ...] = ()
    quantities: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check names, ranges and levels."""
        object.__setattr__(self, "nozzles", tuple(self.nozzles))
        object.__setattr__(self, "quantities", {n: (float(a), float(b)) for n, (a, b) in dict(self.quantities).items()})
        object.__setattr__(self, "texts", {n: tuple(levels) for n, levels in dict(self.texts).items()})
        names = [*self.quantities, *self.texts]
        if NOZZLE in names or len(set(names)) < len(names):
            raise WrongShape(f"factor names {names} must differ from each other and from {NOZZLE!r}. Rename one")
        for name, (low, high) in self.quantities.items():
            if not (math.isfinite(low) and math.isfinite(high)):
                raise NotFinite(f"low or high of {name} is NaN or infinite. Give finite numbers")
            if not low < high:
                raise WrongShape(f"{name} runs from {low:g} to {high:g}. Give a high above the low")
        for name, levels in [(NOZZLE, self.nozzles), *self.texts.items()]:
            if len(set(levels)) < len(levels) or (name != NOZZLE and len(levels) < 2):
                raise WrongShape(f"levels of {name} are {levels}. Give two or more, each once")


@dataclass(frozen=True)
class ModelMatrix:
    """Model matrix `rows` (N, k), `names` of the k columns, and `moments` (k, k) = F'F / N."""

    rows: np.ndarray
    names: tuple[str, ...]
    moments: np.ndarray


def effects_coding(labels: Sequence[str], levels: Sequence[str]) -> np.ndarray:
    """Sum coding (N, levels - 1): 1 for the own level, -1 everywhere for the last.

    Raises:
        WrongShape: a label that is not among the levels.
    """
    place = {level: i for i, level in enumerate(levels)}
    unknown = [label for label in labels if label not in place]
    if unknown:
        raise WrongShape(f"level {unknown[0]!r} is not among {tuple(levels)}. Correct the label or add the level")
    code = np.vstack([np.eye(len(levels) - 1), -np.ones((1, len(levels) - 1))])
    return code[[place[label] for label in labels]]


def coded(values: Sequence[float], low: float, high: float) -> np.ndarray:
    """Map low..high to -1..1."""
    return (2.0 * np.asarray(values, dtype=float) - low - high) / (high - low)


def model_matrix(columns: Columns, factors: Factors, terms: Sequence[str] = TERMS[:6]) -> ModelMatrix:
    """Model matrix of settings, columns in the order 1 | nozzle | text | linear | squares | products | crossings.

    Args:
        columns: one array (N,) per factor, and "nozzle" where there are two types or more.
        factors: names, ranges and levels that the coding refers to.
        terms: which of `TERMS`; the order given does not matter. "products" are those of two quantitative factors.

    Raises:
        WrongShape: an unknown term, a missing column, or arrays of unequal length.
        NotFinite: NaN or infinity in a setting.
    """
    unknown = [term for term in terms if term not in TERMS]
    if unknown:
        raise WrongShape(f"term {unknown[0]!r} is not one of {', '.join(TERMS)}. Choose among them")
    size = _check_columns(columns, factors)
    main = {"nozzle": [], "text": [], "linear": []}
    if len(factors.nozzles) > 1:
        main["nozzle"] = _classes(NOZZLE, columns[NOZZLE], factors.nozzles)
    for name, levels in factors.texts.items():
        main["text"].append(_classes(name, columns[name], levels))
    for name, (low, high) in factors.quantities.items():
        main["linear"].append((name, coded(columns[name], low, high)))
    squares = [(f"{name} squared", x * x) for name, x in main["linear"]]
    classes = [pair for text in main["text"] for pair in text]
    parts = {
        "nozzle": main["nozzle"],
        "text": classes,
        "linear": main["linear"],
        "squares": squares,
        "products": [_times(a, b) for a, b in itertools.combinations(main["linear"], 2)],
        "nozzle x linear": _crossed(main["nozzle"], main["linear"]),
        "nozzle x text": _crossed(main["nozzle"], classes),
        "text x linear": _crossed(classes, main["linear"]),
        "nozzle x squares": _crossed(main["nozzle"], squares),
    }
    chosen = [("1", np.ones(size))] + [pair for term in TERMS if term in terms for pair in parts[term]]
    rows = np.column_stack([column for _, column in chosen])
    return ModelMatrix(rows=rows, names=tuple(name for name, _ in chosen), moments=rows.T @ rows / size)


def _check_columns(columns: Columns, factors: Factors) -> int:
    wanted = [*([NOZZLE] if len(factors.nozzles) > 1 else []), *factors.quantities, *factors.texts]
    missing = [name for name in wanted if name not in columns]
    if missing:
        raise WrongShape(f"no column for {missing[0]!r}. Give one array per factor")
    sizes = {len(columns[name]) for name in wanted}
    if len(sizes) != 1 or sizes == {0}:
        raise WrongShape(f"columns have {sorted(sizes)} rows. Give equally long, non-empty arrays")
    for name in factors.quantities:
        if not np.isfinite(np.asarray(columns[name], dtype=float)).all():
            raise NotFinite(f"{name} holds NaN or infinity. Remove or fill those rows")
    return sizes.pop()


def _classes(name: str, labels: np.ndarray, levels: Sequence[str]) -> list[tuple[str, np.ndarray]]:
    return [(f"{name} {level}", c) for level, c in zip(levels, effects_coding(labels, levels).T, strict=False)]


def _times(a: tuple[str, np.ndarray], b: tuple[str, np.ndarray]) -> tuple[str, np.ndarray]:
    return f"{a[0]} x {b[0]}", a[1] * b[1]


def _crossed(left: list, right: list) -> list[tuple[str, np.ndarray]]:
    return [_times(a, b) for a in left for b in right]


def candidate_settings(
    factors: Factors,
    levels: Mapping[str, Sequence[float]],
    limits: Sequence[Mapping] = (),
    corners: bool = True,
) -> Columns:
    """Every crossing of nozzle types, levels and text levels that the limits allow, and the limits' corners.

    Args:
        factors: nozzle types, ranges and text levels; types change slowest, the last factor fastest.
        levels: for each quantitative factor the levels to cross.
        limits: `{"factor": f, "at_most" or "at_least": v}` (with "nozzle": only for that type),
            `{"factors": [...], "product_at_most": v}`, or `{"factors": [...], "weights": [...], "sum_at_most": v}`,
            in the units of the factors; a value on the limit is allowed.
        corners: also where a line of the grid meets a limit between two levels.

    Raises:
        WrongShape: a limit that names no known factor or type, or no bound.
        Infeasible: a nozzle type with no allowed setting; the text names it.
    """
    _check_limits(limits, factors)
    for name in factors.quantities:
        if name not in levels or not np.isfinite(np.asarray(levels[name], dtype=float)).all():
            raise WrongShape(f"levels of {name} are missing or not finite. List its levels")
    axes = {NOZZLE: factors.nozzles or ("",)}
    axes |= {name: tuple(float(v) for v in levels[name]) for name in factors.quantities} | dict(factors.texts)
    columns = dict(zip(axes, zip(*itertools.product(*axes.values()), strict=True), strict=True))
    table = {n: np.asarray(v, dtype=float if n in factors.quantities else object) for n, v in columns.items()}
    fine = allowed(table, limits)
    found = {name: column[fine] for name, column in table.items()}
    if corners and not fine.all():
        extra = _corners({name: column[~fine] for name, column in table.items()}, limits, axes)
        found = _each_once(_joined([found, extra]))
    for nozzle in axes[NOZZLE]:
        if nozzle not in found[NOZZLE]:
            raise Infeasible(f"the limits forbid every setting of nozzle {nozzle!r}. Loosen a limit or drop the type")
    return found


def allowed(columns: Columns, limits: Sequence[Mapping]) -> np.ndarray:
    """Mark (N,) the settings that keep every limit."""
    fine = np.ones(len(next(iter(columns.values()))), dtype=bool)
    for limit in limits:
        fine &= _excess(columns, limit) <= 0
    return fine


def _check_limits(limits: Sequence[Mapping], factors: Factors) -> None:
    for limit in limits:
        named = [limit["factor"]] if "factor" in limit else list(limit.get("factors", ()))
        unknown = [name for name in named if name not in factors.quantities]
        if unknown or not named:
            raise WrongShape(f"limit {dict(limit)} names no quantitative factor of the trial. Correct the name")
        if limit.get("nozzle") is not None and limit["nozzle"] not in factors.nozzles:
            raise WrongShape(f"limit {dict(limit)} names no nozzle type of the trial. Correct the label")
        if not {"at_most", "at_least", "product_at_most", "sum_at_most"} & set(limit):
            raise WrongShape(f"limit {dict(limit)} has no bound. Add at_most, product_at_most or sum_at_most")
        if "weights" in limit and len(limit["weights"]) != len(named):
            raise WrongShape(f"limit {dict(limit)} needs one weight per factor. Correct the weights")


def _excess(columns: Columns, limit: Mapping) -> np.ndarray:
    """How far (N,) each setting is above a limit; zero or less where it is kept or does not concern the type."""
    if "factor" in limit:
        value = columns[limit["factor"]]
        over = np.full(len(value), -np.inf)
        if limit.get("at_most") is not None:
            over = np.maximum(over, _above(value, limit["at_most"]))
        if limit.get("at_least") is not None:
            over = np.maximum(over, _above(-value, -limit["at_least"]))
    else:
        parts = np.array([columns[name] for name in limit["factors"]])
        over = np.full(parts.shape[1], -np.inf)
        if limit.get("product_at_most") is not None:
            over = np.maximum(over, _above(parts.prod(axis=0), limit["product_at_most"]))
        if limit.get("sum_at_most") is not None:
            over = np.maximum(over, _above(_weights(limit) @ parts, limit["sum_at_most"]))
    if limit.get("nozzle") is not None:
        over = np.where(columns[NOZZLE] == limit["nozzle"], over, -np.inf)
    return over


def _above(value: np.ndarray, bound: float) -> np.ndarray:
    return value - bound - 1e-9 * max(1.0, abs(bound))


def _weights(limit: Mapping) -> np.ndarray:
    return np.asarray(limit.get("weights") or [1.0] * len(limit["factors"]), dtype=float)


def _corners(forbidden: Columns, limits: Sequence[Mapping], axes: Mapping[str, tuple]) -> Columns:
    """Move one factor at a time of each forbidden setting back onto a limit it breaks; keep what is then allowed.

    What one move leaves forbidden by another limit moves again, so that crossings of two limits are found.
    """
    found = [{name: column[:0] for name, column in forbidden.items()}]
    for _ in limits:
        moved = _each_once(_joined([found[0], *_moves(forbidden, limits, axes)]))
        kept = allowed(moved, limits)
        found.append({name: column[kept] for name, column in moved.items()})
        forbidden = {name: column[~kept] for name, column in moved.items()}
    return _joined(found)


def _moves(forbidden: Columns, limits: Sequence[Mapping], axes: Mapping[str, tuple]) -> list[Columns]:
    """Return each broken setting with one factor of the limit moved onto it, where that stays in range."""
    pieces = []
    for limit in limits:
        broken = _excess(forbidden, limit) > 0
        part = {name: column[broken] for name, column in forbidden.items()}
        for name in [limit["factor"]] if "factor" in limit else limit["factors"]:
            moved = part | {name: _onto(part, limit, name)}
            inside = (moved[name] >= min(axes[name])) & (moved[name] <= max(axes[name]))
            pieces.append({other: column[inside] for other, column in moved.items()})
    return pieces


def _joined(pieces: Sequence[Columns]) -> Columns:
    return {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}


def _onto(part: Columns, limit: Mapping, name: str) -> np.ndarray:
    """Value (N,) of one factor that puts each setting on the limit; NaN where none does."""
    value = part[name]
    if "factor" in limit:
        high = limit.get("at_most")
        low = limit.get("at_least")
        upper = np.full(len(value), np.inf if high is None else high)
        return np.clip(value, -np.inf if low is None else low, upper)
    others = [other for other in limit["factors"] if other != name]
    if limit.get("product_at_most") is not None:
        rest = np.prod([part[other] for other in others], axis=0) * np.ones(len(value))
        return np.divide(limit["product_at_most"], rest, out=np.full(len(value), np.nan), where=rest != 0)
    weights = dict(zip(limit["factors"], _weights(limit), strict=True))
    rest = sum((weights[other] * part[other] for other in others), np.zeros(len(value)))
    own = weights[name]
    return np.full(len(value), np.nan) if own == 0 else (limit["sum_at_most"] - rest) / own


def _each_once(columns: Columns) -> Columns:
    """Drop repeated settings, first kept; numbers equal to 9 digits are the same."""
    keys = zip(*(np.round(c, 9) if c.dtype.kind == "f" else c for c in columns.values()), strict=True)
    first: dict[tuple, int] = {}
    for place, key in enumerate(keys):
        first.setdefault(key, place)
    keep = np.array(sorted(first.values()), dtype=int)
    return {name: column[keep] for name, column in columns.items()}


def coordinates(columns: Columns) -> np.ndarray:
    """Settings behind the rows as numbers (N, c), text by its place in sorted order, for coordinate exchange."""
    return np.column_stack(
        [c if c.dtype.kind == "f" else np.unique(c.astype(str), return_inverse=True)[1] for c in columns.values()]
    )
