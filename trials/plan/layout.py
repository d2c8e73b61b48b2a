"""Where and when each coupon is cut: mounts on sheets and over the day, coupons inside a mount, positions, marks.

Everything random comes from the generator that is passed in, and nothing drawn depends on what a nozzle type is
called: renaming the types leaves order, positions and marks as they were.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trials.errors import Infeasible
from trials.findings import About, Amount, Fact, Finding, Weight
from trials.plan.kinds import PlanKind
from trials.plan.settings import Setting
from trials.trial import Method, Trial

LAYOUT_COLUMNS = ("block", "x_mm", "y_mm", "edge", "cut_direction")
EDGES = ("left", "right", "near", "far")
DIRECTIONS = ("clockwise", "anticlockwise")
# Letters and digits that hand, stamp and laser engraving keep apart: no 0O 1IL 5S 8B 2Z Q; M is left to mounts.
_LETTERS = "ACDEFGHJKNPRTUVWXY"
_DIGITS = "34679"
_SMALLEST_GAP_MM = 10.0  # common practice, no source: web between parts about the thickness, at least this
_SMALLEST_MARGIN_MM = 15.0  # common practice, no source: clear of clamps and of the sheet's own edge


@dataclass(frozen=True)
class MountRuns:
    """The coupons of one mount: settings in standard order, and how the order is found.

    spread: indices of coupons with one and the same setting, to be spread evenly through the mount (repeats);
    as_listed: True keeps the order of the list (a ladder), False draws it.
    """

    settings: tuple[Setting, ...]
    spread: tuple[int, ...] = ()
    as_listed: bool = False


def gap_mm(trial: Trial) -> float:
    """Material left between two coupons, mm: about the thickness, at least 10 mm (common practice, no source)."""
    return max(_SMALLEST_GAP_MM, trial.application.thickness_mm or 0.0)


def margin_mm(trial: Trial) -> float:
    """Material left along the sheet's edge, mm: about the thickness, at least 15 mm (common practice, no source)."""
    return max(_SMALLEST_MARGIN_MM, trial.application.thickness_mm or 0.0)


def needs_tabs(trial: Trial) -> bool:
    """True where a coupon may fall between slats or tip: its shorter side is not above the slat pitch, or unknown."""
    pitch = trial.coupon.slat_pitch_mm
    return pitch is None or min(trial.coupon.length_mm, trial.coupon.width_mm) <= pitch


def coupon_marks(count: int, rng: np.random.Generator, taken: Sequence[str] = ()) -> list[str]:
    """Random marks to engrave, letter-digit-letter (then a second digit when many are needed), unlike any in `taken`.

    A mark never reads as a number or a word and holds no two characters that are easily confused.

    Raises
    ------
    Infeasible
        If there are not enough marks.
    """
    used = set(taken)
    pools = [[a + d + b for a in _LETTERS for d in _DIGITS for b in _LETTERS]]
    pools.append([mark + digit for mark in pools[0] for digit in _DIGITS])
    for pool in pools:
        free = [mark for mark in pool if mark not in used]
        if len(free) >= 2 * count or (pool is pools[-1] and len(free) >= count):
            return [free[i] for i in rng.choice(len(free), size=count, replace=False)]
    raise Infeasible(f"{count} coupons are more than there are marks to engrave; plan fewer coupons.")


@dataclass(frozen=True)
class MountRequest:
    """Mounts to place.

    pieces: specimens by nozzle type; rounds: mounts of each specimen; first_*: the number at which marks go on.
    """

    pieces: Mapping[str, Sequence[str]]
    rounds: int
    sheets: int
    first_mount: int = 1
    first_sheet: int = 1


def place_mounts(asked: MountRequest, rng: np.random.Generator) -> pd.DataFrame:
    """Mounts in the order of fitting: `mount, order, sheet, nozzle, specimen`.

    Each sheet holds every type equally often (within one), a specimen's further mounts go to other sheets where they
    can, the mounts of one sheet follow each other, and within a sheet each run of consecutive mounts holds every type
    once in random order.

    Raises
    ------
    Infeasible
        If there are more sheets than mounts, or types and sheets fall apart into groups that share no sheet, so that
        nozzle and sheet cannot be told apart.
    """
    total = asked.rounds * sum(len(specimens) for specimens in asked.pieces.values())
    if asked.sheets > total:
        raise Infeasible(f"{total} mounts cannot fill {asked.sheets} sheets; set plan.sheets to {total} or less.")
    shared = _share_sheets(asked.pieces, asked.rounds, asked.sheets, rng)
    _refuse_disconnected(shared, asked.sheets)
    rows: list[tuple[str, int, str, str, str]] = []
    for sheet in range(asked.sheets):
        on_sheet = [(nozzle, specimen, turn) for nozzle, specimen, turn, where in shared if where == sheet]
        for nozzle, specimen in _in_blocks(on_sheet, list(asked.pieces), rng):
            number = asked.first_mount + len(rows)
            rows.append((f"M{number:02d}", number, f"S{asked.first_sheet + sheet}", nozzle, specimen))
    return pd.DataFrame(rows, columns=["mount", "order", "sheet", "nozzle", "specimen"])


def _share_sheets(
    pieces: Mapping[str, Sequence[str]], rounds: int, sheets: int, rng: np.random.Generator
) -> list[tuple[str, str, int, int]]:
    """(nozzle, specimen, round, sheet) of every mount: least filled sheets first, then specimens matched to them."""
    from scipy.optimize import linear_sum_assignment

    shared: list[tuple[str, str, int, int]] = []
    load = np.zeros(sheets, dtype=int)
    for nozzle, specimens in pieces.items():
        held = np.zeros(sheets, dtype=int)
        met = np.zeros((len(specimens), sheets))
        for turn in range(rounds):
            slots = []
            for _ in specimens:
                slot = int(np.lexsort((rng.random(sheets), load, held))[0])
                slots.append(slot)
                held[slot] += 1
                load[slot] += 1
            cost = met[:, slots] + 1e-4 * rng.random((len(specimens), len(slots)))
            for piece, column in zip(*linear_sum_assignment(cost), strict=True):
                met[piece, slots[column]] += 1
                shared.append((nozzle, specimens[int(piece)], turn, slots[column]))
    return shared


def _refuse_disconnected(shared: Sequence[tuple[str, str, int, int]], sheets: int) -> None:
    """Raise where some types share no chain of sheets with the others."""
    reached: set[str] = set()
    frontier = {shared[0][0]}
    while frontier:
        reached |= frontier
        on = {sheet for nozzle, _, _, sheet in shared if nozzle in reached}
        frontier = {nozzle for nozzle, _, _, sheet in shared if sheet in on} - reached
    apart = sorted({nozzle for nozzle, *_ in shared} - reached)
    if apart:
        raise Infeasible(
            f"With {sheets} sheets, nozzle {apart[0]!r} never shares a sheet with {shared[0][0]!r}, directly or "
            "through other types: nozzle and sheet cannot be told apart. Use fewer sheets or more mounts per type."
        )


def _in_blocks(
    on_sheet: Sequence[tuple[str, str, int]], types: Sequence[str], rng: np.random.Generator
) -> list[tuple[str, str]]:
    """Mounts of one sheet in order: consecutive blocks that hold each type once, in random order within."""
    queues = {}
    for nozzle in types:
        own = [(turn, specimen) for name, specimen, turn in on_sheet if name == nozzle]
        own = [own[i] for i in rng.permutation(len(own))]
        queues[nozzle] = [specimen for _, specimen in sorted(own, key=lambda item: item[0])]
    depth = max(len(queue) for queue in queues.values())
    blocks: list[list[tuple[str, str]]] = [[] for _ in range(depth)]
    for nozzle, queue in queues.items():
        where = np.sort(rng.choice(depth, size=len(queue), replace=False))
        for block, specimen in zip(where, queue, strict=True):
            blocks[block].append((nozzle, specimen))
    return [block[i] for block in blocks for i in rng.permutation(len(block))]


def sheet_balance(mounts: pd.DataFrame) -> list[Finding]:
    """Types that some sheet holds less often than others, or not at all; empty where all is balanced."""
    counts = pd.crosstab(mounts["nozzle"], mounts["sheet"])
    found = []
    for nozzle, row in counts.iterrows():
        least, most = int(row.min()), int(row.max())
        if least == most:
            continue
        facts: dict[str, Fact] = {
            "mounts": int(row.sum()),
            "sheets": len(row),
            "fewest_on": tuple(map(str, row.index[row == least])),
            "fewest": least,
            "most": most,
        }
        found.append(Finding(PlanKind.SHEETS_UNEVEN, About(nozzle=str(nozzle)), facts, Weight.LOOK_AT))
    return found


@dataclass(frozen=True)
class LayoutRequest:
    """What is to be laid out.

    mounts: as `place_mounts` gives them; runs: the coupons of each mount, by mount label; taken: marks engraved so far.
    """

    mounts: pd.DataFrame
    runs: Mapping[str, MountRuns]
    block: int = 1
    first_order: int = 1
    taken: Sequence[str] = ()


def lay_out(trial: Trial, asked: LayoutRequest, rng: np.random.Generator) -> tuple[pd.DataFrame, list[Finding]]:
    """The coupons table of a plan, in cutting order, and what has to be said about the layout.

    Columns: `coupon, order, sheet, mount, nozzle, specimen`, one per factor, `block, x_mm, y_mm` (near left corner of
    the outline, from the near left corner of the sheet), `edge` (the one to measure) and `cut_direction` (travel around
    the coupon, seen from above).

    Raises
    ------
    Infeasible
        If the coupons do not fit on a sheet, or marks run out.
    """
    order_rng, place_rng, mark_rng = rng.spawn(3)
    rows: list[dict[str, Any]] = []
    seen: dict[str, int] = {}
    for mount in asked.mounts.to_dict("records"):
        runs, nozzle = asked.runs[mount["mount"]], mount["nozzle"]
        turn = seen[nozzle] = seen.get(nozzle, -1) + 1
        for index in _order_in_mount(runs, order_rng):
            edge, direction = _side(index, turn)
            setting = {trial.factor_column(name): level for name, level in runs.settings[index].items()}
            own = {name: mount[name] for name in ("mount", "nozzle", "specimen")}
            own["sheet"] = _sheet_of(trial, str(mount["sheet"]), runs.settings[index])
            rows.append(own | setting | {"block": asked.block, "edge": edge, "cut_direction": direction})
    table = pd.DataFrame(rows)
    table.insert(0, "order", np.arange(asked.first_order, asked.first_order + len(table)))
    table.insert(0, "coupon", coupon_marks(len(table), mark_rng, asked.taken))
    found = _put_on_sheets(trial, table, place_rng)
    factors = [trial.factor_column(name) for name in trial.factors]
    columns = ["coupon", "order", "sheet", "mount", "nozzle", "specimen", *factors, *LAYOUT_COLUMNS]
    return table[columns], found


def _sheet_of(trial: Trial, sheet: str, setting: Setting) -> str:
    """Where a coupon is cut: on the sheet of its mount, or in a ladder of thickness on that of its own thickness."""
    if trial.plan.method is Method.LADDER and trial.rising == "thickness":
        return f"{sheet}-{setting['thickness']:g}"
    return sheet


def _order_in_mount(asked: MountRuns, rng: np.random.Generator) -> list[int]:
    """Indices of a mount's coupons in cutting order; coupons to spread fall one into each equal part of the mount."""
    count = len(asked.settings)
    if asked.as_listed:
        return list(range(count))
    if len(asked.spread) < 2:
        return [int(i) for i in rng.permutation(count)]
    parts = np.array_split(np.arange(count), len(asked.spread))
    at = [int(rng.choice(part)) for part in parts]
    others = rng.permutation([i for i in range(count) if i not in asked.spread])
    order = dict(zip(at, rng.permutation(list(asked.spread)), strict=True))
    order |= dict(zip((i for i in range(count) if i not in order), others, strict=True))
    return [int(order[i]) for i in range(count)]


def _side(index: int, turn: int) -> tuple[str, str]:
    """Measured edge and travel of coupon `index` in the `turn`-th mount of its type: each setting meets other sides."""
    code = (index + 3 * turn) % (len(EDGES) * len(DIRECTIONS))
    return EDGES[code % len(EDGES)], DIRECTIONS[code // len(EDGES)]


def grid(trial: Trial) -> np.ndarray:
    """Near left corners (N, 2), mm, of all places for a coupon on a sheet, column by column from the left."""
    size, gap, margin = trial.coupon, gap_mm(trial), margin_mm(trial)
    along = math.floor((size.sheet_length_mm - 2 * margin + gap) / (size.length_mm + gap) + 1e-9)
    across = math.floor((size.sheet_width_mm - 2 * margin + gap) / (size.width_mm + gap) + 1e-9)
    x = margin + np.arange(max(along, 0)) * (size.length_mm + gap)
    y = margin + np.arange(max(across, 0)) * (size.width_mm + gap)
    return np.array([(a, b) for a in x for b in y]).reshape(-1, 2)


def _put_on_sheets(trial: Trial, table: pd.DataFrame, rng: np.random.Generator) -> list[Finding]:
    """Fill `x_mm, y_mm` sheet by sheet; returns what has to be said about places and heat."""
    cells, size = grid(trial), trial.coupon
    closest = math.inf
    for sheet, rows in table.groupby("sheet", sort=False).groups.items():
        if len(rows) > len(cells):
            raise Infeasible(
                f"Sheet {sheet} needs {len(rows)} coupons of {size.length_mm:g} x {size.width_mm:g} mm, but "
                f"{size.sheet_length_mm:g} x {size.sheet_width_mm:g} mm holds {len(cells)} with {gap_mm(trial):g} mm "
                f"between them and {margin_mm(trial):g} mm to the edge; use more sheets, a larger sheet, smaller "
                "coupons or fewer settings."
            )
        places = _far_apart(cells, len(rows), max(size.length_mm, size.width_mm) + gap_mm(trial), rng)
        table.loc[rows, ["x_mm", "y_mm"]] = places
        if len(rows) > 1:
            closest = min(closest, float(np.linalg.norm(np.diff(places, axis=0), axis=1).min()))
    return _places(trial, closest)


def _places(trial: Trial, closest: float) -> list[Finding]:
    size = trial.coupon
    facts: dict[str, Fact] = {
        "length": Amount(size.length_mm, "mm"),
        "width": Amount(size.width_mm, "mm"),
        "gap": Amount(gap_mm(trial), "mm"),
        "margin": Amount(margin_mm(trial), "mm"),
    }
    found = [Finding(PlanKind.SPACING, facts=facts)]
    if math.isfinite(closest):
        found.append(Finding(PlanKind.DISTANCE, facts={"distance": Amount(float(math.floor(closest)), "mm")}))
    shorter = min(size.length_mm, size.width_mm)
    if size.slat_pitch_mm is None:
        found.append(Finding(PlanKind.SLATS_UNKNOWN, weight=Weight.LOOK_AT))
    elif shorter <= size.slat_pitch_mm:
        slats: dict[str, Fact] = {"width": Amount(shorter, "mm"), "pitch": Amount(size.slat_pitch_mm, "mm")}
        found.append(Finding(PlanKind.MAY_TIP, facts=slats, weight=Weight.LOOK_AT))
    return found


def _far_apart(cells: np.ndarray, count: int, pitch: float, rng: np.random.Generator) -> np.ndarray:
    """Places (count, 2) in cutting order, consecutive ones as far apart as 2, 1.5 or 1 pitch can be held."""
    rows = max(1, len(np.unique(cells[:, 1])))
    compact = min(len(cells), rows * math.ceil(count / rows))
    for times in (2.0, 1.5, 1.0):
        for used in dict.fromkeys((compact, min(len(cells), 2 * compact), len(cells))):
            order = _without_neighbours(cells[:used], count, times * pitch, rng)
            if order is not None:
                return np.asarray(cells[order])
    return np.asarray(cells[rng.permutation(compact)[:count]])


def _without_neighbours(cells: np.ndarray, count: int, distance: float, rng: np.random.Generator) -> np.ndarray | None:
    """A random order of `count` of the cells with no consecutive pair closer than `distance`; None if not found.

    Starts from a random order and exchanges a cell of an offending pair with the cell that leaves fewest.
    """
    close = np.linalg.norm(cells[:, None] - cells[None], axis=2) < distance - 1e-9
    order = rng.permutation(len(cells))
    for _ in range(4 * count + 20):
        bad = np.flatnonzero(close[order[: count - 1], order[1:count]])
        if not len(bad):
            return order[:count]
        at = int(rng.choice(bad)) + int(rng.integers(2))
        trials = np.tile(order, (len(order), 1))
        trials[np.arange(len(order)), at] = order
        trials[np.arange(len(order)), np.arange(len(order))] = order[at]
        left = close[trials[:, : count - 1], trials[:, 1:count]].sum(axis=1)
        order = trials[rng.choice(np.flatnonzero(left == left.min()))]
    return None
