"""Which random effects the records carry, and in words what the nozzle test rests on.

Nobody is asked: the labels say it. A grouping that the records cannot separate from another leaves, and the sentence
says so; nothing is left out silently.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ORDER = ("sheet", "specimen", "mount", "coupon")
FEW_SHEETS = 3


@dataclass(frozen=True)
class Structure:
    """What carries the comparison.

    groups: random effects by name, labels (n,); block: labels of a sheet that stays fixed, or None; yardstick: the
    grouping that nozzle types are judged against ("specimen", "mount", "coupon", "reading"); pieces_only: True where
    the result is about these pieces and not about the types; replicated: False where nothing above the coupon was
    repeated, so that nozzle types get differences without p-values; said: sentences; block_word: how a sheet is called.
    """

    groups: dict[str, NDArray]
    block: NDArray | None
    yardstick: str
    pieces_only: bool
    replicated: bool
    counts: dict[str, int]
    said: tuple[str, ...]
    block_word: str = "sheet"


def find_structure(
    nozzle: NDArray, groups: Mapping[str, NDArray], block_word: str = "sheet", fixed_sheets: bool = False
) -> Structure:
    """Read the random effects off the labels.

    nozzle (n,) type labels; groups: label arrays (n,) under "sheet", "specimen", "mount", "coupon", as far as the
    records have them; an empty label anywhere makes that grouping absent. block_word: how a sheet is called here.
    fixed_sheets: sheets are a fixed part however many there are.
    """
    said: list[str] = []
    labels = {name: np.asarray(groups[name], dtype=object) for name in ORDER if _complete(groups.get(name))}
    counts = {name: len(set(values)) for name, values in labels.items()}
    block, labels = _settle_sheet(labels, block_word, fixed_sheets, said)
    labels = _settle_coupon(labels, len(nozzle), said)
    labels = _merge_equal(labels, said)
    labels, pieces_only = _settle_specimen(nozzle, labels, said)
    yardstick = _yardstick(nozzle, labels)
    replicated = yardstick in ("specimen", "mount") or len(set(nozzle)) < 2
    if not replicated:
        said.append(_why_not_replicated(labels, counts, nozzle))
    return Structure(labels, block, yardstick, pieces_only, replicated, counts, tuple(said), block_word)


def _complete(values: NDArray | None) -> bool:
    if values is None or len(values) == 0:
        return False
    return all(value is not None and value == value and str(value) != "" for value in set(values))


def _same(a: NDArray, b: NDArray) -> bool:
    pairs = len(set(zip(a, b, strict=True)))
    return pairs == len(set(a)) == len(set(b))


def _settle_sheet(
    labels: dict[str, NDArray], word: str, fixed: bool, said: list[str]
) -> tuple[NDArray | None, dict[str, NDArray]]:
    sheet = labels.get("sheet")
    if sheet is None:
        return None, labels
    rest = {name: values for name, values in labels.items() if name != "sheet"}
    n = len(set(sheet))
    if n == 1:
        return None, rest
    if n < FEW_SHEETS:
        said.append(
            f"Only {n} {word}s: the {word} is a fixed part of the model, so the answer holds for these {word}s; "
            f"with {FEW_SHEETS} or more it would reach to the next one."
        )
        return sheet, rest
    return (sheet, rest) if fixed else (None, labels)


def _settle_coupon(labels: dict[str, NDArray], n: int, said: list[str]) -> dict[str, NDArray]:
    coupon = labels.get("coupon")
    if coupon is not None and len(set(coupon)) == n:
        said.append("One reading per coupon: the spread between coupons and between readings cannot be told apart.")
        return {name: values for name, values in labels.items() if name != "coupon"}
    return labels


def _merge_equal(labels: dict[str, NDArray], said: list[str]) -> dict[str, NDArray]:
    kept: dict[str, NDArray] = {}
    for name, values in labels.items():
        twin = next((other for other in kept if _same(values, kept[other])), None)
        if len(set(values)) == len(values):
            said.append(f"One reading per {name}: its spread cannot be told apart from that of readings.")
        elif twin is not None:
            said.append(f"One {name} per {twin}: their spreads are one and stand under {twin}.")
        elif len(set(values)) > 1:
            kept[name] = values
    return kept


def _settle_specimen(nozzle: NDArray, labels: dict[str, NDArray], said: list[str]) -> tuple[dict[str, NDArray], bool]:
    specimen = labels.get("specimen")
    if specimen is None:
        return labels, True
    if _same(specimen, nozzle) or len(set(specimen)) <= len(set(nozzle)):
        said.append("One specimen per type: the result is about these nozzles, not about these types.")
        return {name: values for name, values in labels.items() if name != "specimen"}, True
    singles = [t for t in dict.fromkeys(nozzle) if len(set(specimen[nozzle == t])) == 1]
    if singles:
        said.append(
            f"One specimen only of {', '.join(map(str, singles))}: its own spread is taken from the other types."
        )
    return labels, False


def _yardstick(nozzle: NDArray, labels: Mapping[str, NDArray]) -> str:
    """The highest grouping that stands inside nozzle types and is repeated within one of them."""
    for name in ("specimen", "mount", "coupon"):
        values = labels.get(name)
        if values is None:
            continue
        nested = len(set(zip(values, nozzle, strict=True))) == len(set(values))
        if nested and len(set(values)) > len(set(nozzle)):
            return name
    return "reading"


def _why_not_replicated(labels: Mapping[str, NDArray], counts: Mapping[str, int], nozzle: NDArray) -> str:
    missing = [name for name in ("specimen", "mount") if name not in counts]
    if missing:
        return (
            f"The records name no {' and no '.join(missing)}: nobody can say how much one nozzle of a type differs "
            "from the next, so nozzle types get differences without p-values, and no answer is called settled."
        )
    return (
        "No specimen or mount was repeated within a type: differences between nozzles come without p-values, because "
        "the coupons say only how these pieces, mounted once, compare."
    )


def rests_on(structure: Structure, den_df: float | None) -> str:
    """What the nozzle test rests on, in words: `12 specimens on 3 sheets; 6 degrees of freedom`."""
    n = structure.counts.get(structure.yardstick)
    what = f"{n} {structure.yardstick}s" if n else "readings"
    sheets = structure.counts.get("sheet", 0)
    word = structure.block_word
    where = f" on {sheets} {word}s" if sheets > 1 else (f" on one {word}" if sheets == 1 else "")
    if den_df is None:
        return f"{what}{where}; nothing above the coupon was repeated"
    return f"{what}{where}; {den_df:.3g} degrees of freedom"
