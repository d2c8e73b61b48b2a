"""Rows by label: where each level begins, and which one a row belongs to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Levels:
    """Levels of labels (n,), sorted as text. first: index of the first row of each; place (n,): level of each row."""

    first: Indices
    place: Indices

    @classmethod
    def of(cls, labels: NDArray[np.object_] | Levels) -> Levels:
        """Labels that are the same text are one level; each different one is written as text once.

        What was worked out before is handed on.
        """
        if isinstance(labels, Levels):
            return labels
        codes, known = pd.factorize(np.asarray(labels), use_na_sentinel=False)
        place = np.unique(np.asarray(known, dtype=str), return_inverse=True)[1][codes]
        first = np.empty(place.max(initial=-1) + 1, dtype=np.intp)
        first[place[::-1]] = np.arange(len(place))[::-1]
        return cls(first, place)

    @property
    def counts(self) -> Indices:
        """Rows of each level."""
        return np.bincount(self.place, minlength=len(self.first))
