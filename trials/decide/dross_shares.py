"""The four words for grades: how many more of all coupons come out at the required grade, judged by specimens."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from trials.decide.kinds import StudyKind
from trials.decide.measured import places
from trials.decide.prepare import NOZZLE, Prepared, specimens_of
from trials.decide.results import Comparison
from trials.errors import TrialError
from trials.findings import About, Finding, Place, Weight
from trials.infer.answer import Added, Answer, Levels, answer
from trials.infer.means import ShareDifferences, share_differences
from trials.plan.power import Counts, specimens_needed
from trials.trial import Level, Trial
from trials.worthwhile import Margins, coupon_share


def by_shares(
    trial: Trial,
    ready: Prepared,
    allowed: Mapping[str, Sequence[tuple[Level, ...]]],
    levels: Levels,
    lost: pd.DataFrame | None,
) -> tuple[Comparison, ...] | None:
    """Every type against today's in the share of coupons at the required grade; None where no such share is declared.

    Coupons count over all settings that were cut; lost ones (one row each) as not reaching the grade.
    """
    worthwhile, grade = worthwhile_share(trial, ready.name), trial.application.required.dross_grade
    if worthwhile is None or grade is None or ready.today is None:
        return None
    found = places(trial, allowed)
    place = found.get("average", found["today"])
    counted = _counted(ready, grade, lost)
    differences = _differences(counted, ready.today)
    if differences is None:
        return _not_repeated(counted, ready.today, place, levels)
    return _worded(differences, ready.today, place, levels, worthwhile)


def shares_needed(
    trial: Trial, ready: Prepared, shares: Sequence[Comparison], levels: Levels, lost: pd.DataFrame | None
) -> tuple[Finding, ...]:
    """How many more specimens would settle a share that is not settled, each cut and counted as those so far.

    shares: as `by_shares` found them. A specimen's share is one figure with one spread, so further mounts of a specimen
    are not reckoned with; with one specimen of each type only that more are needed is known.
    """
    worthwhile, grade = worthwhile_share(trial, ready.name), trial.application.required.dross_grade
    if not any(c.answer == Answer.NOT_SETTLED for c in shares):
        return ()
    if worthwhile is None or grade is None or ready.today is None:
        return ()
    found = _differences(_counted(ready, grade, lost), ready.today)
    if found is None:
        return (Finding(StudyKind.ONE_PIECE_OF_EACH),)
    specimens, today = specimens_of(ready)
    counts = Counts(types=len(ready.types), specimens=specimens, today=today)
    needed = specimens_needed({"specimen": found.of_one}, worthwhile, counts, levels)
    return (replace(needed, mounts_apply=False).finding(),)


def _differences(counted: pd.DataFrame, today: str) -> ShareDifferences | None:
    """Differences in share from today's type; None where no type has a second specimen."""
    met, tried = counted["met"].to_numpy(float), counted["tried"].to_numpy(float)
    try:
        return share_differences(met, tried, counted[NOZZLE].to_numpy(object), today)
    except TrialError:
        return None


def worthwhile_share(trial: Trial, name: str) -> float | None:
    """The share of coupons that a trial declares worthwhile for a grade; None for none."""
    asked, grade = trial.responses[name].worthwhile, trial.application.required.dross_grade
    return None if asked is None else coupon_share(asked, trial.quantity(name), grade, f"responses.{name}.worthwhile")


def shares_said(
    trial: Trial, ready: Prepared, shares: tuple[Comparison, ...] | None, primary: bool
) -> tuple[Finding, ...]:
    """What a word for grades rests on; that there is none where no worthwhile difference was declared."""
    if ready.quantity.scale != "grade" or not primary:
        return ()
    about, declared = About(response=ready.name), worthwhile_share(trial, ready.name)
    if trial.responses[ready.name].worthwhile is None:
        return (Finding(StudyKind.GRADES_WITHOUT_WORTHWHILE, about, weight=Weight.COULD_CHANGE),)
    if shares is None or declared is None:
        return ()
    facts = {"grade": trial.application.required.dross_grade, "share": declared}
    return (Finding(StudyKind.GRADES_BY_SHARES, about, facts),)


def _counted(ready: Prepared, grade: int, lost: pd.DataFrame | None) -> pd.DataFrame:
    """One row per specimen: its nozzle type, coupons at the grade, coupons tried."""
    cut = ready.table[[NOZZLE, "specimen", "coupon", "value"]].drop_duplicates("coupon")
    rows = cut.assign(met=(cut["value"] <= grade).astype(float))[[NOZZLE, "specimen", "met"]]
    if lost is not None and len(lost):
        known = lost[lost[NOZZLE].isin(ready.types)]
        rows = pd.concat([rows, known[[NOZZLE, "specimen"]].assign(met=0.0)], ignore_index=True)
    grouped = rows.groupby([NOZZLE, "specimen"], sort=False)["met"].agg(["sum", "count"]).reset_index()
    return grouped.rename(columns={"sum": "met", "count": "tried"})


def _worded(
    found: ShareDifferences, today: str, place: Place, levels: Levels, worthwhile: float
) -> tuple[Comparison, ...]:
    wide, narrow = found.at(levels.difference), found.at(levels.sameness)
    margins = Margins(worthwhile, worthwhile)
    rows = []
    for i, name in enumerate(found.types):
        limits = float(wide.low[i]), float(wide.high[i])
        word, adds = answer(limits, (float(narrow.low[i]), float(narrow.high[i])), margins)
        value = float(found.values[i])
        rows.append(
            Comparison(
                nozzle=name,
                against=today,
                settings=place,
                kind="share",
                value=value,
                low=limits[0],
                high=limits[1],
                p=float(wide.p[i]),
                answer=word,
                answer_adds=adds,
                confidence=levels.difference,
                times_worthwhile=abs(value) / worthwhile,
            )
        )
    return tuple(rows)


def _not_repeated(counted: pd.DataFrame, today: str, place: Place, levels: Levels) -> tuple[Comparison, ...]:
    """Differences alone, where nothing above the coupon was repeated."""
    shares = (counted["met"] / counted["tried"]).groupby(counted[NOZZLE], sort=False).mean()
    word, adds = Answer.NOT_SETTLED, Added.NO_REPLICATION
    return tuple(
        Comparison(
            str(name),
            today,
            place,
            "share",
            float(share - shares[today]),
            math.nan,
            math.nan,
            None,
            word,
            adds,
            levels.difference,
        )
        for name, share in shares.items()
        if name != today
    )
