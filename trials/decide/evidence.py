"""What a study rests on: everything recorded, ready to be studied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trials.decide.known_lives import KnownLives
from trials.decide.response import Allowed
from trials.findings import Finding


@dataclass(frozen=True)
class Evidence:
    """What was recorded, ready to be studied.

    tables: by response, as-cut readings; coupons: one row per planned or cut coupon with nozzle, specimen, outcome;
    grades: one row per coupon with meets; allowed: planned settings of each type; departures: from the plan;
    confounded: what the plan cannot tell apart; open_slips: readings nobody confirmed; look: which look at the data
    this is (1 first); lives: of nozzle types, from a life trial or as stated; promised: limits that coupons cut to
    confirm a best must fall in, with the number of their block.
    """

    tables: Mapping[str, pd.DataFrame]
    coupons: pd.DataFrame
    grades: pd.DataFrame
    allowed: Allowed
    departures: tuple[Finding, ...] = ()
    confounded: tuple[Finding, ...] = ()
    open_slips: tuple[Finding, ...] = ()
    look: int = 1
    lives: KnownLives | None = None
    promised: tuple[tuple[int, Finding], ...] = ()
