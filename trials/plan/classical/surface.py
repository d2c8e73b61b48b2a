"""Plans for curved responses in coded units: central composite and Box-Behnken."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.errors import Infeasible, WrongArgument
from trials.plan.classical.factorial import CodedPlan, Fraction, best_generators, fraction, full_factorial

# Box and Behnken (1960), Technometrics 2:455, table 4 (from memory; that every pair of factors meets equally often, or
# in the case of six factors once or twice, is checked by the tests): factors varied together, numbered from 0.
_TRIPLES = {
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
_CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}


@dataclass(frozen=True)
class Composite(CodedPlan):
    """A central composite plan: so many `corners`, then axial runs at `distance`, then centre runs."""

    distance: float
    corners: int


def central_composite(
    names: Sequence[str], kind: str = "faced", centre: int = 4, corners: CodedPlan | None = None
) -> Composite:
    """Corners of a cube, axial runs and centre runs.

    Args:
        names: two factors or more.
        kind: "faced" puts the axial runs on the faces (distance 1, three levels); "rotatable" at
            (corner runs)^(1/4), NIST/SEMATECH e-Handbook 5.3.3.6.1, where the variance depends on the distance only.
        centre: runs at the centre.
        corners: the factorial part; without it the full one up to four factors, above that a fraction of resolution V
            or more in as few runs as carry the quadratic model.

    Raises
    ------
    WrongArgument
        If there are fewer than two factors, the kind is unknown, or the corners are of other factors.
    Infeasible
        If the corners are of a resolution below V, in which products of two factors cannot be told apart.
    """
    names = tuple(names)
    k = len(names)
    if k < 2:
        raise WrongArgument(f"a central composite plan needs two factors or more, not {k}. Add a factor")
    if kind not in ("faced", "rotatable"):
        raise WrongArgument(f'kind is {kind!r}, expected "faced" or "rotatable". Choose one')
    if int(centre) != centre or centre < 0:
        raise WrongArgument(f"{centre} centre points. Give zero or a positive whole number")
    cube = _corners(names) if corners is None else corners
    if cube.names != names:
        raise WrongArgument(
            f"corners are for {cube.names}, the plan for {names}. Use the same factors in the same order"
        )
    if isinstance(cube, Fraction) and cube.resolution is not None and cube.resolution < 5:
        raise Infeasible(
            f"corners of resolution {cube.resolution} confuse products of two factors. Use resolution 5 or more"
        )
    distance = 1.0 if kind == "faced" else float(len(cube.runs) ** 0.25)
    axial = distance * np.repeat(np.eye(k), 2, axis=0) * np.tile([-1.0, 1.0], k)[:, None]
    runs = np.vstack([cube.runs, axial, np.zeros((int(centre), k))])
    return Composite(names=names, runs=runs, distance=distance, corners=len(cube.runs))


def _corners(names: tuple[str, ...]) -> CodedPlan:
    """Return the smallest two-level plan of resolution V or more; the full one up to four factors."""
    k = len(names)
    for basic in range(4, k):
        try:
            generators = best_generators(names, basic)
        except Infeasible:
            continue
        cube = fraction(names, generators)
        if cube.resolution is None or cube.resolution >= 5:
            return cube
    return full_factorial(dict.fromkeys(names, 2))


def box_behnken(names: Sequence[str], centre: int | None = None) -> CodedPlan:
    """Three-level plan without corners: two (six and seven factors: three) factors at a time at -1 and 1, others at 0.

    Args:
        names: three to seven factors.
        centre: runs at the centre; without it those of Box and Behnken (1960): 3, 3, 6, 6, 6.

    Raises
    ------
    Infeasible
        If there is no such plan here for the number of factors.
    """
    names = tuple(names)
    k = len(names)
    if k not in _CENTRE:
        raise Infeasible(f"no Box-Behnken plan for {k} factors; there is one for 3 to 7. Use a central composite plan")
    together = _TRIPLES.get(k, tuple(itertools.combinations(range(k), 2)))
    parts = []
    for group in together:
        signs = full_factorial({str(i): 2 for i in group}).runs
        part = np.zeros((len(signs), k))
        part[:, group] = signs
        parts.append(part)
    points = _CENTRE[k] if centre is None else centre
    return CodedPlan(names, np.vstack([*parts, np.zeros((points, k))]))
