"""Full factorials and two-level fractions in coded units, with their aliases.

Symbols as in Box, Hunter and Hunter (2005), ch. 6: a generator makes the column of one factor the product of others;
the defining words are the products of columns that are constant; effects that differ by a word are aliases.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from trials.errors import Infeasible, WrongArgument

MOST_SETS = 70_000  # generator sets that `best_generators` is willing to compare


@dataclass(frozen=True)
class CodedPlan:
    """Runs in coded units: `names` of the k factors, `runs` (n, k) in standard order, -1 low, 0 centre, 1 high."""

    names: tuple[str, ...]
    runs: np.ndarray


@dataclass(frozen=True)
class Effect:
    """A product of factors with its sign: of a defining word, or of an alias relative to the first of its group."""

    factors: tuple[str, ...]
    sign: int = 1

    def __str__(self) -> str:
        """Name the effect: `pressure x standoff`."""
        return " x ".join(self.factors)


@dataclass(frozen=True)
class Fraction(CodedPlan):
    """A two-level fraction.

    Attributes:
        words: the defining words with their signs, shortest first; empty for a full factorial.
        resolution: length of the shortest word; None for a full factorial.
        word_lengths: how many words have length 1, 2, ..., k.
    """

    words: tuple[Effect, ...]
    resolution: int | None
    word_lengths: tuple[int, ...]


def full_factorial(levels: Mapping[str, int]) -> CodedPlan:
    """Every crossing of evenly spaced levels between -1 and 1, the first factor changing fastest.

    Raises
    ------
    WrongArgument
        If there is no factor, or one with fewer than two levels.
    """
    names = _checked_names(list(levels))
    short = [name for name in names if int(levels[name]) != levels[name] or levels[name] < 2]
    if short:
        raise WrongArgument(f"{short[0]} has {levels[short[0]]} levels. Give a whole number of two or more")
    axes = [np.linspace(-1.0, 1.0, int(levels[name])) for name in reversed(names)]
    runs = np.array(list(itertools.product(*axes)))[:, ::-1]
    return CodedPlan(names, np.ascontiguousarray(runs))


def fraction(names: Sequence[str], generators: Mapping[str, Sequence[str]], minus: Sequence[str] = ()) -> Fraction:
    """Two-level fraction: each generated factor is the product of others, times -1 for those in `minus`.

    Args:
        names: all factors, in the order of the columns.
        generators: generated factor -> the basic factors whose product it is.
        minus: generated factors with a minus sign, which choose another fraction of the same family.

    Raises
    ------
    WrongArgument
        If names are unknown or repeated, or a generator uses a generated factor.
    Infeasible
        If two factors, or a factor and the mean, share a column.
    """
    names = _checked_names(names)
    basic = tuple(name for name in names if name not in generators)
    _check_generators(names, basic, generators, minus)
    base = full_factorial(dict.fromkeys(basic, 2)).runs
    columns = {name: base[:, i] for i, name in enumerate(basic)}
    for name, parts in generators.items():
        sign = -1.0 if name in minus else 1.0
        columns[name] = sign * np.prod([columns[part] for part in parts], axis=0)
    words = _defining_words(names, generators, minus)
    short = [word for word in words if len(word.factors) < 3]
    if short:
        raise Infeasible(
            f"{' and '.join(short[0].factors)} would have the same column, so their effects could not be told apart. "
            "Choose other generators"
        )
    lengths = [len(word.factors) for word in words]
    return Fraction(
        names=names,
        runs=np.column_stack([columns[name] for name in names]),
        words=words,
        resolution=min(lengths) if lengths else None,
        word_lengths=tuple(lengths.count(i) for i in range(1, len(names) + 1)),
    )


def _checked_names(names: Sequence[str]) -> tuple[str, ...]:
    found = tuple(names)
    if not found or len(set(found)) < len(found):
        raise WrongArgument(f"factor names are {found}. Name one factor or more, each once")
    return found


def _check_generators(
    names: tuple[str, ...], basic: tuple[str, ...], generators: Mapping[str, Sequence[str]], minus: Sequence[str]
) -> None:
    for name, parts in generators.items():
        wrong = [part for part in parts if part not in basic]
        if name not in names or wrong or not parts or len(set(parts)) < len(parts):
            raise WrongArgument(
                f"generator {name} = {' x '.join(parts)} must give one factor as a product of basic ones "
                f"({', '.join(basic)}), each once. Correct it"
            )
    stray = [name for name in minus if name not in generators]
    if stray:
        raise WrongArgument(f"{stray[0]} has a minus sign but no generator. Name generated factors only")


def _ordered(names: Sequence[str], factors: frozenset[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name in factors)


def _times(a: tuple[frozenset[str], int], b: tuple[frozenset[str], int]) -> tuple[frozenset[str], int]:
    return a[0] ^ b[0], a[1] * b[1]


def _defining_words(
    names: Sequence[str], generators: Mapping[str, Sequence[str]], minus: Sequence[str]
) -> tuple[Effect, ...]:
    """Multiply the generators out in all ways; shortest words first."""
    single = [(frozenset(parts) | {name}, -1 if name in minus else 1) for name, parts in generators.items()]
    products = [
        reduce(_times, some) for size in range(1, len(single) + 1) for some in itertools.combinations(single, size)
    ]
    words = [Effect(_ordered(names, factors), sign) for factors, sign in products]
    return tuple(sorted(words, key=lambda word: (len(word.factors), [names.index(f) for f in word.factors])))


def alias_groups(plan: Fraction, order: int = 2) -> tuple[tuple[Effect, ...], ...]:
    """Group the effects of up to `order` factors that the fraction cannot tell apart; singles are groups of one.

    The sign of each effect is relative to the first of its group.
    """
    words = [(frozenset(word.factors), word.sign) for word in plan.words]
    effects = [some for size in range(1, order + 1) for some in itertools.combinations(plan.names, size)]
    groups, seen = [], set()
    for effect in effects:
        if effect in seen:
            continue
        family = {frozenset(effect): 1} | dict(_times((frozenset(effect), 1), word) for word in words)
        group = [Effect(other, family[frozenset(other)]) for other in effects if frozenset(other) in family]
        seen |= {other.factors for other in group}
        groups.append(tuple(group))
    return tuple(groups)


def best_generators(names: Sequence[str], basic: int) -> dict[str, tuple[str, ...]]:
    """Generators of the fraction in 2^basic runs with the fewest short words (Fries and Hunter 1980).

    Every set of distinct generators is compared, so the answer is exact; the first `basic` names are the basic ones.

    Raises
    ------
    Infeasible
        If so few runs cannot hold so many factors, or there are too many sets to compare.
    """
    names = _checked_names(names)
    wanted = len(names) - basic
    if wanted <= 0:
        return {}
    masks = [mask for mask in range(1, 2**basic) if mask.bit_count() > 1]
    if basic < 2 or wanted > len(masks):
        raise Infeasible(f"{2**basic} runs cannot hold {len(names)} factors at two levels. Use more runs")
    if math.comb(len(masks), wanted) > MOST_SETS:
        raise Infeasible(f"too many ways to put {len(names)} factors into {2**basic} runs. Name the generators")
    sets = np.array(list(itertools.combinations(masks, wanted)))
    full = sets | (1 << np.arange(basic, basic + wanted))
    words = np.zeros((len(sets), 1), dtype=np.int64)
    for column in full.T:
        words = np.hstack([words, words ^ column[:, None]])
    lengths = np.bitwise_count(words[:, 1:])
    pattern = np.stack([(lengths == size).sum(axis=1) for size in range(1, len(names) + 1)], axis=1)
    longest = np.array([-sum(int(mask).bit_count() for mask in row) for row in sets])
    best = np.lexsort((longest, *pattern.T[::-1]))[0]
    chosen = sorted(sets[best].tolist(), key=lambda mask: (mask.bit_count(), mask))
    return {
        name: tuple(names[i] for i in range(basic) if mask >> i & 1)
        for name, mask in zip(names[basic:], chosen, strict=True)
    }
