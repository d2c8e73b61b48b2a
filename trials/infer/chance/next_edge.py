"""How likely the next edge is to meet a requirement: new specimen, mount, sheet and coupon, with a lower bound.

The bound comes from generalised pivotal draws of the mean and the variances (see mean_squares), not from a
bootstrap: with three specimens a bootstrap bound holds in four cases of five where it claims nineteen of twenty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.special import betaincinv, ndtr

from trials.errors import NotFinite, WrongArgument
from trials.findings import Finding
from trials.infer.chance.draws import beta_draws, chi_square_draws, even_normals
from trials.infer.chance.kinds import ChanceKind
from trials.infer.chance.mean_squares import Layers, MeanSquare, draw, floor, key, variances
from trials.infer.chance.worst import ENOUGH, worst_within

DRAWS = 16_384
MOST_SPECIMENS = 1_000  # nobody buys more to show a chance
RULES = ("worst", "mean")
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(48)
_WEIGHTS = _WEIGHTS / np.sqrt(2 * np.pi)
_WORST_NODES = 16  # error below 1e-10 where readings spread no more than edges do


@dataclass(frozen=True)
class Rule:
    """What the drawing asks: the worst (or the mean) of n readings of an edge keeps to a limit on the model scale."""

    limit: float
    readings: int
    kind: str = "worst"
    at_most: bool = True


@dataclass(frozen=True)
class NextEdge:
    """What is known of the next edge on the model scale.

    Attributes:
        mean: predicted mean for a type at a setting.
        mean_sizes: its variance as {variance: coefficient}.
        squares: mean squares behind the variances.
        between: variances drawn once for an edge (sheet, specimen, mount, coupon), as {layer: variance}.
        reading: name of the reading-to-reading variance.
        missing: layers whose spread could not be estimated on its own.
    """

    mean: float
    mean_sizes: dict[str, float]
    squares: tuple[MeanSquare, ...]
    between: dict[str, str]
    reading: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Chance:
    """A chance with its lower bound.

    Attributes:
        estimate, low, confidence: the chance, and what it is at least with this confidence.
        rests_on: what was assumed.
        cuts, lost: coupons tried and lost, where they count as not meeting.
    """

    estimate: float
    low: float
    confidence: float
    rests_on: tuple[Finding, ...] = ()
    cuts: int | None = None
    lost: int = 0


def next_edge(
    layers: Layers, row: np.ndarray, of_type: str | None = None, mean: float | None = None, se: float | None = None
) -> NextEdge:
    """What the layers say of an edge cut at settings row (k,) with a nozzle of one type.

    `mean` and `se` replace the least-squares prediction by that of the mixed model; the variance of the mean then
    keeps its make-up and is scaled to se squared.

    Raises
    ------
    WrongShape
        If the row does not have k numbers.
    WrongArgument
        If se is not above zero.
    """
    found, sizes = layers.mean(row)
    if se is not None:
        if not se > 0:
            raise WrongArgument("The standard error of the mean must be above zero; leave it out to use least squares.")
        total = sum(size * max(float(v), 0.0) for size, v in _paired(sizes, variances(layers.squares)))
        if total > 0:
            sizes = {name: size * se**2 / total for name, size in sizes.items()}
    between = {layer_of(name): name for name in layers.members if _applies(name, of_type)}
    reading = next(name for name in layers.reading_rows if _applies(name, of_type))
    return NextEdge(found if mean is None else float(mean), sizes, layers.squares, between, reading, layers.missing)


def chance(
    edge: NextEdge,
    rule: Rule,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 0,
    cuts: int | None = None,
    lost: int = 0,
) -> Chance:
    """Chance that the next edge meets the rule, with a one-sided lower bound.

    With `cuts` (coupons tried) the cuts that did not sever or were broken off (`lost`) count as not meeting: the
    estimate is multiplied by the share that cut, the draws by draws from its Jeffreys distribution.

    Raises
    ------
    WrongArgument
        If the rule is unknown, readings are under 1, confidence is outside (0, 1), or more cuts are lost than cut.
    NotFinite
        If mean or limit is NaN or infinite.
    """
    check_rule(edge, rule, confidence)
    found = edge_chance(*edge_draws(edge, draws, seed), rule)
    estimate = estimate_chance(edge, rule)
    if cuts is not None:
        share, share_draws = lost_cuts(cuts, lost, even_normals(len(edge.squares) + 2, draws, seed)[:, 1])
        estimate, found = estimate * share, found * share_draws
    return Chance(estimate, float(np.quantile(found, 1 - confidence)), confidence, _rests_on(edge, rule), cuts, lost)


def estimate_chance(edge: NextEdge, rule: Rule) -> float:
    """Chance at the estimates themselves, negative variances taken as zero."""
    found = floor(variances(edge.squares))
    between = sum(float(found[name]) for name in edge.between.values())
    return float(edge_chance(edge.mean, np.sqrt(between), np.sqrt(float(found[edge.reading])), rule))


def edge_chance(
    mean: float | np.ndarray, between_sd: float | np.ndarray, reading_sd: float | np.ndarray, rule: Rule
) -> np.ndarray:
    """Chance that one edge keeps to the rule, given mean and spreads (arrays of one shape), by quadrature.

    Edge level is normal around the mean with `between_sd`, readings normal around it with `reading_sd`.
    """
    mean, between_sd, reading_sd = (np.asarray(a, float) for a in (mean, between_sd, reading_sd))
    room = rule.limit - mean if rule.at_most else mean - rule.limit
    if not np.any(between_sd):
        one = _step(room, reading_sd / (np.sqrt(rule.readings) if rule.kind == "mean" else 1.0))
        return one if rule.kind == "mean" else _all_of(one, rule.readings)
    if rule.kind == "mean" or rule.readings == 1:
        spread = np.sqrt(between_sd**2 + reading_sd**2 / rule.readings)
        return _step(room, spread)
    room, between_sd, reading_sd = np.broadcast_arrays(room, between_sd, reading_sd)
    if room.size >= ENOUGH and np.all(between_sd + reading_sd > 0):
        return worst_within(room, between_sd, reading_sd, rule.readings)
    wide = reading_sd > between_sd
    out = np.empty(room.shape)
    if np.any(wide):
        level = room[wide, None] - between_sd[wide, None] * _NODES
        out[wide] = _all_of(ndtr(level / reading_sd[wide, None]), rule.readings) @ _WEIGHTS
    if not np.all(wide):
        worst, weights = _largest_of(rule.readings)
        out[~wide] = _step(room[~wide, None] - reading_sd[~wide, None] * worst, between_sd[~wide, None]) @ weights
    return np.clip(out, 0.0, 1.0)


@lru_cache(maxsize=64)
def _largest_of(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss nodes and weights for the largest of some normal readings (Golub and Welsch 1969, Math. Comp. 23)."""
    z = np.linspace(-9.0, 9.0, 4001)
    density = np.exp(-0.5 * z**2) * ndtr(z) ** (count - 1)
    density /= density.sum()
    last, here, size_last = np.zeros(len(z)), np.ones(len(z)), 1.0
    centres, steps = [], []
    for _ in range(_WORST_NODES):
        size = float(density @ here**2)
        centres.append(float(density @ (z * here**2)) / size)
        steps.append(size / size_last)
        last, here, size_last = here, (z - centres[-1]) * here - (steps[-1] if len(steps) > 1 else 0.0) * last, size
    beside = np.sqrt(steps[1:])
    nodes, vectors = np.linalg.eigh(np.diag(centres) + np.diag(beside, 1) + np.diag(beside, -1))
    return nodes, vectors[0] ** 2


def lost_cuts(cuts: int, lost: int, z: np.ndarray) -> tuple[float, np.ndarray]:
    """Share of cuts not lost, and its Beta(cut + 1/2, lost + 1/2) quantiles (Jeffreys) at normal quantiles (draws,).

    Raises
    ------
    WrongArgument
        If lost is negative or above cuts, or there are no cuts.
    """
    if cuts < 1 or not 0 <= lost <= cuts:
        raise WrongArgument(f"{lost} lost of {cuts} cuts cannot be; count each coupon tried once.")
    return (cuts - lost) / cuts, beta_draws(cuts - lost + 0.5, lost + 0.5, z)


def most_by_cuts(cuts: int, lost: int, confidence: float = 0.95) -> float:
    """The most that a bound of a chance can be by the number of cuts alone: that of the share that goes through.

    The lower limit from the distribution of `lost_cuts`; raises as that.
    """
    lost_cuts(cuts, lost, np.zeros(1))
    return float(betaincinv(cuts - lost + 0.5, lost + 0.5, 1.0 - confidence))


def specimens_to_show(
    edge: NextEdge,
    rule: Rule,
    target: float,
    specimens: int,
    types: float = 1,
    confidence: float = 0.95,
    seed: int = 0,
    cuts: int | None = None,
    lost: int = 0,
) -> int | None:
    """How many specimens of a type would lift the lower bound to `target` if the estimates were the truth.

    Specimen degrees of freedom grow by `types` per specimen (all specimens as a multiple of those of the type), those
    of the layers below in proportion, and so do cuts and lost ones, as in `chance`; sheets stay.
    None where the estimate itself does not reach the target, or `MOST_SPECIMENS` would not do.
    """
    if estimate_chance(edge, rule) * (1.0 - lost / cuts if cuts else 1.0) <= target:
        return None

    def reaches(count: int) -> bool:
        return low_with(edge, rule, (specimens, count), types, confidence, seed, cuts, lost) >= target

    low, high = max(specimens, 2) - 1, max(specimens, 2)
    while not reaches(high):
        low, high = high, 2 * high
        if high > MOST_SPECIMENS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high


def low_with(
    edge: NextEdge,
    rule: Rule,
    specimens: tuple[int, int],
    types: float,
    confidence: float,
    seed: int,
    cuts: int | None,
    lost: int,
) -> float:
    """The lower bound of a chance with other specimens of a type than now, as `specimens_to_show`; (now, then)."""
    now, count = specimens
    more = grown(edge, now, count, types)
    counts = None if cuts is None else round(cuts * count / now)
    return chance(more, rule, confidence, 4_096, seed, counts, round(lost * count / now)).low


def grown(edge: NextEdge, now: int, count: int, types: float) -> NextEdge:
    """The edge as it would be known from `count` specimens of its type, all types grown alike."""
    ratio = count / now
    fixed = {name for name in edge.mean_sizes if layer_of(name) == "sheet"}
    squares = []
    for s in edge.squares:
        layer = layer_of(s.name)
        df = s.df if layer == "sheet" else s.df + types * (count - now) if layer == "specimen" else s.df * ratio
        squares.append(replace(s, df=df))
    sizes = {name: size if name in fixed else size / ratio for name, size in edge.mean_sizes.items()}
    return replace(edge, squares=tuple(squares), mean_sizes=sizes)


def edge_draws(
    edge: NextEdge, draws: int, seed: int, means_seed: int | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draws (draws,) of the mean, the sd between edges and the sd of readings; the same for one number and seed.

    means_seed: of the error of the mean, as in `trials.infer.chance.joint.joint_draws`.
    """
    size = len(edge.squares) + 2
    columns = [chi_square_draws(s.df, size, draws, seed, j + 2) for j, s in enumerate(edge.squares)]
    z = even_normals(size, draws, seed if means_seed is None else means_seed)[:, 0]
    mean, found = pivot_draws(edge, np.vstack(columns), z)
    between = sum((found[name] for name in edge.between.values()), np.zeros(len(z)))
    return mean, np.sqrt(between), np.sqrt(found[edge.reading])


def pivot_draws(edge: NextEdge, chi_square: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Draws of the mean and of the variances; the mean moves with the mean squares of the same draw."""
    raw = draw(edge.squares, chi_square)
    found = floor(raw)
    straight = sum((size * v for size, v in _paired(edge.mean_sizes, raw)), np.zeros(len(z)))
    cut = sum((size * v for size, v in _paired(edge.mean_sizes, found)), np.zeros(len(z)))
    return edge.mean - z * np.sqrt(np.where(straight > 0, straight, cut)), found


def _step(room: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Normal probability of staying within `room`, a plain step where the spread is zero."""
    if np.all(spread > 0):
        return np.asarray(ndtr(room / spread))
    room, spread = np.broadcast_arrays(room, spread)
    safe = np.where(spread > 0, spread, 1.0)
    return np.where(spread > 0, ndtr(room / safe), (room >= 0).astype(float))


def _all_of(one: np.ndarray, count: int) -> np.ndarray:
    """one ** count by multiplication, which for the few readings of an edge is much quicker."""
    if count > 16:
        return one**count
    out = one
    for _ in range(count - 1):
        out = out * one
    return out


def _paired(sizes: dict[str, float], found: dict[str, np.ndarray]) -> list[tuple[float, np.ndarray]]:
    return [(size, found[name]) for name, size in sizes.items() if name in found]


def layer_of(name: str) -> str:
    """The layer a variance belongs to, its type left out."""
    return name.split(" of ")[0]


def _applies(name: str, of_type: str | None) -> bool:
    """A pooled variance applies to every type, one of its own only to that type."""
    return " of " not in name or (of_type is not None and name == key(layer_of(name), of_type))


def _rests_on(edge: NextEdge, rule: Rule) -> tuple[Finding, ...]:
    """What a chance takes for granted, and what the trial could not tell apart."""
    pooled = tuple(layer for layer, name in edge.between.items() if name == layer)
    found = [
        Finding(ChanceKind.RULE, facts={"judged_by": rule.kind, "readings": rule.readings}),
        Finding(ChanceKind.NEW_EACH_TIME, facts={"layers": tuple(edge.between), "pooled": pooled}),
    ]
    if edge.missing:
        found.append(Finding(ChanceKind.SPREAD_NOT_KNOWN, facts={"layers": edge.missing}))
    if rule.readings > 1 and "coupon" not in edge.between:
        found.append(Finding(ChanceKind.READINGS_INDEPENDENT))
    return tuple(found)


def check_rule(edge: NextEdge, rule: Rule, confidence: float) -> None:
    """A rule that can be judged, or a named error."""
    if rule.kind not in RULES or rule.readings < 1:
        raise WrongArgument(f"The rule must be one of {', '.join(RULES)} of at least one reading.")
    if not 0 < confidence < 1:
        raise WrongArgument("The confidence must lie between 0 and 1; 0.95 is usual.")
    if not np.isfinite([edge.mean, rule.limit]).all():
        raise NotFinite("The mean or the limit is missing or infinite; give both on the model scale.")
