"""Which random effects the records carry, and what the nozzle test rests on.

Nobody is asked: the labels say it. A grouping that the records cannot separate from another leaves, and a finding
says so; nothing is left out silently.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.findings import About, Finding
from trials.infer.kinds import InferKind

Labels = NDArray[np.object_]
ORDER = ("sheet", "specimen", "mount", "coupon")
FEW_SHEETS = 3


@dataclass(frozen=True)
class Structure:
    """What carries the comparison.

    groups: random effects by name, labels (n,); block: labels of a sheet that stays fixed, or None; yardstick: the
    grouping that nozzle types are judged against ("specimen", "mount", "coupon", "reading"); pieces_only: True where
    the result is about these pieces and not about the types; replicated: False where nothing above the coupon was
    repeated, so that nozzle types get differences without p-values; said: what had to be left out, and what follows;
    block_word: how a sheet is called ("sheet" or "block").
    """

    groups: dict[str, Labels]
    block: Labels | None
    yardstick: str
    pieces_only: bool
    replicated: bool
    counts: dict[str, int]
    said: tuple[Finding, ...]
    block_word: str = "sheet"


@dataclass(frozen=True)
class RestsOn:
    """What the nozzle test rests on.

    unit: the yardstick; n: how many of them, None where the records do not name them; blocks: sheets or blocks
    (`block`) that they stand on; df: denominator degrees of freedom, None where nothing above the coupon was repeated.
    """

    unit: str
    n: int | None
    blocks: int
    block: str
    df: float | None


def find_structure(nozzle: Labels, groups: Mapping[str, Labels], block_word: str = "sheet") -> Structure:
    """Read the random effects off the labels.

    nozzle (n,) type labels; groups: label arrays (n,) under "sheet", "specimen", "mount", "coupon", as far as the
    records have them; an empty label anywhere makes that grouping absent. block_word: how a sheet is called here.
    """
    said: list[Finding] = []
    whole = {name: np.asarray(groups[name], dtype=object) for name in ORDER if len(groups.get(name, ()))}
    once = ~pd.DataFrame({"": nozzle, **whole}).duplicated().to_numpy(bool)
    n, nozzle = len(nozzle), nozzle[once]  # rows that repeat tell nothing new
    labels = {name: values[once] for name, values in whole.items() if _complete(values[once])}
    counts = {name: len(set(values)) for name, values in labels.items()}
    block, labels = _settle_sheet(labels, block_word, said)
    labels = _settle_coupon(labels, n, said)
    labels = _merge_equal(labels, n, said)
    labels, pieces_only = _settle_specimen(nozzle, labels, said)
    yardstick = _yardstick(nozzle, labels)
    replicated = yardstick in ("specimen", "mount") or len(set(nozzle)) < 2
    if not replicated:
        said.append(_why_not_replicated(counts))
    kept, fixed = {name: whole[name] for name in labels}, whole["sheet"] if block else None
    return Structure(kept, fixed, yardstick, pieces_only, replicated, counts, tuple(said), block_word)


def _complete(values: Labels) -> bool:
    return all(value is not None and value == value and str(value) != "" for value in set(values))


def _same(a: Labels, b: Labels) -> bool:
    pairs = len(set(zip(a, b, strict=True)))
    return pairs == len(set(a)) == len(set(b))


def _settle_sheet(labels: dict[str, Labels], word: str, said: list[Finding]) -> tuple[bool, dict[str, Labels]]:
    """Whether sheets stay fixed, and the labels without them if they do or there is one only."""
    sheet = labels.get("sheet")
    if sheet is None:
        return False, labels
    rest = {name: values for name, values in labels.items() if name != "sheet"}
    n = len(set(sheet))
    if n == 1:
        return False, rest
    if n < FEW_SHEETS:
        said.append(Finding(InferKind.FEW_SHEETS, facts={"n": n, "block": word, "enough": FEW_SHEETS}))
        return True, rest
    return False, labels


def _settle_coupon(labels: dict[str, Labels], n: int, said: list[Finding]) -> dict[str, Labels]:
    coupon = labels.get("coupon")
    if coupon is not None and len(set(coupon)) == n:
        said.append(Finding(InferKind.ONE_READING_PER, About(source="coupon")))
        return {name: values for name, values in labels.items() if name != "coupon"}
    return labels


def _merge_equal(labels: dict[str, Labels], n: int, said: list[Finding]) -> dict[str, Labels]:
    kept: dict[str, Labels] = {}
    for name, values in labels.items():
        twin = next((other for other in kept if _same(values, kept[other])), None)
        if len(set(values)) == n:
            said.append(Finding(InferKind.ONE_READING_PER, About(source=name)))
        elif twin is not None:
            said.append(Finding(InferKind.ONE_PER, About(source=name), {"of_each": twin}))
        elif len(set(values)) > 1:
            kept[name] = values
    return kept


def _settle_specimen(nozzle: Labels, labels: dict[str, Labels], said: list[Finding]) -> tuple[dict[str, Labels], bool]:
    specimen = labels.get("specimen")
    if specimen is None:
        return labels, True
    if _same(specimen, nozzle) or len(set(specimen)) <= len(set(nozzle)):
        said.append(Finding(InferKind.ONE_SPECIMEN_EACH))
        return {name: values for name, values in labels.items() if name != "specimen"}, True
    singles = [t for t in dict.fromkeys(nozzle) if len(set(specimen[nozzle == t])) == 1]
    if singles:
        said.append(Finding(InferKind.ONE_SPECIMEN_OF, About(nozzles=tuple(map(str, singles)))))
    return labels, False


def _yardstick(nozzle: Labels, labels: Mapping[str, Labels]) -> str:
    """The highest grouping that stands inside nozzle types and is repeated within one of them."""
    for name in ("specimen", "mount", "coupon"):
        values = labels.get(name)
        if values is None:
            continue
        nested = len(set(zip(values, nozzle, strict=True))) == len(set(values))
        if nested and len(set(values)) > len(set(nozzle)):
            return name
    return "reading"


def _why_not_replicated(counts: Mapping[str, int]) -> Finding:
    missing = tuple(name for name in ("specimen", "mount") if name not in counts)
    if missing:
        return Finding(InferKind.NOT_NAMED, facts={"missing": missing})
    return Finding(InferKind.NOT_REPEATED)


def rests_on(structure: Structure, den_df: float | None) -> RestsOn:
    """What the nozzle test rests on; den_df: its denominator degrees of freedom, None where there is no test."""
    n = structure.counts.get(structure.yardstick)
    return RestsOn(structure.yardstick, n, structure.counts.get("sheet", 0), structure.block_word, den_df)
